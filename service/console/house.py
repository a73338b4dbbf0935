"""House: facts and notes by topic, searched; what was changed in them, and undoing it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import Response

from askhouse.values import Fact, House
from service.blots import blotted
from service.console.asked import (
    changes_of,
    open_gaps_by_house,
    times_told,
)
from service.console.contexts import (
    ChangesPage,
    HousePage,
    HousesPage,
)
from service.console.draft import fact_href
from service.console.editing import topic_words, undo
from service.console.house_views import (
    ChangeRow,
    FactRow,
    HouseRow,
    TopicGroup,
)
from service.console.page import (
    Id,
    PageRoute,
    Poster,
    Text,
    Visit,
    Visitor,
    go,
    render,
)
from service.console.queries import (
    names_of_people,
)
from service.console.words import day, when
from service.tables import Change

__all__ = ["change_rows", "router"]

router = APIRouter(route_class=PageRoute)

_MOST_CHANGES = 50


@router.get("/houses")
def houses_page(request: Request, seen: Visitor) -> Response:
    if len(seen.houses) == 1:
        return go(f"/houses/{next(iter(seen.houses))}")
    with seen.database.reading() as session:
        gaps = open_gaps_by_house(session, seen.only)
    rows = tuple(
        HouseRow(
            slug=slug,
            name=house.name,
            kind=house.kind,
            facts=len(house.facts),
            unchecked=sum(fact.verified_on is None for fact in house.facts),
            gaps=gaps.get(slug, 0),
        )
        for slug, house in seen.houses.items()
    )
    page = HousesPage(frame=seen.frame("House", "house"), houses=rows, opening=seen.opening)
    return render(request, page)


@router.get("/houses/{slug}")
def house_page(
    request: Request, seen: Visitor, slug: str, search: Annotated[Text, Query(max_length=200)] = ""
) -> Response:
    house = seen.house(slug)
    with seen.database.reading() as session:
        told = times_told(session, slug)
    wanted = [fact for fact in house.facts if _holds(fact, search)]
    topics: dict[str, list[FactRow]] = {}
    for fact in wanted:
        topics.setdefault(fact.topic, []).append(_row(seen, house, fact, told.get(fact.id, 0)))
    page = HousePage(
        frame=seen.frame(house.name, "house"),
        slug=slug,
        several=len(seen.houses) > 1,
        search=search,
        total=len(house.facts),
        topics=tuple(
            TopicGroup(name=topic_words(name), facts=tuple(rows)) for name, rows in topics.items()
        ),
    )
    return render(request, page)


@router.get("/houses/{slug}/changes")
def changes_page(request: Request, seen: Visitor, slug: str, told: str = "") -> Response:
    house = seen.house(slug)
    with seen.database.reading() as session:
        changes = changes_of(session, slug, None, _MOST_CHANGES)
        people = names_of_people(session, {change.person for change in changes})
    page = ChangesPage(
        frame=seen.frame(f"Changes in {house.name}", "house", told),
        slug=slug,
        name=house.name,
        changes=change_rows(seen, house, changes, people),
    )
    return render(request, page)


@router.post("/houses/{slug}/changes/{change_id}/undo")
def undo_change(seen: Poster, slug: str, change_id: Id) -> Response:
    seen.house(slug)
    with seen.database.writing() as session:
        undo(session, seen, slug, change_id)
    seen.house_changed(slug)
    return go(f"/houses/{slug}/changes", "undone")


def _row(seen: Visit, house: House, fact: Fact, told: int) -> FactRow:
    return FactRow(
        id=fact.id,
        title=fact.title,
        # A list is looked at over shoulders; the code itself is one page further.
        text=blotted(fact.text, [fact]),
        href=fact_href(house.slug, fact.id),
        sensitive=fact.sensitive,
        note=bool(fact.sections),
        verified=day(fact.verified_on, seen.today(house.slug)) if fact.verified_on else None,
        told=told,
    )


def _holds(fact: Fact, search: str) -> bool:
    own = " ".join((fact.id, fact.title, fact.topic, fact.text, *fact.asks)).lower()
    return all(word in own for word in search.lower().split())


def change_rows(
    seen: Visit, house: House, changes: list[Change], people: dict[str, str]
) -> tuple[ChangeRow, ...]:
    """Changes as a page shows them."""
    undone = {change.undoes for change in changes}
    return tuple(
        ChangeRow(
            id=change.id,
            fact=change.fact,
            href=fact_href(house.slug, change.fact),
            who=people.get(change.person, change.person),
            at=when(change.at, seen.now, house.timezone),
            before=change.before or "",
            after=change.after or "",
            undoes=change.undoes is not None,
            undone=change.id in undone,
        )
        for change in changes
    )

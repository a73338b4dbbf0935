"""Gaps: what guests ask and nobody has written; answered here, which makes the fact."""

from __future__ import annotations

from typing import Annotated

from anyio import from_thread
from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import Response

from askhouse.decision.topics import topics
from askhouse.errors import MessageError
from askhouse.knowledge.write import EditConflictError, EditRefusedError, FactChange
from askhouse.values import Message, Outcome
from service.answering import Stage
from service.console.asked import (
    asked_in,
    find_gaps,
    other_gaps,
)
from service.console.contexts import FactCheck, GapPage, GapsPage
from service.console.draft import fact_href, why_not
from service.console.editing import looking, new_id, preview
from service.console.house_views import (
    Asked,
    GapForm,
    GapRow,
    Preview,
)
from service.console.noting import note
from service.console.page import (
    MOST_ID,
    Id,
    PageRoute,
    Poster,
    Text,
    Visit,
    Visitor,
    go,
    pages,
    render,
)
from service.console.views import (
    Choice,
    NearFact,
)
from service.console.words import OUTCOMES, STATES, when
from service.gaps import changing
from service.tables import Gap, PartRow

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)

_SIZE = 25
_SAMPLES = 3
_AGAIN = 8  # questions that are asked again on one page: each takes a moment
_STATES = (
    Choice("open", "Waiting for an answer"),
    Choice("written", "Written"),
    Choice("dismissed", "Left out"),
)


@router.get("/gaps")
def gaps_page(
    request: Request,
    seen: Visitor,
    house: Text = "",
    state: Text = "open",
    page: Annotated[int, Query(ge=1, le=10_000)] = 1,
    told: str = "",
) -> Response:
    with seen.database.reading() as session:
        total, found = find_gaps(
            session,
            seen.only,
            house=house,
            state=state,
            today=seen.now.date(),
            page=page,
            size=_SIZE,
        )
        asked = asked_in(session, [row.gap.id for row in found])
    query = "".join(f"{name}={value}&" for name, value in (("house", house), ("state", state)))
    context = GapsPage(
        frame=seen.frame("Gaps", "gaps", told),
        houses=tuple(Choice(slug, each.name) for slug, each in seen.houses.items()),
        house=house if house in seen.houses else "",
        states=_STATES,
        state=state,
        gaps=tuple(
            GapRow(
                id=row.gap.id,
                name=row.gap.name,
                topic=_topic(row.gap.topic),
                house=seen.house_name(row.gap.house),
                questions=row.questions,
                guests=row.guests,
                first=when(row.gap.first_at, seen.now, seen.zone(row.gap.house)),
                last=when(row.gap.last_at, seen.now, seen.zone(row.gap.house)),
                here_now=row.here_now,
                samples=tuple(part.text for part in asked.get(row.gap.id, [])[:_SAMPLES]),
                fact=row.gap.fact or "",
                href=fact_href(row.gap.house, row.gap.fact) if row.gap.fact else "",
            )
            for row in found
        ),
        page=page,
        pages=pages(total, _SIZE),
        query=query if house in seen.houses or not house else f"state={state}&",
    )
    return render(request, context)


@router.get("/gaps/{gap_id}")
def gap_page(
    request: Request, seen: Visitor, gap_id: Id, told: str = "", again: str = ""
) -> Response:
    """With `again`, the questions are asked once more, which takes a moment for each."""
    with seen.database.reading() as session:
        gap = seen.theirs(session, Gap, gap_id)
    return _page(request, seen, gap, told=told, again=again == "yes")


@router.post("/gaps/{gap_id}/write")
def write(
    request: Request,
    seen: Poster,
    gap_id: Id,
    title: Annotated[Text, Form(max_length=200)] = "",
    text: Annotated[Text, Form(max_length=20_000)] = "",
    asks: Annotated[list[Id] | None, Form()] = None,
    only_check: Annotated[Text, Form()] = "",
) -> Response:
    with seen.database.reading() as session:
        gap = seen.theirs(session, Gap, gap_id)
        parts = asked_in(session, [gap.id]).get(gap.id, [])
    house = seen.house(gap.house)
    form = GapForm(title=title or gap.name, text=text, asks=tuple(asks or ()))
    fact_id = new_id(form.title, {fact.id for fact in house.facts})
    chosen = [part.text for part in parts if part.id in form.asks]
    change = FactChange(
        {
            "topic": gap.topic or "house",
            "title": form.title.strip(),
            "text": text.strip(),
            **({"asks": list(dict.fromkeys(chosen))} if chosen else {}),
            "verified_on": seen.today(gap.house),
        },
        new=True,
    )
    files = seen.house_files(gap.house)
    if only_check == "live":
        return render(
            request,
            FactCheck(preview=preview(files, gap.house, fact_id, change)),
        )
    if not text.strip():
        return _page(request, seen, gap, form=form, problem="Write what a guest should read.")
    look = looking(seen, gap.house, fact_id) if only_check else None
    found = preview(files, gap.house, fact_id, change, look)
    if only_check or not found.said:
        return _page(request, seen, gap, form=form, found=found)
    try:
        with seen.database.writing() as session:
            changing.write_answer(
                session,
                seen.knowledge,
                seen.theirs(session, Gap, gap_id),
                fact_id,
                change,
                person=seen.caller.who,
                now=seen.now,
            )
            note(session, seen, "fact.write", f"fact:{gap.house}/{fact_id}")
    except (EditConflictError, EditRefusedError) as error:
        return _page(request, seen, gap, form=form, found=found, problem=str(error))
    seen.house_changed(gap.house)
    return go(f"/gaps/{gap_id}", "written")


@router.post("/gaps/{gap_id}/dismiss")
def dismiss(seen: Poster, gap_id: Id) -> Response:
    with seen.database.writing() as session:
        gap = seen.theirs(session, Gap, gap_id)
        if gap.state == "dismissed":
            changing.reopen(gap)
        else:
            changing.dismiss(gap)
        note(session, seen, "gap.dismiss", f"gap:{gap.id}")
    return go("/gaps", "dismissed")


@router.post("/gaps/{gap_id}/merge")
def merge(seen: Poster, gap_id: Id, into: Annotated[int, Form(ge=1, le=MOST_ID)]) -> Response:
    """All questions of this gap go to another one of the same house."""
    with seen.database.writing() as session:
        gap, other = seen.theirs(session, Gap, gap_id), seen.theirs(session, Gap, into)
        changing.merge(session, gap, other)
        note(session, seen, "gap.merge", f"gap:{into}")
    return go(f"/gaps/{into}", "merged")


@router.post("/gaps/{gap_id}/split")
def split(seen: Poster, gap_id: Id, asks: Annotated[list[Id] | None, Form()] = None) -> Response:
    """The ticked questions become a gap of their own."""
    with seen.database.writing() as session:
        gap = seen.theirs(session, Gap, gap_id)
        made = changing.split(session, gap, asks or ()).id
        note(session, seen, "gap.split", f"gap:{gap_id}")
    return go(f"/gaps/{made}", "split")


def _page(
    request: Request,
    seen: Visit,
    gap: Gap,
    *,
    form: GapForm | None = None,
    found: Preview | None = None,
    problem: str = "",
    told: str = "",
    again: bool = False,
) -> Response:
    with seen.database.reading() as session:
        parts = asked_in(session, [gap.id]).get(gap.id, [])
        others = other_gaps(session, gap)
    asked, near = _asked(seen, gap, parts, again)
    chosen = form or GapForm(
        title=gap.name, text="", asks=tuple(part.id for part in parts[:_AGAIN])
    )
    page = GapPage(
        frame=seen.frame(gap.name, "gaps", told),
        id=gap.id,
        house=seen.house_name(gap.house),
        slug=gap.house,
        topic=_topic(gap.topic),
        state=gap.state,
        state_words=STATES.get(gap.state, gap.state),
        fact=gap.fact or "",
        fresh=gap.house in seen.houses
        and any(fact.id == gap.fact for fact in seen.houses[gap.house].facts),
        asked=asked,
        again=again,
        near=near,
        others=tuple(Choice(str(each.id), each.name) for each in others),
        form=chosen,
        preview=found,
        problem=problem,
        opening=seen.opening,
    )
    return render(request, page, 422 if problem else 200)


def _asked(
    seen: Visit, gap: Gap, parts: list[PartRow], again: bool
) -> tuple[tuple[Asked, ...], tuple[NearFact, ...]]:
    """The questions, what would be said to each today, and the facts that came nearest."""
    near: dict[str, NearFact] = {}
    rows = []
    for place, part in enumerate(parts):
        outcome, said = "", ""
        if (
            again
            and place < _AGAIN
            and seen.answering.stage is Stage.OPEN
            and gap.house in seen.houses
        ):
            try:
                message = Message(text=part.text, verified=False, day=seen.today(gap.house))
                reply = from_thread.run(seen.answering.reply, message, gap.house)
            except MessageError:
                continue
            answered = all(p.decision.outcome is Outcome.ANSWER for p in reply.parts)
            outcome = "answer" if answered else str(reply.parts[0].decision.outcome)
            said = reply.parts[0].text if answered else ""
            for hit in reply.parts[0].hits[:2] if not answered else ():
                near.setdefault(
                    hit.fact.id,
                    NearFact(
                        id=hit.fact.id,
                        title=hit.fact.title,
                        href=fact_href(gap.house, hit.fact.id),
                        why=why_not(hit),
                    ),
                )
        rows.append(
            Asked(
                id=part.id,
                text=part.text,
                at=when(part.message.received_at, seen.now, seen.zone(gap.house)),
                outcome=outcome,
                label=OUTCOMES.get(outcome, ""),
                said=said,
            )
        )
    return tuple(rows), tuple(near.values())[:4]


def _topic(topic: str | None) -> str:
    if topic is None:
        return ""
    try:
        return topics().title(topic)
    except KeyError:
        return topic

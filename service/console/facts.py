"""One fact or note: edited with a check and a preview as one types, written anew, removed."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import Response

from askhouse.errors import KnowledgeError
from askhouse.knowledge.write import (
    EditConflictError,
    EditRefusedError,
    FactAsWritten,
    takes_notes,
)
from askhouse.values import Fact
from service.blots import guest_words
from service.console.asked import (
    answer_sent,
    changes_of,
    times_told,
)
from service.console.contexts import FactCheck, FactPage, NewFactPage
from service.console.draft import fact_href
from service.console.editing import (
    Typed,
    as_it_stands,
    as_typed,
    change_of,
    change_of_new,
    form_of,
    looking,
    new_id,
    preview,
    preview_as_written,
    preview_of,
    remove,
    save,
    topic_choices,
)
from service.console.house import change_rows
from service.console.house_views import (
    NewFact,
    Preview,
)
from service.console.noting import note
from service.console.page import (
    MOST_ID,
    NotHereError,
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
from service.console.words import When, day
from service.tables import PartRow

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)

_MOST_CHANGES = 20


@router.get("/houses/{slug}/facts/{fact_id}")
def fact_page(request: Request, seen: Visitor, slug: str, fact_id: str, told: str = "") -> Response:
    fact = _fact(seen, slug, fact_id)
    if fact is not None and fact.sensitive:
        with seen.database.writing() as session:
            note(session, seen, "fact.code.see", f"fact:{slug}/{fact_id}")
    return _page(request, seen, slug, fact_id, told=told)


@router.post("/houses/{slug}/facts/{fact_id}")
def edit(
    request: Request,
    seen: Poster,
    slug: str,
    fact_id: str,
    title: Annotated[Text, Form(max_length=200)] = "",
    text: Annotated[Text, Form(max_length=20_000)] = "",
    asks: Annotated[Text, Form(max_length=20_000)] = "",
    cautions: Annotated[Text, Form(max_length=20_000)] = "",
    sensitive: Annotated[Text, Form()] = "",
    checked: Annotated[Text, Form()] = "",
    hash: Annotated[Text, Form(max_length=64)] = "",
    only_check: Annotated[Text, Form()] = "",
) -> Response:
    typed = Typed(
        title=title,
        text=text,
        asks=asks,
        cautions=cautions,
        sensitive=sensitive == "yes",
        checked=checked == "yes",
    )
    stands = _stands(seen, slug, fact_id)
    change = change_of(stands, typed, seen.today(slug))
    if only_check:
        look = None if only_check == "live" else looking(seen, slug, fact_id)
        found = preview(seen.house_files(slug), slug, fact_id, change, look)
        if only_check == "live":
            return render(request, FactCheck(preview=found))
        return _page(request, seen, slug, fact_id, typed=typed, found=found, seen_hash=hash)
    if not change.fields:
        return go(fact_href(slug, fact_id))
    try:
        with seen.database.writing() as session:
            save(session, seen, slug, fact_id, change, hash or None)
    except EditConflictError:
        return _page(request, seen, slug, fact_id, typed=typed, conflict=True, status=409)
    except EditRefusedError as error:
        found = preview(seen.house_files(slug), slug, fact_id, change)
        if not found.problems:
            found = replace(found, refused=str(error))
        return _page(
            request, seen, slug, fact_id, typed=typed, found=found, seen_hash=hash, status=422
        )
    seen.house_changed(slug)
    return go(fact_href(slug, fact_id), "saved")


@router.post("/houses/{slug}/facts/{fact_id}/remove")
def take_away(
    request: Request,
    seen: Poster,
    slug: str,
    fact_id: str,
    hash: Annotated[Text, Form(max_length=64)] = "",
) -> Response:
    _stands(seen, slug, fact_id)
    try:
        with seen.database.writing() as session:
            remove(session, seen, slug, fact_id, hash)
    except EditConflictError:
        return _page(request, seen, slug, fact_id, conflict=True, status=409)
    except EditRefusedError as error:
        refused = Preview(said="", segments=0, refused=str(error))
        return _page(request, seen, slug, fact_id, found=refused, status=422)
    seen.house_changed(slug)
    return go(f"/houses/{slug}/changes", "removed")


@router.get("/houses/{slug}/new")
def new_page(
    request: Request,
    seen: Visitor,
    slug: str,
    note: str = "",
    answer: Annotated[int, Query(ge=0, le=MOST_ID)] = 0,
    part: Annotated[int, Query(ge=0, le=MOST_ID)] = 0,
) -> Response:
    """A form for a fact, or for a how-to note.

    With `answer`, the words that a host has sent to a guest stand in it; with `part`, the words
    of a guest as a way of asking.
    """
    house = seen.house(slug)
    with seen.database.reading() as session:
        text, asked = answer_sent(session, answer, slug)
        if part:
            row = seen.theirs(session, PartRow, part)
            asked = [row.text] if row.house == slug else []
    asks = "\n".join(" ".join(guest_words(words, house).split()) for words in asked)
    typed = NewFact(note=note == "yes", text=text, asks=asks)
    return _new_page(request, seen, slug, typed)


@router.post("/houses/{slug}/new")
def add(
    request: Request,
    seen: Poster,
    slug: str,
    note: Annotated[Text, Form()] = "",
    title: Annotated[Text, Form(max_length=200)] = "",
    topic: Annotated[Text, Form(max_length=100)] = "",
    text: Annotated[Text, Form(max_length=20_000)] = "",
    asks: Annotated[Text, Form(max_length=20_000)] = "",
    cautions: Annotated[Text, Form(max_length=20_000)] = "",
    sensitive: Annotated[Text, Form()] = "",
    only_check: Annotated[Text, Form()] = "",
) -> Response:
    house = seen.house(slug)
    typed = NewFact(
        note=note == "yes",
        title=title,
        topic=topic,
        text=text,
        asks=asks,
        cautions=cautions,
        sensitive=sensitive == "yes",
    )
    files = seen.house_files(slug)
    fact_id = new_id(files, slug, title)
    change = change_of_new(typed, {fact.topic for fact in house.facts}, seen.today(slug))
    look = looking(seen, slug, fact_id) if only_check == "page" else None
    found = preview(files, slug, fact_id, change, look) if text.strip() else None
    if only_check == "live":
        return render(request, FactCheck(preview=found or Preview(said="", segments=0)))
    if found is None or not title.strip():
        words = "Write a title, and what a guest should read."
        return _new_page(request, seen, slug, typed, found, problem=words)
    if only_check or not found.said:
        return _new_page(request, seen, slug, typed, found)
    try:
        with seen.database.writing() as session:
            save(session, seen, slug, fact_id, change, None)
    except (EditConflictError, EditRefusedError) as error:
        return _new_page(request, seen, slug, typed, found, problem=str(error))
    seen.house_changed(slug)
    return go(fact_href(slug, fact_id), "written")


def _new_page(
    request: Request,
    seen: Visit,
    slug: str,
    typed: NewFact,
    found: Preview | None = None,
    problem: str = "",
) -> Response:
    house = seen.house(slug)
    page = NewFactPage(
        frame=seen.frame("A new how-to note" if typed.note else "A new fact", "house"),
        slug=slug,
        name=house.name,
        topics=topic_choices(house.facts),
        closed=typed.note and not takes_notes(seen.house_files(slug), slug),
        typed=typed,
        preview=found,
        problem=problem,
    )
    return render(request, page, 422 if problem else 200)


def _stands(seen: Visit, slug: str, fact_id: str) -> FactAsWritten:
    """The fact in its file, which may be newer than the house that is open."""
    seen.house(slug)
    try:
        return as_it_stands(seen.house_files(slug), slug, fact_id)
    except KnowledgeError:
        if _fact(seen, slug, fact_id) is None:
            raise NotHereError from None
        raise


def _fact(seen: Visit, slug: str, fact_id: str) -> Fact | None:
    return next((fact for fact in seen.house(slug).facts if fact.id == fact_id), None)


def _page(
    request: Request,
    seen: Visit,
    slug: str,
    fact_id: str,
    *,
    told: str = "",
    typed: Typed | None = None,
    found: Preview | None = None,
    seen_hash: str = "",
    conflict: bool = False,
    status: int = 200,
) -> Response:
    house = seen.house(slug)
    stands = _stands(seen, slug, fact_id)
    form = form_of(stands, typed or as_typed(stands))
    if seen_hash:
        # What the person saw is what they change, even if it has changed since.
        form = replace(form, hash=seen_hash)
    fact = _fact(seen, slug, fact_id)
    with seen.database.reading() as session:
        changes = changes_of(session, slug, fact_id, _MOST_CHANGES)
        people = names_of_people(session, {change.person for change in changes})
        times = times_told(session, slug).get(fact_id, 0)
    page = FactPage(
        frame=seen.frame(fact.title if fact else form.title or fact_id, "house", told),
        slug=slug,
        name=house.name,
        fact=form,
        sensitive=bool(stands.fields.get("sensitive")),
        note=stands.file.endswith(".md"),
        verified=_verified(stands, seen.today(slug)),
        times=times,
        theirs=as_typed(stands).text if conflict else "",
        preview=found or _preview(seen, slug, fact_id, fact, just_written=bool(told)),
        changes=change_rows(seen, house, changes, people),
    )
    return render(request, page, status)


def _verified(stands: FactAsWritten, today: dt.date) -> When | None:
    try:
        return day(dt.date.fromisoformat(str(stands.fields.get("verified_on"))), today)
    except ValueError:  # none, or one that the loader complains about
        return None


def _preview(
    seen: Visit, slug: str, fact_id: str, fact: Fact | None, *, just_written: bool
) -> Preview:
    """What a guest gets today; of what was written a moment ago, what they get from now on."""
    if fact is None or just_written:
        return preview_as_written(seen.house_files(slug), slug, fact_id)
    return preview_of(fact)

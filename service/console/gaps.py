"""Gaps: what guests ask and nobody has written; answered here, which makes the fact."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated
from urllib.parse import urlencode

from anyio import from_thread
from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from askhouse.errors import MessageError
from askhouse.knowledge.write import EditConflictError, EditRefusedError
from askhouse.topics import topics
from askhouse.values import Message, Outcome
from service.answering import Stage
from service.blots import BLOT, guest_words
from service.console.asked import (
    asked_in,
    facts_of_gaps,
    other_gaps,
)
from service.console.contexts import FactCheck, GapPage, GapsPage
from service.console.draft import fact_href, why_not
from service.console.editing import change_of_new, looking, new_id, preview, topic_choices
from service.console.house_views import (
    Asked,
    GapAt,
    GapForm,
    GapRow,
    NewFact,
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
from service.console.words import OUTCOMES, STATES, WAITING, when
from service.gaps import changing
from service.gaps.report import Row, report, with_samples
from service.tables import Gap, PartRow

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)

_SIZE = 25
_AGAIN = 8  # questions that are asked again on one page: each takes a moment
_STATES = (
    Choice("open", OUTCOMES["gap"]),
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
    """Each meaning once, over all houses of the person's, as `askhouse gaps` shows it."""
    house = house if house in seen.houses else ""
    with seen.database.reading() as session:
        every = report(
            session,
            seen.answering.houses,
            seen.now,
            state=state,
            only=[house] if house else seen.only,
        )
        part = every[(page - 1) * _SIZE : page * _SIZE]
        found = with_samples(session, part)
        facts = facts_of_gaps(session, [gap for row in found for gap in row.gaps.values()])
    context = GapsPage(
        frame=seen.frame("Gaps", "gaps", told),
        houses=tuple(Choice(slug, each.name) for slug, each in seen.houses.items()),
        house=house,
        states=_STATES,
        state=state,
        gaps=tuple(_row(seen, row, facts) for row in found),
        page=page,
        pages=pages(len(every), _SIZE),
        query=urlencode({"house": house, "state": state}) + "&",
    )
    return render(request, context)


def _row(seen: Visit, row: Row, facts: Mapping[int, str]) -> GapRow:
    zone = seen.zone(row.houses[0])
    topic = _topic(row.topic)
    return GapRow(
        name=row.name,
        topic=topic if topic != row.name else "",
        questions=row.questions,
        guests=row.guests,
        first=when(row.first_at, seen.now, zone),
        last=when(row.last_at, seen.now, zone),
        urgency=row.urgency,
        urgent=WAITING[row.urgency],
        samples=row.samples,
        at=tuple(
            GapAt(id=gap, house=seen.house_name(slug), fact=facts.get(gap, ""))
            for slug, gap in sorted(row.gaps.items())
        ),
    )


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
    topic: Annotated[Text, Form(max_length=100)] = "",
    text: Annotated[Text, Form(max_length=20_000)] = "",
    cautions: Annotated[Text, Form(max_length=20_000)] = "",
    sensitive: Annotated[Text, Form()] = "",
    asks: Annotated[list[Id] | None, Form()] = None,
    only_check: Annotated[Text, Form()] = "",
) -> Response:
    with seen.database.reading() as session:
        gap = seen.theirs(session, Gap, gap_id)
        parts = asked_in(session, [gap.id]).get(gap.id, [])
    house = seen.house(gap.house)
    form = GapForm(
        title=title or gap.name,
        asks=tuple(asks or ()),
        topic=topic,
        text=text,
        cautions=cautions,
        sensitive=sensitive == "yes",
    )
    files = seen.house_files(gap.house)
    fact_id = new_id(files, gap.house, form.title)
    chosen = (guest_words(part.text, house) for part in parts if part.id in form.asks)
    typed = NewFact(
        title=form.title,
        topic=form.topic,
        text=form.text,
        # A question that repeats a code is none to find a fact by.
        asks="\n".join(dict.fromkeys(" ".join(w.split()) for w in chosen if BLOT not in w)),
        cautions=form.cautions,
        sensitive=form.sensitive,
    )
    topics_here = {fact.topic for fact in house.facts}
    change = change_of_new(typed, topics_here, seen.today(gap.house))
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
        elsewhere = _elsewhere(session, seen, gap)
    asked, near = _asked(seen, gap, parts, again)
    chosen = form or GapForm(title=gap.name, asks=tuple(part.id for part in parts[:_AGAIN]))
    here = seen.houses.get(gap.house)
    page = GapPage(
        frame=seen.frame(gap.name, "gaps", told),
        id=gap.id,
        house=seen.house_name(gap.house),
        slug=gap.house,
        topic=_topic(gap.topic),
        state=gap.state,
        state_words=STATES.get(gap.state, gap.state),
        fact=gap.fact or "",
        fresh=here is not None and any(fact.id == gap.fact for fact in here.facts),
        asked=asked,
        again=again,
        near=near,
        others=tuple(Choice(str(each.id), each.name) for each in others),
        elsewhere=elsewhere,
        topics=topic_choices(here.facts) if here else (),
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


def _elsewhere(session: Session, seen: Visit, gap: Gap) -> tuple[Choice, ...]:
    """The gaps of the person's other houses that mean the same."""
    houses = seen.answering.houses
    rows = report(session, houses, seen.now, state=gap.state, only=seen.only)
    row = next((row for row in rows if gap.id in row.gaps.values()), None)
    others = sorted(row.gaps.items()) if row else ()
    return tuple(
        Choice(f"/gaps/{other}", seen.house_name(slug)) for slug, other in others if other != gap.id
    )


def _topic(topic: str | None) -> str:
    if topic is None:
        return ""
    try:
        return topics().title(topic)
    except KeyError:
        return topic

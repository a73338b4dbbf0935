"""Messages: threads with their state, searched; a thread with what was sent from which facts."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from service.access.keys import new_key
from service.console.acts import why_closed, write_to_guest
from service.console.alerts import alert_views
from service.console.contexts import MessagesPage, ThreadPage
from service.console.draft import fact_href
from service.console.noting import note
from service.console.page import (
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
from service.console.queries import (
    alerts_of_thread,
    find_threads,
    last_messages,
    names_of_people,
    sent_on,
    states_of_threads,
    stays_by_id,
    with_gaps,
    written_on,
)
from service.console.views import Choice, Entry, FactRef, Line, PartView, ThreadHead, ThreadRow
from service.console.words import KINDS, OUTCOMES, STATES, day, sure, when
from service.tables import Delivery, Inbound, PartRow, Stay, Thread

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)

_SIZE = 25
_STATES = (
    Choice("", "Any"),
    Choice("open", "Waiting for you"),
    Choice("gap", "With something not written yet"),
    Choice("failed", "Not sent"),
    Choice("pasted", "Pasted"),
)


@router.get("/messages")
def messages_page(
    request: Request,
    seen: Visitor,
    house: Text = "",
    state: Text = "",
    search: Annotated[Text, Query(max_length=200)] = "",
    page: Annotated[int, Query(ge=1, le=10_000)] = 1,
) -> Response:
    with seen.database.reading() as session:
        total, threads = find_threads(
            session, seen.only, house=house, state=state, search=search, page=page, size=_SIZE
        )
        rows = _rows(session, seen, threads)
    given = {"house": house, "state": state, "search": search}
    query = urlencode({name: value for name, value in given.items() if value})
    context = MessagesPage(
        frame=seen.frame("Messages", "messages"),
        houses=tuple(Choice(slug, each.name) for slug, each in seen.houses.items()),
        house=house,
        states=_STATES,
        state=state,
        search=search,
        threads=rows,
        page=page,
        pages=pages(total, _SIZE),
        query=query + "&" if query else "",
    )
    return render(request, context)


@router.get("/messages/{thread_id}")
def thread_page(request: Request, seen: Visitor, thread_id: Id, told: str = "") -> Response:
    with seen.database.reading() as session:
        thread = seen.theirs(session, Thread, thread_id)
        stay = session.get(Stay, thread.stay_id) if thread.stay_id else None
        written, sent = written_on(session, thread.id), sent_on(session, thread.id)
        people = names_of_people(session, {delivery.author for delivery in sent})
        entries = sorted(
            [
                *((m.received_at, 0, _from_guest(seen, thread, m)) for m in written),
                *((d.sent_at or d.created_at, 1, _to_guest(seen, thread, d, people)) for d in sent),
            ],
            key=lambda row: row[:2],
        )
        context = ThreadPage(
            frame=seen.frame(_who(thread, stay), "messages", told),
            thread=_head(session, seen, thread, stay),
            entries=tuple(entry for _, _, entry in entries),
            alerts=alert_views(session, seen, alerts_of_thread(session, thread.id)),
            key=new_key(),
        )
    return render(request, context)


@router.post("/messages/{thread_id}/write")
def write(
    seen: Poster,
    thread_id: Id,
    text: Annotated[Text, Form(max_length=5000)],
    key: Annotated[Text, Form(max_length=100)],
) -> Response:
    with seen.database.writing() as session:
        write_to_guest(
            session,
            seen.theirs(session, Thread, thread_id),
            text=text,
            who=seen.caller.who,
            key=key,
            houses=seen.answering.houses,
            lines=seen.lines,
            now=seen.now,
        )
        note(session, seen, "thread.write", f"thread:{thread_id}")
    return go(f"/messages/{thread_id}", "sent")


def _rows(session: Session, seen: Visit, threads: list[Thread]) -> tuple[ThreadRow, ...]:
    ids = [thread.id for thread in threads]
    last, states = last_messages(session, ids), states_of_threads(session, ids)
    gaps = with_gaps(session, [message.id for message in last.values()])
    stays = stays_by_id(session, {thread.stay_id for thread in threads if thread.stay_id})
    rows = []
    for thread in threads:
        message = last.get(thread.id)
        state = states.get(thread.id) or (message.state if message else "")
        if state == "answered" and message is not None and message.id in gaps:
            state = "gap"
        stay = stays.get(thread.stay_id or 0)
        rows.append(
            ThreadRow(
                id=thread.id,
                who=_who(thread, stay),
                stay=_days(seen, stay),
                house=seen.house_name(thread.house),
                line="" if thread.line == "pages" else thread.line,
                words=message.text if message else "",
                at=when(thread.last_at, seen.now, seen.zone(thread.house)),
                state=state,
                state_words=OUTCOMES["gap"] if state == "gap" else STATES.get(state, ""),
            )
        )
    return tuple(rows)


def _who(thread: Thread, stay: Stay | None) -> str:
    if stay is not None and stay.guests:
        return ", ".join(stay.guests)
    return "Pasted message" if thread.line == "pages" else thread.sender


def _days(seen: Visit, stay: Stay | None) -> str:
    if stay is None:
        return ""
    today = seen.today(stay.house)
    return f"{day(stay.arrival, today).words} to {day(stay.departure, today).words}"


def _head(session: Session, seen: Visit, thread: Thread, stay: Stay | None) -> ThreadHead:
    pasted = thread.line == "pages"
    return ThreadHead(
        id=thread.id,
        who=_who(thread, stay),
        number="" if pasted else thread.sender,
        house=seen.house_name(thread.house),
        house_slug=thread.house or "",
        line="" if pasted else thread.line,
        stay_id=stay.id if stay else None,
        stay_words=_days(seen, stay),
        closed=why_closed(session, thread, seen.lines),
    )


def _from_guest(seen: Visit, thread: Thread, message: Inbound) -> Entry:
    return Entry(
        guest=True,
        who="Guest",
        text=message.text,
        at=when(message.received_at, seen.now, seen.zone(thread.house)),
        state=message.state,
        state_words=STATES.get(message.state, message.state),
        problem="",
        parts=tuple(_part(seen, part) for part in message.parts),
    )


def _to_guest(seen: Visit, thread: Thread, sent: Delivery, people: dict[str, str]) -> Entry:
    return Entry(
        guest=False,
        who="Askhouse" if sent.author == "askhouse" else people.get(sent.author, "The host"),
        text=sent.text,
        at=when(sent.sent_at or sent.created_at, seen.now, seen.zone(thread.house)),
        state=sent.state,
        state_words=STATES.get(sent.state, sent.state),
        problem=sent.problem or "",
        parts=(),
    )


def _part(seen: Visit, part: PartRow) -> PartView:
    marks = {citation.fact: place for place, citation in enumerate(part.citations, 1)}
    return PartView(
        id=part.id,
        asks=part.text,
        outcome=part.outcome,
        label=OUTCOMES.get(part.outcome, part.outcome),
        kind=KINDS.get(part.kind or "", ""),
        level=part.level or "",
        sure=sure(part.confidence),
        reason=part.reason,
        lines=(Line(part.said, 0),) if part.said else (),
        facts=tuple(
            FactRef(
                id=citation.fact,
                title=citation.title,
                href=fact_href(citation.house, citation.fact),
                mark=marks[citation.fact],
            )
            for citation in part.citations
        ),
        near=(),
    )

"""Alerts: what needs the host now; taken, answered, closed. And the one-tap link."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from service.access.forms import check_origin
from service.access.keys import new_key
from service.alerts.people import name_of
from service.alerts.take import answer, close, take, take_by_link
from service.console.contexts import AlertsPage, TakePage
from service.console.noting import note
from service.console.page import (
    MOST_ID,
    Id,
    NotHereError,
    PageRoute,
    Poster,
    Text,
    Visit,
    Visitor,
    database_of,
    go,
    now_of,
    render,
)
from service.console.queries import (
    alert_of_link,
    done_alerts,
    guest_words,
    house_of_answer,
    waiting_alerts,
)
from service.console.views import AlertView
from service.console.words import KINDS, LEVELS, STATES, when
from service.tables import Escalation, EscalationState

__all__ = ["alert_views", "router"]

router = APIRouter(route_class=PageRoute)


@router.get("/alerts")
def alerts_page(
    request: Request,
    seen: Visitor,
    told: str = "",
    kept: Annotated[int, Query(ge=0, le=MOST_ID)] = 0,
) -> Response:
    """`kept` is an answer that was just sent, which can be kept as a fact."""
    with seen.database.reading() as session:
        house = house_of_answer(session, kept)
        waiting = alert_views(session, seen, waiting_alerts(session, seen.only))
        done = alert_views(session, seen, done_alerts(session, seen.only))
    frame = seen.frame("Alerts", "alerts", told)
    keep = f"/houses/{house}/new?answer={kept}" if house in seen.houses else ""
    return render(request, AlertsPage(frame=frame, waiting=waiting, done=done, keep=keep))


@router.post("/alerts/{alert_id}/take")
def take_alert(seen: Poster, alert_id: Id) -> Response:
    with seen.database.writing() as session:
        seen.theirs(session, Escalation, alert_id)
        taken = take(
            session,
            alert_id,
            seen.caller.who,
            seen.now,
            houses=seen.answering.houses,
            lines=seen.lines,
        )
        note(session, seen, "alert.take", f"alert:{alert_id}")
    return go("/alerts", "taken" if taken.yours else "already")


@router.post("/alerts/{alert_id}/answer")
def answer_alert(
    seen: Poster,
    alert_id: Id,
    text: Annotated[Text, Form(max_length=5000)],
    key: Annotated[Text, Form(max_length=100)],
) -> Response:
    with seen.database.writing() as session:
        seen.theirs(session, Escalation, alert_id)
        answered = answer(
            session,
            alert_id,
            seen.caller.who,
            text,
            seen.now,
            houses=seen.answering.houses,
            lines=seen.lines,
            key=key,
        )
        note(session, seen, "alert.answer", f"alert:{alert_id}")
        kept = answered.delivery_id
    return go("/alerts", "answered", kept=str(kept))


@router.post("/alerts/{alert_id}/close")
def close_alert(seen: Poster, alert_id: Id) -> Response:
    with seen.database.writing() as session:
        seen.theirs(session, Escalation, alert_id)
        close(session, alert_id, seen.caller.who, seen.now)
        note(session, seen, "alert.close", f"alert:{alert_id}")
    return go("/alerts", "closed")


@router.get("/take/{key}")
def take_page(request: Request, key: str) -> Response:
    """Only shows: what fetches links ahead of a person must not take an alert."""
    with database_of(request).reading() as session:
        alert = alert_of_link(session, key)
        if alert is None:
            raise NotHereError
        state = "open" if alert.state == EscalationState.OPEN else "gone"
        return _take_page(request, alert, state)


@router.post("/take/{key}")
def take_by_its_link(request: Request, key: str, by: str = "") -> Response:
    check_origin(request)  # the link's key is what another site cannot know
    with database_of(request).writing() as session:
        taken = take_by_link(
            session,
            key,
            by or None,
            now_of(request),
            settings=request.app.state.alert_settings,
            houses=request.app.state.answering.houses,
            lines=request.app.state.lines,
        )
        if taken is None:
            raise NotHereError
        return _take_page(request, taken.alert, "yours" if taken.done else "gone")


def alert_views(session: Session, seen: Visit, alerts: list[Escalation]) -> tuple[AlertView, ...]:
    """Alerts as a page shows them."""
    words = guest_words(session, alerts)
    takers = {alert.taken_by for alert in alerts if alert.taken_by}
    people = {taker: name_of(session, taker) for taker in takers}
    return tuple(
        AlertView(
            id=alert.id,
            house=seen.house_name(alert.house),
            kind=KINDS.get(alert.kind, alert.kind),
            level=alert.level,
            level_words=LEVELS.get(alert.level, alert.level),
            state=alert.state,
            state_words=STATES[alert.state],
            words=words.get(alert.message_id or 0, ""),
            summary=alert.summary,
            at=when(alert.created_at, seen.now, seen.zone(alert.house)),
            taken_by=people.get(alert.taken_by or "", ""),
            mine=alert.taken_by == seen.caller.who,
            thread_id=alert.thread_id,
            can_write=alert.thread_id is not None,
            key=new_key(),
        )
        for alert in alerts
    )


def _take_page(request: Request, alert: Escalation, state: str) -> Response:
    houses = request.app.state.answering.houses
    house = houses.get(alert.house)
    page = TakePage(
        version=str(request.app.state.console_version),
        house=house.name if house else "",
        kind=KINDS.get(alert.kind, alert.kind),
        level=alert.level,
        level_words=LEVELS.get(alert.level, alert.level),
        at=when(alert.created_at, now_of(request), house.timezone if house else "UTC"),
        state=state,
    )
    return render(request, page)

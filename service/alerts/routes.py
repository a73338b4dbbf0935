"""`/v1/alerts`: a program with the scope `alerts` lists, takes, answers and closes.

The application needs `state.database`, `state.clock`, `state.open_lines` (an `OpenLines`), and
`add_alert_handlers`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Body, Depends, FastAPI, Path, Query, Request
from sqlalchemy import select
from sqlalchemy.orm import Session
from starlette.responses import Response

from askhouse.values import House
from service.access.roles import Caller, may_see
from service.access.tokens import Scope, require
from service.alerts.errors import AlertError, UnknownAlertError
from service.alerts.guests import Lines
from service.alerts.ladder import URGENCY
from service.alerts.schema import (
    AlertAnswer,
    AlertAnswered,
    AlertList,
    AlertOut,
    AlertTaken,
)
from service.alerts.take import answer, close, locked, take
from service.api import Open
from service.database import Database
from service.description import told
from service.lines.open_lines import OpenLines
from service.problem_details import problem
from service.problem_types import (
    ALERT_OVER,
    BODY_TOO_LARGE,
    INVALID_REQUEST,
    NOT_ALLOWED,
    NOT_READY,
    NOT_SET_UP,
    TOKEN_NEEDED,
    TOO_MANY_REQUESTS,
    UNKNOWN_ALERT,
)
from service.tables import Escalation, EscalationState

__all__ = ["add_alert_handlers", "alerts_router"]


_CALLS = (TOKEN_NEEDED, NOT_ALLOWED, TOO_MANY_REQUESTS, NOT_READY, NOT_SET_UP, INVALID_REQUEST)
_ONE = (*_CALLS, UNKNOWN_ALERT)
_MOST_ID = 2**31 - 1  # the column's

alerts_router = APIRouter(prefix="/v1/alerts", tags=["alerts"])


class _Here:
    """What every route needs: the caller, houses, lines, the database, the time."""

    def __init__(
        self,
        request: Request,
        caller: Annotated[Caller, Depends(require(Scope.ALERTS))],
        answering: Open,
    ) -> None:
        state = request.app.state
        opened: OpenLines = state.open_lines
        self.caller = caller
        self.database: Database = state.database
        self.now: dt.datetime = state.clock()
        self.houses: Mapping[str, House] = answering.houses
        self.lines: Lines = {name: line.settings for name, line in opened.by_name.items()}

    def check(self, session: Session, alert_id: int) -> None:
        """Refuses an alert that is not there, or of a house that is not theirs: alike."""
        if not may_see(self.caller, locked(session, alert_id).house):
            raise UnknownAlertError(alert_id)


Here = Annotated[_Here, Depends()]
AlertId = Annotated[int, Path(ge=1, le=_MOST_ID, description="The alert's id.")]


@alerts_router.get("", operation_id="list_alerts", summary="List alerts", responses=told(*_CALLS))
def alerts(
    here: Here,
    state: Annotated[
        EscalationState | None, Query(description="Only in this state; open and taken if left out.")
    ] = None,
    house: Annotated[
        str | None,
        Query(max_length=100, pattern=r"^[a-z0-9-]+$", description="Only of this house; its slug."),
    ] = None,
    limit: Annotated[int, Query(ge=1, le=1000, description="At most so many.")] = 200,
    skip: Annotated[int, Query(ge=0, le=1_000_000, description="Leave out so many first.")] = 0,
) -> AlertList:
    """The most urgent first, and of these the oldest."""
    states = [state] if state is not None else [EscalationState.OPEN, EscalationState.TAKEN]
    query = select(Escalation).where(Escalation.state.in_(states))
    if not here.caller.everywhere:
        query = query.where(Escalation.house.in_(sorted(here.caller.houses)))
    if house is not None:
        query = query.where(Escalation.house == house)
    page = query.order_by(URGENCY, Escalation.created_at, Escalation.id)
    with here.database.reading() as session:
        found = session.scalars(page.offset(skip).limit(limit + 1)).all()
        return AlertList(
            alerts=[AlertOut.of(session, alert) for alert in found[:limit]],
            more=len(found) > limit,
        )


@alerts_router.post(
    "/{alert_id}/take", operation_id="take_alert", summary="Take an alert", responses=told(*_ONE)
)
def take_alert(here: Here, alert_id: AlertId) -> AlertTaken:
    """Nobody else is called, and the guest is told that the host has it. The first one takes it."""
    with here.database.writing() as session:
        here.check(session, alert_id)
        taken = take(
            session, alert_id, here.caller.who, here.now, houses=here.houses, lines=here.lines
        )
        return AlertTaken.of(session, taken)


@alerts_router.post(
    "/{alert_id}/answer",
    operation_id="answer_alert",
    summary="Answer the guest of an alert",
    responses=told(*_ONE, ALERT_OVER, BODY_TOO_LARGE),
)
def answer_alert(
    here: Here, alert_id: AlertId, given: Annotated[AlertAnswer, Body()]
) -> AlertAnswered:
    """The words go to the guest as they are."""
    with here.database.writing() as session:
        here.check(session, alert_id)
        answered = answer(
            session,
            alert_id,
            here.caller.who,
            given.text,
            here.now,
            houses=here.houses,
            lines=here.lines,
            key=given.key,
        )
        return AlertAnswered.of(session, answered)


@alerts_router.post(
    "/{alert_id}/close", operation_id="close_alert", summary="Close an alert", responses=told(*_ONE)
)
def close_alert(here: Here, alert_id: AlertId) -> AlertOut:
    """Nothing more is to be done; the guest is told nothing."""
    with here.database.writing() as session:
        here.check(session, alert_id)
        return AlertOut.of(session, close(session, alert_id, here.caller.who, here.now))


def add_alert_handlers(app: FastAPI) -> None:
    """Turns the errors of alerts into problem details."""
    app.add_exception_handler(AlertError, _on_alert_error)


def _on_alert_error(request: Request, error: Exception) -> Response:
    if isinstance(error, UnknownAlertError):
        return problem(request.scope, UNKNOWN_ALERT)
    return problem(request.scope, ALERT_OVER, detail=str(error))

"""`/v1/stays`: a program with the scope `stays` lists, adds, changes, cancels and imports.

The application needs `state.database`, `state.stay_rules` (by slug; may be empty) and
`state.clock`, and `add_stay_handlers`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Body, Depends, FastAPI, Path, Query, Request
from starlette.responses import Response

from askhouse.errors import UnknownHouseError
from askhouse.values import House
from service.access.roles import Caller, may_see, visible
from service.access.tokens import Scope, require
from service.api import Open
from service.database import Database
from service.description import told
from service.problem_details import problem
from service.problem_types import (
    BODY_TOO_LARGE,
    INVALID_REQUEST,
    NOT_ALLOWED,
    NOT_READY,
    NOT_SET_UP,
    TOKEN_NEEDED,
    TOO_MANY_REQUESTS,
    UNKNOWN_HOUSE,
    UNKNOWN_STAY,
)
from service.schema import Fault
from service.stays.csv_file import import_csv
from service.stays.errors import StayError, UnknownStayError
from service.stays.schema import ImportDone, NewStay, StayChange, StayList, StayOut
from service.stays.settings import StayRules, rules_of
from service.stays.stays import When, add_stay, cancel_stay, change_stay, list_stays, stay_of
from service.tables import Stay

__all__ = ["add_stay_handlers", "stays_router"]


_CALLS = (TOKEN_NEEDED, NOT_ALLOWED, TOO_MANY_REQUESTS, NOT_READY, NOT_SET_UP, INVALID_REQUEST)
_SENDS = (*_CALLS, BODY_TOO_LARGE)
_MOST_ID = 2**31 - 1  # the column's

stays_router = APIRouter(prefix="/v1/stays", tags=["stays"])


class _Here:
    """What every route needs: the caller, their houses, the rules, the database, the time."""

    def __init__(
        self,
        request: Request,
        caller: Annotated[Caller, Depends(require(Scope.STAYS))],
        answering: Open,
    ) -> None:
        state = request.app.state
        self.caller = caller
        self.database: Database = state.database
        self.rules: Mapping[str, StayRules] = state.stay_rules
        self.now: dt.datetime = state.clock()
        self.houses: Mapping[str, House] = {
            slug: answering.houses[slug] for slug in visible(caller, answering.houses)
        }

    def shown(self, stay: Stay) -> StayOut:
        return StayOut.of(stay, self.houses[stay.house], rules_of(stay.house, self.rules))

    def house(self, slug: str) -> None:
        """Refuses a house that is not there, or not theirs: the same for both."""
        if slug not in self.houses:
            raise UnknownHouseError("no such house: use a slug that GET /v1/houses names")


Here = Annotated[_Here, Depends()]
StayId = Annotated[int, Path(ge=1, le=_MOST_ID, description="The stay's id.")]


@stays_router.get(
    "", operation_id="list_stays", summary="List stays", responses=told(*_CALLS, UNKNOWN_HOUSE)
)
def stays(
    here: Here,
    house: Annotated[
        str | None, Query(max_length=100, description="Only of this house; its slug.")
    ] = None,
    when: Annotated[When | None, Query(description="Only in progress, to come, or over.")] = None,
    days: Annotated[
        int | None,
        Query(ge=0, le=1000, description="Only those that begin or ended within so many days."),
    ] = None,
    cancelled: Annotated[bool, Query(description="Also the cancelled ones.")] = False,
    limit: Annotated[int, Query(ge=1, le=1000, description="At most so many.")] = 200,
    skip: Annotated[int, Query(ge=0, le=1_000_000, description="Leave out so many first.")] = 0,
) -> StayList:
    """By arrival. `days` counts from now, with `when` coming or past."""
    if house is not None:
        here.house(house)
    houses = {house: here.houses[house]} if house is not None else here.houses
    with here.database.reading() as session:
        found = list_stays(session, houses, here.now, when=when, days=days, cancelled=cancelled)
        page = found[skip : skip + limit]
        return StayList(
            stays=[here.shown(stay) for stay in page], more=len(found) > skip + len(page)
        )


@stays_router.post(
    "",
    operation_id="add_stay",
    summary="Add a stay",
    status_code=201,
    responses=told(*_SENDS, UNKNOWN_HOUSE),
)
def add(here: Here, given: Annotated[NewStay, Body()]) -> StayOut:
    """The same house and reference again is the same stay, changed to what is given."""
    here.house(given.house)
    with here.database.writing() as session:
        return here.shown(add_stay(session, given.new(), here.houses, here.now).stay)


@stays_router.put(
    "/{stay_id:int}",
    operation_id="change_stay",
    summary="Change a stay",
    responses=told(*_SENDS, UNKNOWN_STAY),
)
def change(here: Here, stay_id: StayId, given: Annotated[StayChange, Body()]) -> StayOut:
    """Dates that come from a feed are changed where the feed comes from."""
    with here.database.writing() as session:
        stay = _theirs(stay_of(session, stay_id), here)
        return here.shown(change_stay(session, stay_id, given.draft(stay), here.houses).stay)


@stays_router.post(
    "/{stay_id:int}/cancel",
    operation_id="cancel_stay",
    summary="Cancel a stay",
    responses=told(*_CALLS, UNKNOWN_STAY),
)
def cancel(here: Here, stay_id: StayId) -> StayOut:
    """For good: no feed and no import brings it back. Its guests are told nothing more."""
    with here.database.writing() as session:
        _theirs(stay_of(session, stay_id), here)
        return here.shown(cancel_stay(session, stay_id, here.now))


@stays_router.post(
    "/import",
    operation_id="import_stays",
    summary="Import stays from CSV",
    responses=told(*_SENDS),
)
def import_stays(
    here: Here,
    content: Annotated[
        bytes,
        Body(
            media_type="text/csv",
            description="UTF-8 with the columns house, arrival, departure, and if you like guests, "
            "phones, door_code, reference, release_from, release_until.",
        ),
    ],
) -> ImportDone:
    """All of its rows, or none and every problem at once. The same file again changes nothing."""
    with here.database.writing() as session:
        return ImportDone.of(import_csv(session, content, here.houses, here.now, "request"))


def _theirs(stay: Stay, here: _Here) -> Stay:
    if stay.house not in here.houses or not may_see(here.caller, stay.house):
        raise UnknownStayError(stay.id)
    return stay


def add_stay_handlers(app: FastAPI) -> None:
    """Turns the errors of stays into problem details."""
    app.add_exception_handler(StayError, _on_stay_error)
    app.add_exception_handler(UnknownStayError, _on_unknown_stay)


def _on_stay_error(request: Request, error: Exception) -> Response:
    assert isinstance(error, StayError)
    of_file = request.url.path.endswith("/import")
    faults = [
        Fault(
            detail=f"{f'line {p.line}: ' if of_file else ''}{p.field} {p.what}. {p.mend}",
            pointer=None if of_file else _pointer(p.field),
        )
        for p in error.problems
    ]
    return problem(request.scope, INVALID_REQUEST, errors=faults)


def _pointer(field: str) -> str:
    """`phones[1]` → `#/phones/1` (RFC 6901)."""
    return "#/" + field.replace("[", "/").replace("]", "")


def _on_unknown_stay(request: Request, _: Exception) -> Response:
    return problem(request.scope, UNKNOWN_STAY)

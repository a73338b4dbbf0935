"""The JSON routes: read the request, ask, shape the answer."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Body, Depends, Request, Response

from askhouse.errors import UnknownHouseError
from service.access.roles import Caller, may_see
from service.access.tokens import Scope, here_or
from service.answering import Answering, Stage
from service.description import told
from service.problem_details import ProblemError
from service.problem_types import (
    BODY_TOO_LARGE,
    INVALID_REQUEST,
    MESSAGE,
    NOT_ALLOWED,
    NOT_READY,
    NOT_SET_UP,
    PROBLEM_TYPES,
    TOKEN_NEEDED,
    TOO_MANY_REQUESTS,
    UNKNOWN_HOUSE,
)
from service.schema import (
    ASKED,
    DraftReply,
    HouseList,
    HouseSummary,
    ProblemList,
    ProblemSummary,
    ReplyRequest,
    State,
)

__all__ = ["V1", "around", "v1"]

V1 = "/v1"
_RETRY_S = 2  # opening takes a few seconds, or a minute where every fact is embedded anew


def _answering(request: Request) -> Answering:
    answering = request.app.state.answering
    assert isinstance(answering, Answering)
    return answering


def _open(answering: Annotated[Answering, Depends(_answering)]) -> Answering:
    """The assistant once it can be asked; a problem before."""
    if answering.stage in (Stage.HELD, Stage.FAILED):
        raise ProblemError(NOT_SET_UP)
    if answering.stage is not Stage.OPEN:
        raise ProblemError(NOT_READY, {"Retry-After": str(_RETRY_S)})
    return answering


Asker = Annotated[Caller | None, Depends(here_or(Scope.ASK))]
Opening = Annotated[Answering, Depends(_answering)]
Open = Annotated[Answering, Depends(_open)]

v1 = APIRouter(prefix=V1)
around = APIRouter()  # what stands beside the interface: health, and the meaning of problems


@v1.post(
    "/replies",
    tags=["replies"],
    operation_id="draft_reply",
    summary="Draft a cited reply to a guest's message",
    responses=told(
        UNKNOWN_HOUSE,
        BODY_TOO_LARGE,
        INVALID_REQUEST,
        MESSAGE,
        TOO_MANY_REQUESTS,
        NOT_READY,
        NOT_SET_UP,
        TOKEN_NEEDED,
        NOT_ALLOWED,
    ),
)
async def draft_reply(
    asked: Annotated[ReplyRequest, Body(openapi_examples=ASKED)],
    asker: Asker,
    answering: Open,
    response: Response,
) -> DraftReply:
    """Each part of the message is answered from the host's facts, or goes to the host.

    From another machine, with a token of the scope `ask`.

    Nothing is sent and nothing is kept: what comes back is a draft with the facts it rests on.
    The same request gets the same reply for as long as the host's files stay the same.
    """
    if asker is not None and not may_see(asker, asked.house):
        raise UnknownHouseError(f"no house is called {asked.house!r} for this token")
    response.headers["Cache-Control"] = "no-store"  # a verified guest's reply may hold a code
    return DraftReply.of(await answering.reply(asked.message(), asked.house))


@v1.get(
    "/houses",
    tags=["houses"],
    operation_id="list_houses",
    summary="List the houses that can be asked about",
    responses=told(TOO_MANY_REQUESTS, NOT_READY, NOT_SET_UP, TOKEN_NEEDED, NOT_ALLOWED),
)
async def list_houses(asker: Asker, answering: Open) -> HouseList:
    """A house with an error in its files is not among them; `askhouse check` tells why."""
    seen = (h for h in answering.houses.values() if asker is None or may_see(asker, h.slug))
    houses = sorted(seen, key=lambda house: house.slug)
    return HouseList(houses=[HouseSummary.of(house) for house in houses])


@around.get(
    "/health/live",
    tags=["health"],
    operation_id="live",
    summary="Whether the service lives",
    responses=told(NOT_SET_UP),
)
async def live(answering: Opening) -> State:
    """Where this fails, nothing can be worked on: mend what the log names, and start anew."""
    if answering.stage is Stage.FAILED:
        raise ProblemError(NOT_SET_UP)
    return State(status="live")


@around.get(
    "/health/ready",
    tags=["health"],
    operation_id="ready",
    summary="Whether a message would be answered at once",
    responses=told(NOT_READY, NOT_SET_UP),
)
async def ready(_: Open) -> State:
    """Ready once the houses are open; before, the facts are still read or embedded.

    Where no house can be opened, messages are passed on to the host until the files are mended.
    """
    return State(status="ready")


@around.get(
    "/problems",
    tags=["problems"],
    operation_id="list_problems",
    summary="Explain each kind of problem",
)
async def list_problems() -> ProblemList:
    """What the `type` of a problem leads to."""
    kinds = PROBLEM_TYPES.values()
    return ProblemList(
        problems=[
            ProblemSummary(type=kind.path, status=kind.status, title=kind.title, mend=kind.mend)
            for kind in kinds
        ]
    )

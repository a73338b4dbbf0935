"""The way in for gateways: check that it is theirs, read, store, acknowledge or reply."""

from __future__ import annotations

import logging
from http import HTTPStatus
from typing import Annotated, Any

import anyio
from fastapi import APIRouter, HTTPException, Path, Request, Response
from starlette.concurrency import run_in_threadpool

from service.description import told
from service.lines.arrived import Arrived
from service.lines.masking import masked
from service.lines.open_lines import Inbox, OpenLine, OpenLines
from service.lines.reading import UnreadableError, read
from service.lines.request import LineRequest
from service.lines.settings import InboundSettings, LineSettings, pointer
from service.lines.signatures import ForgedError, check
from service.lines.signing_settings import BasicSigning
from service.lines.templates import fill_media
from service.problem_details import MEDIA_TYPE, problem
from service.problem_types import (
    BODY_TOO_LARGE,
    INVALID_REQUEST,
    NOT_SET_UP,
    NOT_SIGNED,
    REPLY_PENDING,
)
from service.schema import Fault, ProblemDetails

__all__ = ["lines"]

MOST_BYTES = 65_536  # the longest message with every character escaped, and its fields
_FIRST_PAUSE_S, _LONGEST_PAUSE_S = 0.05, 0.5
_COME_AGAIN_S = 15
_NOT_SET_UP_S = 60
_FORMS = ("application/x-www-form-urlencoded",)
_JSON = ("application/json", "text/json", "text/plain")

log = logging.getLogger(__name__)

lines = APIRouter(prefix="/lines")

Line = Annotated[str, Path(max_length=100, description="Name of the line in the settings.")]
PathSecret = Annotated[
    str,
    Path(
        max_length=500,
        description="Its secret, where the gateway can prove itself in no other way.",
    ),
]


async def _hand_over(request: Request, line: Line) -> Response:
    """Reads the message as the line's settings say and stores it before it is acknowledged.

    The response holds the reply where the line replies in it; otherwise it is empty and the
    reply goes out by a call to the gateway. A message that is handed over again is acknowledged
    again and answered once. Where the service is not set up rightly the message is stored, and the
    gateway is asked to try again.
    """
    return await _take(request, line, None)


async def _hand_over_with_secret(request: Request, line: Line, secret: PathSecret) -> Response:
    """The same, for a gateway that can only be told a secret address."""
    return await _take(request, line, secret)


async def _take(request: Request, name: str, path_secret: str | None) -> Response:
    lines: OpenLines = request.app.state.open_lines
    inbox: Inbox = request.app.state.inbox
    open_line = lines.by_name.get(name)
    if open_line is None:
        return _refused(request, None, "no such line")
    settings = open_line.settings
    _allow(request, settings.inbound)
    body = await request.body()
    if len(body) > MOST_BYTES:
        return problem(request.scope, BODY_TOO_LARGE)
    asked = LineRequest(
        method=request.method,
        query=request.scope["query_string"].decode("latin-1"),
        headers=_headers(request),
        body=body,
        path_secret=path_secret,
    )
    try:
        now = lines.now()
        signed = check(settings.signing, open_line.secret, asked, now)
        arrived = read(settings, asked, now, signed)
    except ForgedError as error:
        return _refused(request, open_line, str(error))
    except UnreadableError as error:
        log.warning("a message could not be read: %s", error, extra=_fields(request, settings))
        return problem(request.scope, INVALID_REQUEST, errors=_faults(settings.inbound, error))
    receipt = await run_in_threadpool(inbox.receive, arrived)
    log.info("a message arrived", extra=_fields(request, settings, arrived))
    if not receipt.worked_on:
        return problem(request.scope, NOT_SET_UP, headers={"Retry-After": str(_NOT_SET_UP_S)})
    return await _answer(request, settings, inbox, receipt.message_id, arrived)


def _allow(request: Request, inbound: InboundSettings) -> None:
    """Refuses a method or a content type that the line does not take."""
    if request.method not in inbound.methods:
        allow = {"Allow": ", ".join(inbound.methods)}
        raise HTTPException(HTTPStatus.METHOD_NOT_ALLOWED, headers=allow)
    media = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if inbound.format == "query" or not media:
        return
    taken = _JSON if inbound.format == "json" else _FORMS
    if media not in taken and not (inbound.format == "json" and media.endswith("+json")):
        raise HTTPException(
            HTTPStatus.UNSUPPORTED_MEDIA_TYPE, f"This line takes {taken[0]}; see its settings."
        )


def _headers(request: Request) -> dict[str, str]:
    """By name; of one that comes twice, both, so that neither passes for the other."""
    return {name: ", ".join(request.headers.getlist(name)) for name in request.headers}


def _refused(request: Request, open_line: OpenLine | None, reason: str) -> Response:
    """One refusal for all: what exactly was wrong stands in the log alone."""
    settings = open_line.settings if open_line else None
    log.warning("a request to a line was refused: %s", reason, extra=_fields(request, settings))
    # RFC 9110, 11.6.1: some gateways send user and password only when they are asked to.
    basic = settings is not None and isinstance(settings.signing, BasicSigning)
    headers = {"WWW-Authenticate": 'Basic realm="lines", charset="UTF-8"'} if basic else None
    return problem(request.scope, NOT_SIGNED, headers=headers)


def _faults(inbound: InboundSettings, error: UnreadableError) -> list[Fault]:
    """What is wrong with each field, by its pointer in JSON or its name elsewhere."""
    faults = []
    for field, said in error.problems.items():
        if inbound.format == "json":
            where = f"#{pointer(field).path}" if field else "#"
            faults.append(Fault(detail=said, pointer=where))
        else:
            faults.append(Fault(detail=f"{field or 'the request'} {said}"))
    return faults


def _fields(
    request: Request, settings: LineSettings | None, arrived: Arrived | None = None
) -> dict[str, dict[str, object]]:
    fields: dict[str, object] = {
        "request_id": request.scope.get("state", {}).get("request_id"),
        "line": settings.name if settings else None,
    }
    if arrived is not None:
        fields["sender"] = masked(arrived.sender)
    return {"fields": fields}


async def _answer(
    request: Request,
    settings: LineSettings,
    inbox: Inbox,
    message_id: int | None,
    arrived: Arrived,
) -> Response:
    respond = settings.respond
    if respond is None:
        return Response(status_code=HTTPStatus.OK)
    text = ""
    if message_id is not None:
        reply = await _reply(inbox, message_id, respond.wait_s)
        if reply is None and settings.send is None:
            again = {"Retry-After": str(_COME_AGAIN_S)}
            return problem(request.scope, REPLY_PENDING, headers=again)
        text = reply or ""
    body = respond.without_reply
    if text:
        values = {
            "text": text,
            "to": arrived.sender,
            "to_digits": arrived.sender.removeprefix("+"),
            "number": settings.number,
            "number_digits": settings.number.removeprefix("+"),
        }
        body = fill_media(respond.template, values, respond.content_type)
    # A guest's reply may hold a code: nothing on the way may keep it.
    headers = {"Cache-Control": "no-store", "Content-Type": respond.content_type}
    return Response(body, headers=headers)


async def _reply(inbox: Inbox, message_id: int, wait_s: float) -> str | None:
    """The reply once it is there, or None after the wait; no thread is held meanwhile."""
    until = anyio.current_time() + wait_s
    pause = _FIRST_PAUSE_S
    while True:
        text = await run_in_threadpool(inbox.reply_text, message_id, 0.0)
        if text is not None or anyio.current_time() >= until:
            return text
        await anyio.sleep(min(pause, until - anyio.current_time()))
        pause = min(pause * 1.5, _LONGEST_PAUSE_S)


def _described(status: HTTPStatus, description: str) -> dict[int | str, dict[str, Any]]:
    """An error whose status says all, for the description."""
    schema = {"$ref": f"#/components/schemas/{ProblemDetails.__name__}"}
    return {int(status): {"description": description, "content": {MEDIA_TYPE: {"schema": schema}}}}


for _method in ("GET", "POST"):
    for _path, _take_by in (("/{line}", _hand_over), ("/{line}/{secret}", _hand_over_with_secret)):
        lines.add_api_route(
            _path,
            _take_by,
            methods=[_method],
            tags=["lines"],
            operation_id=f"{_method.lower()}{_take_by.__name__}",
            summary="Hand over a message from a gateway",
            response_class=Response,
            responses={
                200: {
                    "description": "Stored. The reply, where the line replies in the response.",
                    "content": {"text/plain": {"schema": {"type": "string"}}},
                },
                **told(NOT_SIGNED, BODY_TOO_LARGE, INVALID_REQUEST, REPLY_PENDING, NOT_SET_UP),
                **_described(HTTPStatus.METHOD_NOT_ALLOWED, "The line takes another method."),
                **_described(HTTPStatus.UNSUPPORTED_MEDIA_TYPE, "The line takes another type."),
            },
        )

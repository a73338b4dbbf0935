"""Every error as RFC 9457 problem details: one shape, one table of types, one way out.

A problem names its kind by a reference into `GET /problems`, where the service
explains it, and its occurrence by the request's id, which stands in the log.
Nothing of the request is repeated in it, and of Askhouse's own errors only
those speak for themselves that the caller can mend.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from types import MappingProxyType
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.types import Scope

from askhouse.errors import (
    AskhouseError,
    KnowledgeError,
    MessageError,
    ModelError,
    SettingsError,
    UnknownHouseError,
)
from service.schema import Fault, ProblemDetails

__all__ = [
    "BODY_TOO_LARGE",
    "ERROR_TYPES",
    "INTERNAL",
    "INVALID_REQUEST",
    "MEDIA_TYPE",
    "MESSAGE",
    "NOT_READY",
    "NOT_SET_UP",
    "PROBLEM_TYPES",
    "TOO_MANY_REQUESTS",
    "UNKNOWN_HOUSE",
    "ProblemError",
    "ProblemType",
    "add_handlers",
    "problem",
]

MEDIA_TYPE = "application/problem+json"

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class ProblemType:
    """A kind of problem.

    Attributes:
        name: Last part of its `type`.
        status: The HTTP status that goes with it.
        title: The same few words each time.
        mend: What to do about it; the detail where an occurrence has nothing to add.
    """

    name: str
    status: int
    title: str
    mend: str

    @property
    def path(self) -> str:
        """The `type` member; a full path, as RFC 9457, 3.1.1, advises for relative references."""
        return f"/problems#{self.name}"


INVALID_REQUEST = ProblemType(
    "invalid-request",
    422,
    "The request is not as described",
    "Mend what `errors` names; the description of the interface is at /docs.",
)
MESSAGE = ProblemType(
    "message",
    422,
    "The message cannot be worked on",
    "Send what the guest wrote: some readable text of at most 10000 characters.",
)
UNKNOWN_HOUSE = ProblemType(
    "unknown-house",
    404,
    "No such house",
    "Use a slug that GET /v1/houses names.",
)
BODY_TOO_LARGE = ProblemType(
    "body-too-large",
    413,
    "The request's body is too large",
    "Send one message, with the end of its thread only.",
)
TOO_MANY_REQUESTS = ProblemType(
    "too-many-requests",
    429,
    "Too many requests",
    "Wait for as many seconds as the header Retry-After says.",
)
NOT_READY = ProblemType(
    "not-ready",
    503,
    "The houses are not open yet",
    "Ask again in a few seconds; GET /health/ready tells when.",
)
NOT_SET_UP = ProblemType(
    "not-set-up",
    503,
    "The service is not set up rightly",
    "The operator finds the reason in the log.",
)
INTERNAL = ProblemType(
    "internal",
    500,
    "A fault of the service",
    "Nothing is wrong with the request; the log holds the fault under the id in `instance`.",
)

PROBLEM_TYPES: Mapping[str, ProblemType] = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            INVALID_REQUEST,
            MESSAGE,
            UNKNOWN_HOUSE,
            BODY_TOO_LARGE,
            TOO_MANY_REQUESTS,
            NOT_READY,
            NOT_SET_UP,
            INTERNAL,
        )
    }
)

ERROR_TYPES: Mapping[type[AskhouseError], ProblemType] = MappingProxyType(
    {
        AskhouseError: INTERNAL,
        KnowledgeError: NOT_SET_UP,
        MessageError: MESSAGE,
        ModelError: NOT_SET_UP,
        SettingsError: NOT_SET_UP,
        UnknownHouseError: UNKNOWN_HOUSE,
    }
)
# Their words are meant for the caller. Those of the others name files and settings.
_SPEAKS = (MESSAGE, UNKNOWN_HOUSE)


class ProblemError(Exception):
    """A problem of the service itself, raised where it is found."""

    def __init__(self, kind: ProblemType, headers: Mapping[str, str] | None = None) -> None:
        super().__init__(kind.title)
        self.kind = kind
        self.headers = headers


def problem(
    scope: Scope,
    kind: ProblemType,
    *,
    detail: str | None = None,
    errors: Sequence[Fault] | None = None,
    headers: Mapping[str, str] | None = None,
) -> Response:
    """The response that tells a problem of this kind."""
    return _response(
        scope,
        ProblemDetails(
            type=kind.path,
            title=kind.title,
            status=kind.status,
            detail=detail or kind.mend,
            instance=_instance(scope),
            errors=errors,
        ),
        headers,
    )


def add_handlers(app: FastAPI) -> None:
    """Turns every error of the application into problem details."""
    app.add_exception_handler(AskhouseError, _on_askhouse_error)
    app.add_exception_handler(ProblemError, _on_problem)
    app.add_exception_handler(RequestValidationError, _on_invalid_request)
    app.add_exception_handler(HTTPException, _on_http_error)


def _instance(scope: Scope) -> str | None:
    request_id = scope.get("state", {}).get("request_id")
    return request_id and f"urn:uuid:{request_id}"


def _response(scope: Scope, details: ProblemDetails, headers: Mapping[str, str] | None) -> Response:
    # ASCII, because a caller's field name may hold half a character, which UTF-8 cannot carry.
    content = details.model_dump_json(exclude_none=True, ensure_ascii=True)
    return Response(content, details.status, headers, MEDIA_TYPE)


def _on_askhouse_error(request: Request, error: Exception) -> Response:
    kind = next(ERROR_TYPES[c] for c in type(error).__mro__ if c in ERROR_TYPES)
    if kind in _SPEAKS:
        return problem(request.scope, kind, detail=str(error))
    log.error("%s", error, extra={"fields": {"request_id": request.state.request_id}})
    return problem(request.scope, kind)


def _on_problem(request: Request, error: Exception) -> Response:
    assert isinstance(error, ProblemError)
    return problem(request.scope, error.kind, headers=error.headers)


def _on_invalid_request(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    return problem(request.scope, INVALID_REQUEST, errors=[_fault(e) for e in error.errors()])


def _fault(error: Mapping[str, Any]) -> Fault:
    """One thing that is wrong. What was sent is left out: it may be a guest's words."""
    where, *path = error["loc"]
    if error["type"] == "json_invalid":
        (position,) = path
        return Fault(detail=f"not JSON from character {position} on", pointer="#")
    if where != "body":
        return Fault(detail=f"{where} {'.'.join(map(str, path))}: {error['msg']}")
    # RFC 6901: in a pointer, ~ and / are written as ~0 and ~1.
    steps = [str(step).replace("~", "~0").replace("/", "~1") for step in path]
    return Fault(detail=error["msg"], pointer="#" + "".join(f"/{step}" for step in steps))


def _on_http_error(request: Request, error: Exception) -> Response:
    """A plain HTTP error; its status says all, so its type is about:blank (RFC 9457, 4.2.1)."""
    assert isinstance(error, HTTPException)
    if error.status_code == HTTPStatus.BAD_REQUEST:
        # Bytes that are no UTF-8, or brackets nested too deep to be followed.
        unread = Fault(detail="cannot be read as JSON", pointer="#")
        return problem(request.scope, INVALID_REQUEST, errors=[unread])
    details = ProblemDetails(
        type="about:blank",
        title=HTTPStatus(error.status_code).phrase,
        status=error.status_code,
        detail=_detail(error),
        instance=_instance(request.scope),
    )
    return _response(request.scope, details, error.headers)


def _detail(error: HTTPException) -> str:
    if error.status_code == HTTPStatus.NOT_FOUND:
        return "Nothing is at this path; the interface is described at /docs."
    if error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        return f"This path takes {(error.headers or {}).get('Allow', 'another method')}."
    return error.detail

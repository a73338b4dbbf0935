"""Every error as RFC 9457 problem details: one shape, one way out.

A problem names its kind by a reference into `GET /problems`, where the service
explains it, and its occurrence by the request's id, which stands in the log.
No guest's words are repeated in it, and of Askhouse's own errors only those
speak for themselves that the caller can mend.
"""

from __future__ import annotations

import logging
from collections.abc import Mapping, Sequence
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.types import Scope

from askhouse.errors import AskhouseError
from service.problem_types import (
    ERROR_TYPES,
    INVALID_REQUEST,
    SPEAKING,
    ProblemType,
)
from service.schema import Fault, ProblemDetails

__all__ = ["MEDIA_TYPE", "ProblemError", "add_handlers", "problem"]

MEDIA_TYPE = "application/problem+json"

log = logging.getLogger(__name__)


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
    if kind in SPEAKING:
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
        return "Nothing is at this path; the interface is described at /openapi.json."
    if error.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
        return f"This path takes {(error.headers or {}).get('Allow', 'another method')}."
    return error.detail

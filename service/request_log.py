"""The outermost layer: a request gets its id, its line in the log, and always an answer."""

from __future__ import annotations

import logging
import time
import uuid

from starlette.datastructures import MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.problem_details import problem
from service.problem_types import INTERNAL

__all__ = ["RequestLog"]

log = logging.getLogger(__name__)

_LONGEST_PATH = 200


class RequestLog:
    """Writes a line for each request: id, method, path without query, status, duration.

    The id is always our own: one that came with the request could say anything.
    """

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return await self._app(scope, receive, send)
        request_id = str(uuid.uuid4())
        scope.setdefault("state", {})["request_id"] = request_id
        started = time.perf_counter()
        status = 0

        async def send_with_id(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                MutableHeaders(scope=message)["X-Request-ID"] = request_id
            await send(message)

        try:
            await self._app(scope, receive, send_with_id)
        except Exception:
            log.exception("a request failed", extra={"fields": {"request_id": request_id}})
            if not status:
                await problem(scope, INTERNAL)(scope, receive, send_with_id)
        finally:
            fields = {
                "request_id": request_id,
                "method": scope["method"],
                "path": scope["path"][:_LONGEST_PATH],
                "status": status,
                "duration_ms": round((time.perf_counter() - started) * 1000, 1),
            }
            log.info("request", extra={"fields": fields})

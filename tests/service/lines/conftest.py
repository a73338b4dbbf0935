"""A real service that has lines and nothing else, on the loopback."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from datetime import datetime

import httpx
import pytest
from fastapi import FastAPI

from service.description import DescribedApp
from service.limits import BodyLimit
from service.lines.open_lines import Inbox, OpenLines, open_lines
from service.lines.routes import lines
from service.lines.settings import LineSettings
from service.problem_details import add_handlers
from service.request_log import RequestLog
from tests.service.serving import serving

Served = Callable[..., AbstractContextManager[httpx.Client]]


def lines_app(opened: OpenLines, inbox: Inbox) -> FastAPI:
    """An application with the lines' routes and the service's own shape of errors."""
    app = DescribedApp()
    app.add_middleware(BodyLimit, most=262_144)
    app.add_middleware(RequestLog)
    app.state.open_lines = opened
    app.state.inbox = inbox
    app.include_router(lines)
    app.get("/health/ready")(lambda: {"status": "ready"})
    add_handlers(app)
    return app


@pytest.fixture
def served() -> Served:
    """Serves one line; gives a client of it."""

    @contextmanager
    def serve(
        line: LineSettings,
        environ: Mapping[str, str],
        inbox: Inbox,
        now: Callable[[], datetime] | None = None,
    ) -> Iterator[httpx.Client]:
        opened = open_lines([line], environ)
        if now is not None:
            opened = OpenLines(opened.by_name, now)
        with serving(lines_app(opened, inbox)) as url, httpx.Client(base_url=url) as client:
            yield client

    return serve

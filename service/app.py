"""The service, wired: settings in, an application out. The only module that knows all others."""

from __future__ import annotations

import os
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager

from fastapi import FastAPI
from starlette.middleware import Middleware

from askhouse.errors import KnowledgeError
from service.alerts.routes import add_alert_handlers, alerts_router
from service.answering import Answering
from service.api import V1, around, v1
from service.clock import utc_now
from service.console import add_console
from service.description import SUMMARY, DescribedApp
from service.limits import BodyLimit, RequestLimit, TokenBuckets
from service.lines.routes import lines as lines_router
from service.logs import configure_logging
from service.metrics import CountRefused, Metrics, metrics_route
from service.outbox import OutboxRules
from service.problem_details import add_handlers
from service.request_log import RequestLog
from service.running import Running
from service.service_file import read_service_file
from service.settings import ServiceSettings, read_service_settings
from service.stays.routes import add_stay_handlers, stays_router
from service.worker import WorkerRules

__all__ = ["create_app", "from_environment"]


def create_app(
    settings: ServiceSettings,
    environ: Mapping[str, str] = os.environ,
    *,
    worker_rules: WorkerRules | None = None,
    outbox_rules: OutboxRules | None = None,
) -> FastAPI:
    """The application; nothing is opened before its lifespan begins.

    Args:
        settings: Of the operator.
        environ: Holds the secrets that the service's file names.
        worker_rules: How messages are worked on, where not as usual.
        outbox_rules: How deliveries are sent, where not as usual.

    Raises:
        SettingsError: The service's file, a secret or the database's URL cannot be used.
    """
    answering = Answering(settings, settings.answers_at_once)
    running = Running(
        settings,
        read_service_file(settings.service_file),
        environ,
        answering,
        worker_rules,
        outbox_rules,
    )
    base_url = str(running.file.alerts.base_url or settings.base_url).rstrip("/")
    metrics = Metrics(running.database, utc_now, running.lines)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        async with answering.running(), running.running(base_url):
            yield

    app = DescribedApp(
        title="Askhouse",
        version="1",
        description=SUMMARY,
        lifespan=lifespan,
        redirect_slashes=False,
        # Their pages would bring scripts from elsewhere to where a host is signed in.
        docs_url=None,
        redoc_url=None,
        middleware=[  # the first is the outermost
            Middleware(RequestLog),
            Middleware(CountRefused, metrics=metrics),
            Middleware(
                RequestLimit, buckets=TokenBuckets(settings.requests_per_minute), below=f"{V1}/"
            ),
            Middleware(BodyLimit, most=settings.body_limit_bytes),
        ],
    )
    app.state.answering = answering
    app.state.base_url = base_url
    app.state.database = running.database
    app.state.knowledge = settings.knowledge
    app.state.open_lines = running.open_lines
    app.state.inbox = running.inbox
    app.state.stay_rules = running.file.rules
    for router in (v1, around, lines_router, stays_router, alerts_router, metrics_route(metrics)):
        app.include_router(router)
    add_console(
        app,
        house_changed=running.house_changed,
        lines=running.lines,
        alert_settings=running.alerts,
        effects=running.effects,
        clock=utc_now,
    )
    add_handlers(app)
    add_stay_handlers(app)
    add_alert_handlers(app)
    return app


def from_environment() -> FastAPI:
    """The application as ASKHOUSE_* in the environment says; its logging set up as well.

    Raises:
        SettingsError: A variable or the service's file cannot be used.
        KnowledgeError: There is no such folder of houses. Told here, where the program
            can still refuse to start; once it runs, all it could do is never be ready.
    """
    settings = read_service_settings()
    if not settings.knowledge.exists():
        raise KnowledgeError(f"there is no folder {settings.knowledge}: set ASKHOUSE_KNOWLEDGE")
    configure_logging(as_json=settings.log_format == "json")
    return create_app(settings)

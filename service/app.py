"""The service, wired: settings in, an application out. The only module that knows all others."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from fastapi import FastAPI
from starlette.middleware import Middleware

from askhouse.errors import KnowledgeError
from service.answering import Answering
from service.api import V1, around, v1
from service.description import SUMMARY, DescribedApp
from service.limits import BodyLimit, RequestLimit, TokenBuckets
from service.logs import configure_logging
from service.problem_details import add_handlers
from service.request_log import RequestLog
from service.settings import ServiceSettings, read_service_settings

__all__ = ["create_app", "from_environment"]


def create_app(settings: ServiceSettings) -> FastAPI:
    """The application; nothing is opened before its lifespan begins."""
    answering = Answering(settings, settings.answers_at_once)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        async with answering.running():
            yield

    app = DescribedApp(
        title="Askhouse",
        version="1",
        description=SUMMARY,
        lifespan=lifespan,
        redirect_slashes=False,
        middleware=[  # the first is the outermost
            Middleware(RequestLog),
            Middleware(
                RequestLimit, buckets=TokenBuckets(settings.requests_per_minute), below=f"{V1}/"
            ),
            Middleware(BodyLimit, most=settings.body_limit_bytes),
        ],
    )
    app.state.answering = answering
    app.include_router(v1)
    app.include_router(around)
    add_handlers(app)
    return app


def from_environment() -> FastAPI:
    """The application as ASKHOUSE_* in the environment says; its logging set up as well.

    Raises:
        SettingsError: A variable cannot be used.
        KnowledgeError: There is no such folder of houses. Told here, where the program
            can still refuse to start; once it runs, all it could do is never be ready.
    """
    settings = read_service_settings()
    if not settings.knowledge.exists():
        raise KnowledgeError(f"there is no folder {settings.knowledge}: set ASKHOUSE_KNOWLEDGE")
    configure_logging()
    return create_app(settings)

"""A real service over the demo houses, on the loopback, opened once for the whole folder."""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI

from service.app import create_app
from service.database import Database, open_engine
from service.logs import JsonLines
from service.migrations import migrate
from service.settings import ServiceSettings
from tests.conftest import DEMO_HOUSES
from tests.service.databases import (
    BACKENDS,
    emptied_postgres,
    migrated_sqlite,
    own_postgres,
    sqlite_copy,
)
from tests.service.serving import serving, wait_until_ready

UNLIMITED = 100_000


@pytest.fixture(scope="session")
def settings(
    tmp_path_factory: pytest.TempPathFactory, pytestconfig: pytest.Config
) -> ServiceSettings:
    """The demo houses with the index that all tests share, and no limit that tests would meet."""
    cache: pytest.Cache | None = getattr(pytestconfig, "cache", None)
    folder = cache.mkdir("askhouse") if cache else tmp_path_factory.mktemp("index")
    return ServiceSettings(
        knowledge=DEMO_HOUSES,
        index=folder / "index.npz",
        database=f"sqlite:///{tmp_path_factory.mktemp('database') / 'service.db'}",
        requests_per_minute=UNLIMITED,
    )


@pytest.fixture(scope="session")
def log_lines() -> Iterator[io.StringIO]:
    """Everything that the service logs in the whole run."""
    lines = io.StringIO()
    handler = logging.StreamHandler(lines)
    handler.setFormatter(JsonLines())
    logger = logging.getLogger("service")
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)
    yield lines
    logger.setLevel(logging.NOTSET)
    logger.removeHandler(handler)


@pytest.fixture(scope="session")
def url(settings: ServiceSettings, log_lines: io.StringIO) -> Iterator[str]:
    """A service that is ready."""
    with serving(create_app(settings)) as url:
        wait_until_ready(url)
        yield url


@pytest.fixture(scope="session")
def client(url: str) -> Iterator[httpx.Client]:
    """A client of the service that is ready."""
    with httpx.Client(base_url=url, timeout=30) as client:
        yield client


@pytest.fixture
def shut_app(settings: ServiceSettings) -> FastAPI:
    """An application whose lifespan has not begun: nothing is open."""
    return create_app(settings)


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated SQLite file."""
    return migrated_sqlite(tmp_path_factory.mktemp("sqlite"))


@pytest.fixture(scope="session")
def postgres_url() -> Iterator[str]:
    """A migrated PostgreSQL database of this run."""
    with own_postgres() as url:
        engine = open_engine(url)
        migrate(engine)
        engine.dispose()
        yield url


@pytest.fixture(params=BACKENDS)
def database(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """An empty database of the newest shape; each test runs on both kinds."""
    if request.param == "sqlite":
        with sqlite_copy(request.getfixturevalue("sqlite_template"), tmp_path) as database:
            yield database
    else:
        with emptied_postgres(request.getfixturevalue("postgres_url")) as database:
            yield database

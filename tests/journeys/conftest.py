"""A real browser before a real service: two small houses, a filled database, nothing patched.

Ferry Lodge is a file, Mill Loft a folder, which has a place for notes.
"""

from __future__ import annotations

import os
import shutil
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest
from fastapi import FastAPI
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from askhouse.build import build_assistant
from askhouse.knowledge.load import Library
from askhouse.values import House
from service.access.sign_in import open_session
from service.answering import Answering, Stage
from service.console import add_console
from service.database import Database, open_engine
from service.gaps.preview import Effects, effects
from service.problem_details import add_handlers
from service.settings import ServiceSettings
from service.tables import Person, Role, Table
from tests.service.console.conftest import LODGE, LOFT, NOW, Clock, line, write_two_houses
from tests.service.console.filling import Filled, fill
from tests.service.serving import serving

SIZES = {"phone": {"width": 390, "height": 844}, "desk": {"width": 1280, "height": 900}}
ARGUMENTS = (
    *("--no-sandbox", "--disable-background-networking", "--disable-component-update"),
    *("--disable-sync", "--no-first-run"),
)
WAIT_MS = 15_000


@dataclass
class Site:
    """The service under test."""

    app: FastAPI
    url: str
    files: Path
    clock: Clock
    database: Database
    filled: Filled
    owner_key: str


class Asked(Answering):
    """Answers, and tells what a change would do to what guests asked before."""

    def effects(self, then: House, fact_id: str, questions: Sequence[str]) -> Effects:
        """What guests asked before, asked again at the house as it would be."""
        would_be = build_assistant(Library({then.slug: then}, ()), None)
        return effects(questions, then.slug, fact_id, self.assistant(), would_be)


@pytest.fixture(scope="package")
def _app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FastAPI, str, Path, Clock]]:
    files = tmp_path_factory.mktemp("journeys") / "houses"
    files.mkdir()
    write_two_houses(files)
    (files / LOFT).mkdir()
    (files / f"{LOFT}.yaml").rename(files / LOFT / "house.yaml")
    index = tmp_path_factory.mktemp("index") / "i.npz"
    answering = Asked(ServiceSettings(knowledge=files, index=index), 2)

    @asynccontextmanager
    async def lifespan(_: FastAPI):  # type: ignore[no-untyped-def]
        async with answering.running():
            yield

    app = FastAPI(lifespan=lifespan, redirect_slashes=False)
    app.state.answering, app.state.knowledge = answering, files
    clock = Clock()
    add_console(
        app,
        house_changed=lambda _: threading.Thread(target=answering.reopen).start(),
        lines={"texts": line()},
        effects=answering.effects,
        clock=clock,
    )
    add_handlers(app)
    with serving(app) as url:
        while answering.stage is not Stage.OPEN:
            assert answering.stage is not Stage.FAILED
            time.sleep(0.02)
        yield app, url, files, clock


@pytest.fixture
def site(_app: tuple[FastAPI, str, Path, Clock], tmp_path: Path) -> Iterator[Site]:
    """The service with a filled database, and the files as they were at first."""
    app, url, files, clock = _app
    database = Database(open_engine(f"sqlite:///{tmp_path / 'journeys.db'}"))
    Table.metadata.create_all(database.engine)
    with database.writing() as session:
        owner = Person(
            name="Wilma",
            email="wilma@example.org",
            role=Role.OWNER,
            houses=[],
            password_hash="set",
            created_at=NOW,
        )
        session.add(owner)
        session.flush()
        key = open_session(session, owner.id, NOW)
        filled = fill(session, NOW, LODGE, LOFT, "heating")
    app.state.database = database
    before = _written(files)
    yield Site(app, url, files, clock, database, filled, key)
    after = _written(files)
    if after != before:
        for path in after.keys() - before.keys():
            path.unlink()
        for path, content in before.items():
            path.write_bytes(content)
        answering: Asked = app.state.answering
        answering.reopen()
    database.close()


def _written(files: Path) -> dict[Path, bytes]:
    """Every file of the houses; what begins with a dot is the service's own."""
    own = [path for path in files.rglob("*") if ".askhouse" not in path.parts and path.is_file()]
    return {path: path.read_bytes() for path in own}


@pytest.fixture(scope="package")
def chromium() -> Iterator[Browser]:
    """Chromium where ASKHOUSE_TEST_CHROMIUM or the path says; else the test is skipped."""
    found = os.environ.get("ASKHOUSE_TEST_CHROMIUM") or CHROMIUM or shutil.which("chromium")
    if not found:
        pytest.skip("no Chromium: install it, or name it in ASKHOUSE_TEST_CHROMIUM")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=found, args=ARGUMENTS)
        yield browser
        browser.close()


# Read when the tests are gathered: later no test sees an ASKHOUSE_* variable.
CHROMIUM = os.environ.get("ASKHOUSE_TEST_CHROMIUM")


def enter(browser: Browser, site: Site, size: str, **more: object) -> BrowserContext:
    """A browser of the owner, signed in, of that size."""
    context = browser.new_context(viewport=SIZES[size], **more)  # type: ignore[arg-type]
    context.set_default_timeout(WAIT_MS)
    context.add_cookies([{"name": "askhouse-session", "value": site.owner_key, "url": site.url}])
    return context


@pytest.fixture(params=SIZES)
def page(request: pytest.FixtureRequest, chromium: Browser, site: Site) -> Iterator[Page]:
    """A page of the owner's browser, at phone and at desktop size; errors of its script fail."""
    context = enter(chromium, site, request.param)
    context.grant_permissions(["clipboard-read", "clipboard-write"], origin=site.url)
    page = context.new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
    yield page
    context.close()
    assert wrong == []

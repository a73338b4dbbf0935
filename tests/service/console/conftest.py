"""The console over two small houses with different staff, served on the loopback."""

from __future__ import annotations

import datetime as dt
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI

from askhouse.packaged import read_yaml
from service.access.forms import form_token
from service.access.sign_in import open_session
from service.answering import Answering, Stage
from service.console import add_console
from service.database import Database, open_engine
from service.lines.settings import LineSettings
from service.problem_details import add_handlers
from service.settings import ServiceSettings
from service.tables import Person, Role, Table
from tests.house import SMALL
from tests.service.console.filling import Filled, fill
from tests.service.serving import serving

NOW = dt.datetime(2026, 11, 25, 12, 0, tzinfo=dt.UTC)
LODGE, LOFT = "ferry-lodge", "mill-loft"


def line() -> LineSettings:
    """The line `texts`, whose gateway is called for every reply."""
    sample = read_yaml("service.samples", "post-json-signed.yaml")["lines"][0]
    return LineSettings.model_validate(sample | {"name": "texts", "houses": [LODGE, LOFT]})


@dataclass
class Clock:
    """A clock that stands still until it is moved."""

    now: dt.datetime = NOW

    def __call__(self) -> dt.datetime:
        return self.now


@dataclass
class Served:
    """The application under test and where it is."""

    app: FastAPI
    url: str
    clock: Clock
    changed: list[str] = field(default_factory=list)


def write_two_houses(folder: Path) -> None:
    """Ferry Lodge, and Mill Loft with the same facts and codes of its own."""
    text = SMALL.read_text(encoding="utf-8")
    (folder / f"{LODGE}.yaml").write_text(text, encoding="utf-8")
    other = (
        text.replace(LODGE, LOFT)
        .replace("Ferry Lodge", "Mill Loft")
        .replace("4826", "7193")
        .replace("heron-lantern-52", "sluice-wheel-81")
    )
    (folder / f"{LOFT}.yaml").write_text(other, encoding="utf-8")


@pytest.fixture(scope="session")
def two_houses(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the two houses."""
    folder = tmp_path_factory.mktemp("houses")
    write_two_houses(folder)
    return folder


@pytest.fixture(scope="session")
def _served(two_houses: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    answering = Answering(
        ServiceSettings(knowledge=two_houses, index=tmp_path_factory.mktemp("index") / "i.npz"), 2
    )

    @asynccontextmanager
    async def lifespan(_: FastAPI):  # type: ignore[no-untyped-def]
        async with answering.running():
            yield

    app = FastAPI(lifespan=lifespan, redirect_slashes=False)
    app.state.answering, app.state.knowledge = answering, two_houses
    clock = Clock()
    changed: list[str] = []
    add_console(app, house_changed=changed.append, lines={"texts": line()}, clock=clock)
    add_handlers(app)
    with serving(app) as url:
        while answering.stage is not Stage.OPEN:
            assert answering.stage is not Stage.FAILED
            time.sleep(0.02)
        yield Served(app, url, clock, changed)


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """An empty database."""
    database = Database(open_engine(f"sqlite:///{tmp_path / 'console.db'}"))
    Table.metadata.create_all(database.engine)
    yield database
    database.close()


@pytest.fixture
def served(_served: Served, database: Database, two_houses: Path, tmp_path: Path) -> Served:
    """The application with a database and files of its own, at noon of 25 November 2026."""
    files = tmp_path / "houses"
    shutil.copytree(two_houses, files)
    _served.app.state.database = database
    _served.app.state.knowledge = files
    _served.clock.now = NOW
    _served.changed.clear()
    return _served


class Visitor(httpx.Client):
    """A browser of someone who is signed in."""

    def __init__(self, url: str, key: str) -> None:
        super().__init__(base_url=url, timeout=30, cookies={"askhouse-session": key})
        self.token = form_token(key)

    def send_form(self, path: str, **values: object) -> httpx.Response:
        """A form of ours, sent."""
        return self.post(path, data={"form": self.token, **values})


Enter = Callable[..., Visitor]


@pytest.fixture
def enter(served: Served, database: Database) -> Iterator[Enter]:
    """Signs a new person in: `enter("ada")` is an owner, `enter("tom", LODGE)` staff of a house."""
    open_ones: list[Visitor] = []

    def _enter(name: str = "ada", *houses: str) -> Visitor:
        with database.writing() as session:
            person = Person(
                name=name.capitalize(),
                email=f"{name}@example.org",
                role=Role.STAFF if houses else Role.OWNER,
                houses=list(houses),
                password_hash="set",
                created_at=NOW,
            )
            session.add(person)
            session.flush()
            key = open_session(session, person.id, NOW)
        open_ones.append(Visitor(served.url, key))
        return open_ones[-1]

    yield _enter
    for visitor in open_ones:
        visitor.close()


@pytest.fixture
def owner(enter: Enter) -> Visitor:
    """An owner's browser."""
    return enter("ada")


@pytest.fixture
def filled(served: Served, database: Database) -> Filled:
    """The scenario of `filling.py` in the two houses."""
    with database.writing() as session:
        return fill(session, NOW, LODGE, LOFT, "heating")

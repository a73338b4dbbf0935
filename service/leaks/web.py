"""What the service answers over HTTP: errors to whoever asks wrongly, pages to the host."""

from __future__ import annotations

import asyncio
import datetime as dt
import json
from collections.abc import Iterable, Iterator, Mapping
from html.parser import HTMLParser
from pathlib import Path
from typing import NamedTuple
from urllib.parse import urlencode

import httpx
from anyio import to_thread
from fastapi.routing import APIRoute
from sqlalchemy import select

from askhouse.settings import Settings
from askhouse.values import House, Message, Reply
from service.access.sign_in import open_session
from service.answering import Answering, Stage
from service.app import create_app
from service.bell import Bell
from service.console import ROUTERS
from service.database import Database
from service.lines.open_lines import OpenLine, OpenLines
from service.lines.settings import LineSettings
from service.reception import Reception
from service.settings import ServiceSettings
from service.situation import Answers
from service.tables import Gap, Person, Role, Stay, Thread

__all__ = ["Web"]

# What the host wrote is shown to them whole; the others open with a key of their own.
_NOT_SEARCHED = ("/houses/", "/start/", "/take/")
_IDS = {"thread_id": Thread.id, "stay_id": Stay.id, "gap_id": Gap.id}
_JSON = {"Content-Type": "application/json"}
_FORM = {"Content-Type": "application/x-www-form-urlencoded"}
_SECRET = "whsec_" + "QUJD" * 8  # of every line: base64 of 24 bytes
# Attributes that hold addresses and ids; among their numbers a code may stand by chance.
_LEADING = frozenset(("href", "action", "formaction", "id", "for", "name", "class", "src", "value"))


class _Request(NamedTuple):
    method: str
    path: str
    body: str = ""
    headers: Mapping[str, str] = _JSON


class Web:
    """The application itself over the database of a run, asked without a socket.

    Args:
        assistant: Whoever answers.
        lines: Those of the run, by name.
        folder: Any folder: no house is read from it.
    """

    def __init__(
        self,
        database: Database,
        assistant: Answers,
        lines: Mapping[str, LineSettings],
        folder: Path,
        now: dt.datetime,
    ) -> None:
        self._database, self._lines, self._now = database, lines, now
        self._answering = _Opened(assistant)
        url = database.engine.url.render_as_string(hide_password=False)
        self._app = create_app(
            ServiceSettings(knowledge=folder, database=url, requests_per_minute=100_000), {}
        )
        state = self._app.state
        state.database, state.answering = database, self._answering
        state.lines, state.clock = lines, lambda: now
        state.inbox = Reception(database, lambda: now, Bell())
        opened = {name: OpenLine(line, _SECRET) for name, line in lines.items()}
        state.open_lines = OpenLines(opened, lambda: now)

    def errors(self, texts: Iterable[str]) -> list[str]:
        """The bodies of all errors that come of these texts, handed over or asked wrongly."""
        house = next(iter(self._answering.houses))
        wrong = [request for text in texts for request in _wrong(text, house, self._lines)]
        return [_error(answer) for answer in self._ask(wrong)]

    def crash(self, words: str) -> str:
        """The body of the answer where the assistant fails with an error that says these words."""
        asked = {"house": next(iter(self._answering.houses)), "text": "Where is the oven?"}
        self._answering.fails_with = words
        (answer,) = self._ask([_Request("POST", "/v1/replies", json.dumps(asked))])
        self._answering.fails_with = None
        return _error(answer)

    def pages(self) -> Iterator[str]:
        """What each page says that an owner can open, but those of houses' files."""
        with self._database.writing() as session:
            owner = Person(name="Owner", role=Role.OWNER, houses=[], created_at=self._now)
            session.add(owner)
            session.flush()
            cookies = {"askhouse-session": open_session(session, owner.id, self._now)}
        paths = [*self._paths()]
        answers = self._ask([_Request("GET", path, headers={}) for path in paths], cookies)
        for path, answer in zip(paths, answers, strict=True):
            if answer.status_code not in (httpx.codes.OK, httpx.codes.SEE_OTHER):
                raise RuntimeError(f"{path} answered {answer.status_code}")
            html = answer.headers.get("content-type", "").startswith("text/html")
            yield _said(answer.text) if html else answer.text

    def _paths(self) -> Iterator[str]:
        for route in (route for router in ROUTERS for route in router.routes):
            assert isinstance(route, APIRoute)
            if "GET" not in (route.methods or ()) or route.path.startswith(_NOT_SEARCHED):
                continue
            names = list(route.param_convertors)
            if not names:
                yield route.path
                continue
            (name,) = names
            with self._database.reading() as session:
                ids = session.scalars(select(_IDS[name])).all()
            yield from (route.path.format(**{name: one}) for one in ids)

    def _ask(
        self, requests: Iterable[_Request], cookies: Mapping[str, str] | None = None
    ) -> list[httpx.Response]:
        async def ask() -> list[httpx.Response]:
            transport = httpx.ASGITransport(self._app, raise_app_exceptions=False)
            async with httpx.AsyncClient(
                transport=transport, base_url="http://127.0.0.1", cookies=dict(cookies or {})
            ) as client:
                return [
                    await client.request(r.method, r.path, content=r.body, headers=r.headers)
                    for r in requests
                ]

        return asyncio.run(ask())


class _Opened(Answering):
    """An assistant that is open already, and fails where it is told to."""

    def __init__(self, assistant: Answers) -> None:
        super().__init__(Settings(), 1)
        self._given = assistant
        self.stage = Stage.OPEN
        self.fails_with: str | None = None

    @property
    def houses(self) -> Mapping[str, House]:
        return self._given.houses

    async def reply(self, message: Message, house: str) -> Reply:
        if self.fails_with is not None:
            raise RuntimeError(self.fails_with)
        return await to_thread.run_sync(self._given.reply, message, house)


def _wrong(text: str, house: str, lines: Iterable[str]) -> Iterator[_Request]:
    """Requests that are refused, each for another reason.

    The text stands in values alone: names of houses and fields are told back to who sent them.
    """
    message = json.dumps({"from": "+442079460800", "text": text})
    for line in (*lines, "nowhere"):
        yield _Request("POST", f"/lines/{line}", message)  # not signed, or no such line
    first = next(iter(lines))
    yield _Request("GET", f"/lines/{first}", headers={})
    yield _Request("POST", f"/lines/{first}", message, {"Content-Type": "text/csv"})
    yield _Request("POST", f"/lines/{first}", json.dumps({"text": text * 2_000}))
    for asked in (
        {"house": "nowhere", "text": text},
        {"house": house, "text": text * 300 + " " * 10_000 + text},
        {"house": house, "text": [text]},
        {"house": house, "text": text, "thread": text, "more": text},
        text,
    ):
        yield _Request("POST", "/v1/replies", json.dumps(asked))
    yield _Request("POST", "/v1/replies", f'{{"text": "{text}')
    for path in ("/v1/stays", "/v1/alerts/1/answer"):
        yield _Request("POST", path, message)
    yield _Request("GET", "/v1/stays", headers={"Authorization": "Bearer none"})
    form = urlencode({"email": "owner@example.org", "password": text})
    yield _Request("POST", "/sign-in", form, _FORM)
    yield _Request("GET", "/no-such-page", headers={})


def _error(answer: httpx.Response) -> str:
    if not answer.is_error:
        raise RuntimeError(f"{answer.request.url.path} took what is wrong: {answer.status_code}")
    return answer.text


class _Texts(HTMLParser):
    """What a page says: its text, and the attributes that are read or sent."""

    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []

    def handle_data(self, data: str) -> None:
        self.said.append(data)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.said += [value for name, value in attrs if value and name not in _LEADING]


def _said(html: str) -> str:
    texts = _Texts()
    texts.feed(html)
    texts.close()
    return "\n".join(texts.said)

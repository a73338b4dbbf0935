"""How large and how fast the host's pages are, with years of a large host in the database.

    python -m service.page_speed

Fifty houses in files, 5,000 messages and 500 gaps in SQLite. Each page is asked for in the same
process, so that the time is the server's alone; beside it stands a page with nothing in it, for
the ratio. No model is opened: what asks it (a draft, questions asked again) is not timed here,
`service.speed` does that.
"""

from __future__ import annotations

import asyncio
import datetime as dt
import re
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import httpx
import numpy as np
from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from rich.console import Console
from rich.table import Table as Printed
from sqlalchemy import insert
from sqlalchemy.orm import Session

from askhouse.gaps import Centre
from askhouse.knowledge.load import load_houses
from askhouse.search.store import text_hash
from askhouse.settings import Settings
from askhouse.values import House
from service.access.sign_in import open_session
from service.answering import Answering, Stage
from service.console import add_console
from service.database import Database, open_engine
from service.gaps.centres import packed
from service.tables import (
    CitationRow,
    Delivery,
    Escalation,
    Gap,
    Inbound,
    Lesson,
    PartRow,
    Person,
    Role,
    Stay,
    StayPhone,
    Table,
    Thread,
)

__all__ = ["Page", "fill", "main", "measure"]

HOUSES, MESSAGES, GAPS = 50, 5_000, 500
MOST_BYTES, MOST_MS = 100_000, 50.0
_RUNS = 9
_PER_THREAD = 4
_MIDDLE = 686
_HOUR = dt.timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Page:
    """One page as it was measured.

    Attributes:
        size: Bytes of the page, with the style sheet and the script it asks for.
        ms: Median processor time, in milliseconds; the database works in this process too.
        wall_ms: Median time by the clock, which a busy machine makes longer.
    """

    path: str
    size: int
    ms: float
    wall_ms: float


class _Open(Answering):
    """Houses without a model: pages look at them, and ask nothing."""

    def __init__(self, houses: Mapping[str, House]) -> None:
        super().__init__(Settings(), 1)
        self._houses = houses
        self.stage = Stage.OPEN

    @property
    def houses(self) -> Mapping[str, House]:
        return self._houses


def write_houses(demo: Path, folder: Path, count: int = HOUSES) -> None:
    """The demo houses again and again, each with a slug and a name of its own."""
    kinds = sorted(path for path in demo.iterdir() if (path / "house.yaml").exists())
    for number in range(count):
        kind = kinds[number % len(kinds)]
        made = folder / f"{kind.name}-{number:02}"
        shutil.copytree(kind, made)
        file = made / "house.yaml"
        text = file.read_text(encoding="utf-8")
        text = re.sub(r"(?m)^slug: .*$", f"slug: {made.name}", text)
        file.write_text(re.sub(r"(?m)^(name: .*)$", rf"\1 {number:02}", text), encoding="utf-8")


def fill(session: Session, houses: Mapping[str, House], now: dt.datetime) -> None:
    """Puts the rows in, the same each time: threads of four messages over three months."""
    slugs = sorted(houses)
    asked = ("How do I turn on the oven?", "Is there a hair dryer?", "Can we stay until 1 pm?")
    threads, stays = MESSAGES // _PER_THREAD, 12 * len(slugs)
    rows: dict[type[Table], list[dict[str, object]]] = {table: [] for table in _ORDER}
    for i in range(stays):
        start = (now + dt.timedelta(days=(i // len(slugs)) * 7 - 70)).date()
        rows[Stay].append(
            {
                "id": i + 1,
                "house": slugs[i % len(slugs)],
                "guests": [f"Guest {i}", f"Companion {i}"],
                "arrival": start,
                "departure": start + dt.timedelta(days=6),
                "uid": str(i),
                "feed": "",
                "last_seen_at": now,
                "created_at": now,
            }
        )
        rows[StayPhone].append({"stay_id": i + 1, "number": f"+4420794{i:05}"})
    # Of the size that Askhouse's own encoder and catalogue make; every second alike at two houses.
    middles = np.random.default_rng(0).normal(size=(GAPS, _MIDDLE)).astype(np.float32)
    middles /= np.linalg.norm(middles, axis=1, keepdims=True)
    for i in range(GAPS):
        rows[Gap].append(
            {
                "id": i + 1,
                "house": slugs[i % len(slugs)],
                "centre": packed(Centre(middles[i - i % 2], 3), b"measures"),
                "name": f"What nobody has written, number {i}",
                "state": "open",
                "first_at": now - 2000 * _HOUR,
                "last_at": now - i * _HOUR,
            }
        )
    for i in range(threads):
        rows[Thread].append(
            {
                "id": i + 1,
                "line": "texts",
                "sender": f"+4420794{i:05}",
                "house": slugs[i % len(slugs)],
                "stay_id": i % stays + 1,
                "created_at": now,
                "last_at": now - i * _HOUR,
            }
        )
    for i in range(MESSAGES):
        thread, outcome = i // _PER_THREAD, ("answer", "gap", "escalate")[i % 3]
        house, at = slugs[thread % len(slugs)], now - (MESSAGES - i) * _HOUR * 0.4
        fact = houses[house].facts[i % len(houses[house].facts)]
        rows[Inbound].append(
            {
                "id": i + 1,
                "thread_id": thread + 1,
                "line": "texts",
                "gateway_id": str(i),
                "text": asked[i % 3],
                "received_at": at,
                "state": "answered",
                "answered_at": at,
                "house": house,
                "stay_id": thread % stays + 1,
                "urgent": False,
                "attempts": 1,
                "verified": True,
            }
        )
        rows[PartRow].append(
            {
                "id": i + 1,
                "message_id": i + 1,
                "house": house,
                "place": 0,
                "text": asked[i % 3],
                "language": "en",
                "outcome": outcome,
                "kind": "request" if outcome == "escalate" else None,
                "confidence": 0.9,
                "reason": "A sentence on why, as long as such sentences are.",
                "said": fact.text[:300],
                "asked_back": False,
                "gap_id": i % GAPS + 1 if outcome == "gap" else None,
            }
        )
        if outcome == "answer":
            # Every fourth was told in words that have changed since.
            rows[CitationRow].append(
                {
                    "part_id": i + 1,
                    "fact": fact.id,
                    "house": house,
                    "title": fact.title,
                    "content_hash": "0" * 64 if i % 4 == 0 else text_hash(fact.text),
                }
            )
            rows[Lesson].append(
                {
                    "id": i + 1,
                    "house": house,
                    "part_id": i + 1,
                    "verdict": "right" if i % 5 else "gap",
                    "text": asked[0],
                    "at": at,
                }
            )
        if outcome == "escalate":
            done = i < MESSAGES - 60
            rows[Escalation].append(
                {
                    "id": i + 1,
                    "house": house,
                    "thread_id": thread + 1,
                    "message_id": i + 1,
                    "kind": "request",
                    "level": "soon",
                    "summary": asked[2],
                    "state": "closed" if done else "open",
                    "rung": 1,
                    "created_at": at,
                    "taken_at": at + _HOUR / 4 if done else None,
                    "taken_by": "person:1" if done else None,
                }
            )
        rows[Delivery].append(
            {
                "id": i + 1,
                "key": f"reply:{i}",
                "channel": "line",
                "target": "texts",
                "thread_id": thread + 1,
                "message_id": i + 1,
                "author": "askhouse",
                "to": "+442079460000",
                "title": "",
                "text": fact.text[:300],
                "secrets": [],
                "emergency": False,
                "urgent": False,
                "state": "sent",
                "due_at": at,
                "attempts": 1,
                "created_at": at,
                "sent_at": at,
            }
        )
    for table in _ORDER:
        session.execute(insert(table), rows[table])


_ORDER: tuple[type[Table], ...] = (
    *(Stay, StayPhone, Gap, Thread, Inbound, PartRow, CitationRow, Lesson, Escalation, Delivery),
)


async def measure(app: FastAPI, key: str, paths: list[str]) -> list[Page]:
    """Asks for each page some times; the first time, which reads the templates, is left out."""
    transport = httpx.ASGITransport(app)
    cookies = {"askhouse-session": key}
    pages = []
    async with httpx.AsyncClient(
        transport=transport, base_url="http://pages.example", cookies=cookies
    ) as client:
        static = 0
        for name in ("askhouse.css", "askhouse.js", "door.svg"):
            static += len((await client.get(f"/static/{name}")).content)
        for path in paths:
            busy, times = [], []
            for _ in range(_RUNS + 1):
                started, worked = time.perf_counter(), time.process_time()
                answer = await client.get(path)
                busy.append((time.process_time() - worked) * 1000)
                times.append((time.perf_counter() - started) * 1000)
                if answer.status_code != httpx.codes.OK:
                    raise RuntimeError(f"{path} answered {answer.status_code}")
            size = len(answer.content) + (0 if path == "/empty" else static)
            pages.append(
                Page(path, size, statistics.median(busy[1:]), statistics.median(times[1:]))
            )
    return pages


def main() -> int:
    """Prints the table; 1 where a page is over a bar."""
    now = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "houses").mkdir()
        write_houses(Settings().knowledge, folder / "houses")
        houses = load_houses(folder / "houses").houses
        database = Database(open_engine(f"sqlite:///{folder / 'pages.db'}"))
        Table.metadata.create_all(database.engine)
        with database.writing() as session:
            owner = Person(name="Owner", role=Role.OWNER, houses=[], created_at=now)
            session.add(owner)
            session.flush()
            key = open_session(session, owner.id, now)
            fill(session, houses, now)
        app = _app(database, houses, folder / "houses", now)
        pages = asyncio.run(measure(app, key, list(_paths(houses))))
        database.close()
    _print(pages)
    slow = [page for page in pages if page.ms >= MOST_MS or page.size >= MOST_BYTES]
    return 1 if slow else 0


def _app(
    database: Database, houses: Mapping[str, House], folder: Path, now: dt.datetime
) -> FastAPI:
    app = FastAPI()
    app.state.database, app.state.answering = database, _Open(houses)
    app.state.knowledge = folder
    add_console(app, house_changed=lambda _: None, clock=lambda: now)
    app.add_api_route("/empty", lambda: HTMLResponse("<!doctype html><title>Empty</title>"))
    return app


def _paths(houses: Mapping[str, House]) -> Iterator[str]:
    slug = max(houses, key=lambda each: len(houses[each].facts))
    yield from ("/empty", "/more", "/paste", "/alerts", "/messages", "/messages?search=dryer")
    yield from ("/messages?state=open", "/messages?state=gap", "/messages?page=50", "/messages/7")
    yield from ("/stays", "/stays/200", "/houses", f"/houses/{slug}", f"/houses/{slug}/new")
    yield from (f"/houses/{slug}/facts/{houses[slug].facts[3].id}", f"/houses/{slug}/changes")
    yield from ("/gaps", "/gaps?page=20", "/gaps/7", "/corrections", "/numbers", "/people")


def _print(pages: list[Page]) -> None:
    table = Printed(
        *("page", "kB", "ms", "ms by the clock", "times empty"),
        title=f"{HOUSES} houses, {MESSAGES} messages, {GAPS} gaps; median of {_RUNS}",
    )
    empty = pages[0].ms
    for page in pages:
        over = " over" if page.ms >= MOST_MS or page.size >= MOST_BYTES else ""
        table.add_row(
            page.path,
            f"{page.size / 1000:.1f}",
            f"{page.ms:.1f}{over}",
            f"{page.wall_ms:.1f}",
            f"{page.ms / empty:.1f}",
        )
    Console(width=100).print(table)


if __name__ == "__main__":
    sys.exit(main())

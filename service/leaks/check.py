"""The run: messages in, worked on and sent by the service's own parts; then all is searched."""

from __future__ import annotations

import datetime as dt
import logging
import re
import zipfile
from collections import Counter
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from sqlalchemy import select

from askhouse.assistant import Assistant
from service.alerts.settings import AlertSettings
from service.alerts.tick import run_due
from service.bell import Bell
from service.database import Database
from service.inbox import store
from service.leaks.messages import messages
from service.leaks.secret_values import Finder, kept_back, secrets_of, strings
from service.leaks.senders import Asker, enter, enter_guests, lines_for
from service.leaks.web import Web
from service.lines.arrived import WITHHELD, Arrived
from service.lines.sending import Outgoing, SendError
from service.logs import JsonLines
from service.metrics import Metrics
from service.outbox import SECRETS_KEPT, Outbox
from service.privacy.person import export
from service.situation import Place
from service.tables import Stay, Table
from service.worker import Worker

__all__ = ["Leaks", "Tried", "look_for_leaks"]

START = dt.datetime(2026, 6, 12, 9, 0, tzinfo=dt.UTC)
_STEP = dt.timedelta(seconds=7)  # slow enough that nobody's messages are a flood
# Requests are numbered by chance: four digits of one may be a code's.
_UUID = re.compile(r"\b[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}\b")
_WRONGLY_ASKED = 40  # messages that are handed over and asked in every wrong way, too
_TICK = 24  # messages from one look at ladders and planned messages to the next
_KEPT_FOR = SECRETS_KEPT + dt.timedelta(hours=1)
_PLANNED = "Hello {{ stay.guest }}! {{ fact('%s') }} Your own: {{ stay.door_code }}"
# What guests themselves wrote is theirs, and a stay's code is kept to be told.
_AS_WRITTEN = {"messages": {"text"}, "parts": {"text"}, "pieces": {"text"}, "gaps": {"name"}}
_KEPT = {"stays": {"door_code"}}
_MADE_OF_IDS = {"deliveries": {"key"}}  # the reply to message 638 holds that number


@dataclass
class Leaks:
    """How many texts were searched in each place, and how many secrets found; never which."""

    found: Counter[str] = field(default_factory=Counter)
    searched: Counter[str] = field(default_factory=Counter)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """One run.

    Attributes:
        sent: Texts that were handed to a gateway, alerts that were handed to a contact.
        secrets: How many different ones were looked for.
    """

    messages: int
    sent: int
    alerts: int
    secrets: int
    kinds: Counter[str]
    leaks: Leaks


def look_for_leaks(
    database: Database,
    assistant: Assistant,
    index: Path,
    count: int,
    *,
    seed: int = 1,
    guests: bool = False,
) -> Tried:
    """Sends so many messages through the service, and searches all that came of them.

    Args:
        database: An empty one.
        index: The index file of the assistant's houses.
        guests: Whether guests write instead who may be told: then there is something to find.
    """
    run = _Run(database, assistant)
    end = START + (count + 1) * _STEP
    with database.writing() as session:
        askers = (
            enter_guests(session, assistant.houses, START)
            if guests
            else enter(session, assistant.houses, START, end)
        )
    leaks = Leaks()
    kinds: Counter[str] = Counter()
    with _listening() as lines:
        asked = list(messages(askers, assistant.houses, count, seed))
        for asker, text in asked:
            kinds[asker.kind] += 1
            run.text(asker, text)
        web = run.web(index.parent)
        errors = web.errors(text for _, text in asked[:_WRONGLY_ASKED])
    errors.append(web.crash(" ".join(run.secrets())))
    finder = run.finder()

    def search(place: str, texts: Iterable[str]) -> None:
        for text in texts:
            leaks.searched[place] += 1
            leaks.found[place] += len(finder(_UUID.sub("", text)))

    search("replies", run.gateway.texts)
    search("alerts", run.contact.texts)
    search("logs", lines)
    search("metrics", _labels(run.metrics.exposition().decode()))
    search("index", _index(index))
    search("exports", run.exports(askers))
    search("errors", errors)
    run.rest()
    search("pages", run.pages(index.parent))
    for column, texts in _columns(database):
        search(f"database, {column}", texts)
    return Tried(
        messages=count,
        sent=run.gateway.asked,
        alerts=run.contact.asked,
        secrets=len(run.secrets()),
        kinds=kinds,
        leaks=leaks,
    )


class _Recorder:
    """Takes what is sent, and refuses every fortieth, so that failures are told as well."""

    def __init__(self) -> None:
        self.texts: list[str] = []
        self.asked = 0

    def send(self, delivery: Outgoing) -> None:
        self.asked += 1
        self.texts += [delivery.text, delivery.title]
        if self.asked % 40 == 0:
            raise SendError("the other side answered 400", retry=False)


class _Run:
    """The service's parts, without threads: each message goes its whole way at once."""

    def __init__(self, database: Database, assistant: Assistant) -> None:
        self._database = database
        self._assistant = assistant
        self._now = START
        self._texted = 0
        self._lines = lines_for(assistant.houses)
        self.gateway, self.contact = _Recorder(), _Recorder()
        self.metrics = Metrics(database, self._clock, self._lines)
        place = Place(lines=self._lines, rules={}, assistant=lambda: assistant)
        incoming, outgoing = Bell(), Bell()
        self._worker = Worker(database, place, self._clock, incoming=incoming, outgoing=outgoing)
        self._outbox = Outbox(
            database,
            lambda channel, _: self.gateway if channel == "line" else self.contact,
            self._clock,
            bell=outgoing,
        )
        self._alerts = _alerts(assistant)

    def text(self, asker: Asker, text: str) -> None:
        """Someone writes; all that comes of it is done before the next one does."""
        self._now += _STEP
        arrived = Arrived(
            line=asker.line,
            sender=asker.name,
            to=self._lines[asker.line].number,
            text=text,
            gateway_id=f"at-{self._now:%d%H%M%S}x",
            received_at=self._now,
        )
        with self._database.writing() as session:
            store(session, arrived, self._now)
        while self._worker.work():
            pass
        self._texted += 1
        if self._texted % _TICK == 0:
            run_due(
                self._database,
                self._alerts,
                self._assistant.houses,
                self._clock,
                lines=self._lines,
                rules={},
            )
        while self._outbox.send():
            pass

    def rest(self) -> None:
        """Lets the time go by for which a text with a code is kept."""
        self._now += _KEPT_FOR
        self._outbox.sweep()

    def secrets(self) -> set[str]:
        """Codes and passwords of every house, and every stay's own."""
        with self._database.reading() as session:
            own = {code for code in session.scalars(select(Stay.door_code)) if code}
        houses = self._assistant.houses.values()
        return own | {s for h in houses for fact in kept_back(h) for s in secrets_of(h, fact)}

    def finder(self) -> Finder:
        """Finds all of them."""
        return Finder(self.secrets())

    def web(self, folder: Path) -> Web:
        """The application over what is stored now."""
        return Web(self._database, self._assistant, self._lines, folder, self._now)

    def pages(self, folder: Path) -> Iterator[str]:
        """What the host's pages say, but for what guests wrote themselves."""
        columns = [
            table.c[name]
            for table in Table.metadata.sorted_tables
            for name in _AS_WRITTEN.get(table.name, ())
        ]
        with self._database.reading() as session:
            written = {text for column in columns for text in session.scalars(select(column))}
        longest_first = sorted(filter(None, written), key=len, reverse=True)
        theirs = re.compile("|".join(map(re.escape, longest_first)))
        for said in self.web(folder).pages():
            yield theirs.sub("", said)

    def exports(self, askers: list[Asker]) -> Iterator[str]:
        """What is told of each sender who can be told apart."""
        for name in sorted({asker.name for asker in askers} - {WITHHELD}):
            with self._database.writing() as session:
                told = export(session, name, self._assistant.houses, "command", self._now)
            yield from strings(told)

    def _clock(self) -> dt.datetime:
        return self._now


def _alerts(assistant: Assistant) -> AlertSettings:
    """A contact who may read everything, and a message to every stay that is full of codes."""
    return AlertSettings.model_validate(
        {
            "contacts": {"host": {"channel": "apprise", "url_env": "UNUSED"}},
            "alerts": {"ladder": [{"contacts": ["host"]}]},
            "houses": {
                slug: {
                    "planned": [
                        {
                            "name": f"{day}-{number}",
                            "day": day,
                            "days": days,
                            "at": "00:00",
                            "text": _PLANNED % fact.id,
                        }
                        for number, fact in enumerate(kept_back(house))
                        for day, days in (("arrival", -3), ("departure", -1))
                    ]
                }
                for slug, house in assistant.houses.items()
            },
        }
    )


@contextmanager
def _listening() -> Iterator[list[str]]:
    """Everything that is logged meanwhile: as it is written, and before numbers are masked."""
    lines: list[str] = []

    class _Listener(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            told = [str(record.msg), *map(str, getattr(record, "fields", {}).values())]
            args = record.args if isinstance(record.args, tuple) else (record.args,)
            # A number of a row may be the same as a code; a text is none.
            lines.extend([*told, *(str(a) for a in args if a and not isinstance(a, int | float))])
            if record.exc_info:
                lines.append(JsonLines().format(record))

    listener = _Listener()
    root = logging.getLogger()
    level = root.level
    root.addHandler(listener)
    root.setLevel(logging.DEBUG)
    try:
        yield lines
    finally:
        root.removeHandler(listener)
        root.setLevel(level)


def _labels(exposition: str) -> Iterator[str]:
    """Names and labels; the values are counts."""
    for line in exposition.splitlines():
        yield line if line.startswith("#") else line.rpartition(" ")[0]


def _index(path: Path) -> Iterator[str]:
    """What is text in the index; among its numbers any three digits stand somewhere."""
    with np.load(path, allow_pickle=False) as content:
        for name in content.files:
            if content[name].dtype.kind in "US":
                yield from map(str, content[name].ravel())
    with zipfile.ZipFile(path) as archive:
        yield from archive.namelist()


def _columns(database: Database) -> Iterator[tuple[str, Iterator[str]]]:
    """Every text in the database but what guests wrote themselves, and what is kept to be told."""
    with database.reading() as session:
        for table in Table.metadata.sorted_tables:
            left_out = {
                name
                for apart in (_AS_WRITTEN, _KEPT, _MADE_OF_IDS)
                for name in apart.get(table.name, ())
            }
            for column in table.columns:
                values = session.scalars(select(column)).all()
                texts = list(strings(values))
                if texts and column.name not in left_out:
                    yield f"{table.name}.{column.name}", iter(texts)

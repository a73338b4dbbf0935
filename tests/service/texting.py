"""What the tests of messages share: a line, guests, a clock that stands still, a gateway's ear."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sqlalchemy import select

from askhouse.values import House
from service.bell import Bell
from service.database import Database
from service.inbox import Stored, store
from service.lines.arrived import Arrived
from service.lines.sending import Outgoing, SendError
from service.lines.settings import LineSettings
from service.outbox import Outbox, OutboxRules, Senders
from service.situation import Answers, Pace, Place
from service.stays.settings import StayRules
from service.tables import (
    Delivery,
    Escalation,
    Inbound,
    OptOut,
    Stay,
    StayPhone,
    Thread,
)
from service.worker import Worker, WorkerRules
from tests.standins import make_assistant

LINE = "harbour"
# From Ofcom's numbers for drama, London: 020 7946 0000 to 0999.
LINE_NUMBER = "+442079460900"
ADA, BEN, EVE = "+442079460018", "+442079460029", "+442079460031"
NOON = dt.datetime(2026, 6, 12, 12, 0, tzinfo=dt.UTC)  # a Friday; 13:00 in London


def make_line(*houses: str, **more: Any) -> LineSettings:
    """A line whose gateway is called for each reply."""
    given: dict[str, Any] = {
        "name": LINE,
        "number": LINE_NUMBER,
        "country": "GB",
        "houses": houses or ("ferry-lodge",),
        "inbound": {"format": "json", "fields": {"sender": "from", "text": "text", "id": "id"}},
        "signing": {"kind": "standard-webhooks", "secret_env": "LINE_SECRET"},
        "send": {
            "url": "http://127.0.0.1:9/send",
            "json": {"to": "{{ to }}", "text": "{{ text }}"},
        },
        **more,
    }
    return LineSettings.model_validate(given)


def arrived(text: str = "where are the bins", **more: Any) -> Arrived:
    """A message of Ada's at noon; its id is its text unless one is given."""
    given: dict[str, Any] = {
        "line": LINE,
        "sender": ADA,
        "to": LINE_NUMBER,
        "gateway_id": f"id of {text}",
        "received_at": NOON,
        **more,
    }
    return Arrived(text=text, **given)


@dataclass
class Ear:
    """A gateway that remembers what it took, and refuses as it is told to."""

    taken: list[Outgoing] = field(default_factory=list)
    refusals: list[SendError] = field(default_factory=list)
    asked: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def send(self, delivery: Outgoing) -> None:
        with self._lock:
            self.asked += 1
            if self.refusals:
                raise self.refusals.pop(0)
            self.taken.append(delivery)

    @property
    def texts(self) -> list[str]:
        return [delivery.text for delivery in self.taken]


class Desk:
    """The service's inside without HTTP: messages in, and out to an ear, step by step."""

    def __init__(
        self,
        database: Database,
        houses: Iterable[House],
        folder: Path,
        *lines: LineSettings,
        rules: Mapping[str, StayRules] | None = None,
        pace: Pace | None = None,
        worker_rules: WorkerRules | None = None,
        outbox_rules: OutboxRules | None = None,
        assistant: Answers | None = None,
        senders: Senders | None = None,
        **more: Any,
    ) -> None:
        self.database = database
        self.now = NOON
        self.ear = Ear()
        self.assistant: Answers = assistant or make_assistant(houses, folder)
        self.place = Place(
            lines={line.name: line for line in lines or (make_line(),)},
            rules=rules or {},
            assistant=lambda: self.assistant,
        )
        self.incoming, self.outgoing = Bell(), Bell()
        self.worker = Worker(
            database,
            self.place,
            self.clock,
            incoming=self.incoming,
            outgoing=self.outgoing,
            rules=worker_rules or WorkerRules(pace=pace or Pace()),
            **more,
        )
        self.outbox = Outbox(
            database, senders or self.sender, self.clock, bell=self.outgoing, rules=outbox_rules
        )

    def clock(self) -> dt.datetime:
        return self.now

    def sender(self, channel: str, target: str) -> Ear | None:
        return self.ear if channel == "line" and self.place.lines[target].send else None

    def later(self, **time: float) -> None:
        """Lets time go by."""
        self.now += dt.timedelta(**time)

    def receive(self, text: str, **more: Any) -> Stored:
        """Stores a message that arrives now."""
        more = {"received_at": self.now, "gateway_id": f"{text} of {more} at {self.now}", **more}
        with self.database.writing() as session:
            return store(session, arrived(text, **more), self.now)

    def work(self) -> int:
        """Answers all that waits; how many."""
        count = 0
        while self.worker.work():
            count += 1
        return count

    def send(self) -> int:
        """Sends all that is due; how many were looked at."""
        count = 0
        while self.outbox.send():
            count += 1
        return count

    def text(self, text: str, **more: Any) -> list[str]:
        """What the gateway is handed when someone texts."""
        before = len(self.ear.taken)
        self.receive(text, **more)
        self.work()
        self.send()
        return self.ear.texts[before:]

    def rows(self, table: type[Any]) -> list[Any]:
        """All rows of a table, oldest first."""
        with self.database.reading() as session:
            return list(session.scalars(select(table)))

    def message(self, message_id: int | None = None) -> Inbound:
        """The last message, or that one."""
        return next(m for m in reversed(self.messages()) if message_id in (None, m.id))

    def messages(self) -> list[Inbound]:
        return sorted(self.rows(Inbound), key=lambda row: row.id)

    def deliveries(self) -> list[Delivery]:
        return sorted(self.rows(Delivery), key=lambda row: row.id)

    def escalations(self) -> list[tuple[str, str]]:
        """Kind and level of each escalation, in order."""
        rows = sorted(self.rows(Escalation), key=lambda row: row.id)
        return [(row.kind, row.level) for row in rows]

    def thread(self, sender: str = ADA) -> Thread:
        threads: list[Thread] = self.rows(Thread)
        return next(row for row in threads if row.sender == sender)

    def opt_outs(self) -> list[str]:
        return [row.number for row in self.rows(OptOut)]

    def stay(
        self,
        house: str = "ferry-lodge",
        first: str = "2026-06-10",
        last: str = "2026-06-15",
        *phones: str,
        **more: Any,
    ) -> None:
        """Enters a stay of Ada's."""
        with self.database.writing() as session:
            session.add(
                Stay(
                    house=house,
                    guests=["Ada"],
                    arrival=dt.date.fromisoformat(first),
                    departure=dt.date.fromisoformat(last),
                    uid=f"{house} {first} {phones}",
                    last_seen_at=NOON,
                    created_at=NOON,
                    phones=[StayPhone(number=number) for number in phones or (ADA,)],
                    **more,
                )
            )

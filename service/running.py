"""What works while the service runs: messages answered and sent, alerts, feeds, gaps, erasing.

Everything is opened in one place and closed in reverse. Messages are stored from the first
moment; they are worked on once the houses are open. Where none can be opened the host is woken, and
every message is passed on to them until the files are mended.
"""

from __future__ import annotations

import asyncio
import datetime as dt
import logging
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from contextlib import asynccontextmanager
from functools import partial

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.errors import AskhouseError
from askhouse.gaps import Meaning, open_meaning
from askhouse.values import House, Level
from service.access.sign_in import first_link
from service.alerts.checks import check_alerts
from service.alerts.contacts import contact_senders
from service.alerts.staff import read_staff
from service.alerts.tick import run_due
from service.answering import Answering, Stage
from service.bell import Bell
from service.clock import utc_now
from service.database import Database, open_engine
from service.drafting import Raised
from service.gaps.assigning import assign
from service.gaps.digest_settings import DigestSettings
from service.gaps.preview import Effects, assistant_over, effects
from service.gaps.sending_digest import Digests
from service.lines.open_lines import open_lines
from service.lines.sending import LineSender, Sender
from service.loops import Loops
from service.migrations import migrate
from service.outbox import Outbox, OutboxRules
from service.privacy.retention import Retention
from service.reception import Reception
from service.service_file import ServiceFile
from service.settings import ServiceSettings
from service.situation import Place
from service.stays.commands import news_line, read_feeds
from service.tables import Escalation, Person
from service.threads import raise_escalation
from service.watching import Watching
from service.worker import Worker, WorkerRules

__all__ = ["Running"]

log = logging.getLogger(__name__)

_ALERTS_S = 2.0
_FEEDS_S = 900.0
_GAPS_S = 10.0
_DIGEST_S = 60.0
_FILES_S = 5.0
_ERASE_S = 3600.0
_LOOK_S = 0.1


class Running:
    """The parts of a running service, and the threads that work on them.

    Args:
        settings: Of the operator.
        file: The service's file, read.
        environ: Holds the secrets that the file names.
        answering: Opens the houses.
        worker_rules: How messages are worked on, where not as usual.
        outbox_rules: How deliveries are sent, where not as usual.

    Raises:
        SettingsError: A secret is not set, or the database cannot be used.
    """

    def __init__(
        self,
        settings: ServiceSettings,
        file: ServiceFile,
        environ: Mapping[str, str],
        answering: Answering,
        worker_rules: WorkerRules | None = None,
        outbox_rules: OutboxRules | None = None,
    ) -> None:
        self._worker_rules, self._outbox_rules = worker_rules, outbox_rules
        self._settings = settings
        self._answering = answering
        # Looks before the houses are read: what changes while they open is a change, too.
        self._watching = Watching(answering, settings.knowledge)
        self.file = file
        self.alerts = file.alert_settings()
        self.lines = {line.name: line for line in file.lines}
        self.open_lines = open_lines(file.lines, environ)
        self._contacts = contact_senders(self.alerts, environ, utc_now)
        self._line_senders = {name: LineSender(line, environ) for name, line in self.lines.items()}
        self.database = Database(open_engine(settings.database_url))
        self._incoming, self._outgoing, self._files = Bell(), Bell(), Bell()
        self.inbox = Reception(
            self.database, utc_now, self._incoming, lambda: answering.stage is not Stage.FAILED
        )

    @asynccontextmanager
    async def running(self, base_url: str) -> AsyncIterator[None]:
        """Opens the database and begins to work once the houses are open; stops at the end."""
        await asyncio.to_thread(migrate, self.database.engine)
        await asyncio.to_thread(self._greet, base_url)
        starting = asyncio.create_task(self._start_when_open(base_url))
        try:
            yield
        finally:
            starting.cancel()
            await asyncio.to_thread(self._stop)
            for sender in self._line_senders.values():
                sender.close()
            self.database.close()

    def house_changed(self, slug: str) -> None:
        """A page wrote a house's files: they are read anew at once."""
        log.info("%s was changed", slug)
        self._files.ring()

    def effects(self, house: House, fact_id: str, questions: Sequence[str]) -> Effects:
        """What the house as drafted would say to past questions, beside what it says now."""
        return effects(
            questions,
            house.slug,
            fact_id,
            self._answering.assistant(),
            assistant_over(house, self._settings),
        )

    def _greet(self, base_url: str) -> None:
        with self.database.writing() as session:
            key = first_link(session, utc_now())
        if key is not None:
            # On the terminal alone: a log is kept, and read by others.
            print(f"\nSet the owner's password: {base_url}/start/{key}\n", flush=True)

    async def _start_when_open(self, base_url: str) -> None:
        while self._answering.stage is Stage.OPENING:
            await asyncio.sleep(_LOOK_S)
        try:
            await asyncio.to_thread(self._start)
        except AskhouseError as error:
            # Only with the houses open can it be seen. Nothing would be answered, so that whoever
            # watches readiness must hear of it, and gateways must try again.
            self._answering.fail(str(error))
            return
        while self._answering.stage is Stage.HELD:
            await asyncio.sleep(_LOOK_S)
        try:
            await asyncio.to_thread(self._start_learning, base_url)
        except AskhouseError as error:
            log.critical("guests are answered, but their gaps are not grouped: %s", error)

    def _start(self) -> None:
        """Begins to work on messages, whether there are houses or not."""
        houses = self._answering.houses
        if self.alerts.contacts:
            check_alerts(self.alerts, houses, self.lines, self.file.rules)
        elif self.lines:
            log.warning("nobody is alerted: name contacts and a ladder in the service's file")
        if self._answering.stage is Stage.HELD:
            self._wake_host()
        place = Place(lines=self.lines, rules=self.file.rules, assistant=self._answering.answers)
        self._worker = Worker(
            self.database,
            place,
            utc_now,
            incoming=self._incoming,
            outgoing=self._outgoing,
            staff=self._staff,
            rules=self._worker_rules,
        )
        self._outbox = Outbox(
            self.database, self._sender, utc_now, bell=self._outgoing, rules=self._outbox_rules
        )
        retention = Retention(self.database, self._settings.retention_days, utc_now)
        self._loops: list[Loops] = []
        self._outbox.start()
        self._worker.start()
        self._loop("alerts", _ALERTS_S, self._alert)
        self._loop("files of houses", _FILES_S, self._watching.step, self._files)
        self._loop("feeds", _FEEDS_S, self._read_feeds)
        self._loop("erasing", _ERASE_S, retention.step)

    def _start_learning(self, base_url: str) -> None:
        """Begins what is made of messages afterwards, by models that only open houses need."""
        meaning = open_meaning(self._settings.topics_file)
        self._loop("gaps", _GAPS_S, lambda: bool(assign(self.database, meaning)))
        if self.file.digest is not None:
            digests = self._digests(self.file.digest, meaning, base_url)
            self._loop("digest", _DIGEST_S, partial(self._send_digest, digests))

    def _loop(
        self, name: str, idle_s: float, step: Callable[[], bool], bell: Bell | None = None
    ) -> None:
        loops = Loops(bell or Bell(), idle_s)
        loops.start(name, step)
        self._loops.append(loops)

    def _wake_host(self) -> None:
        """Tells the host, once until it is closed, that guests are not answered."""
        of_houses = Escalation.kind == "houses"
        told = select(Escalation.id).where(of_houses, Escalation.closed_at.is_(None)).limit(1)
        summary = (
            "No house can be opened. Messages are passed on to you until that is mended: "
            "see askhouse check."
        )
        with self.database.writing() as session:
            if session.scalar(told) is None:
                raised = Raised(kind="houses", level=Level.URGENT, summary=summary)
                raise_escalation(session, raised, utc_now(), thread=None, message=None)

    def _stop(self) -> None:
        if not hasattr(self, "_worker"):
            return
        for loops in self._loops:
            loops.stop(30)
        self._worker.stop()
        self._outbox.stop()

    def _staff(self, session: Session, person: Person, text: str, now: dt.datetime) -> str | None:
        return read_staff(
            session,
            person,
            text,
            now,
            houses=self._answering.houses,
            lines=self.lines,
            take_code=self.alerts.alerts.take_code,
        )

    def _sender(self, channel: str, target: str) -> Sender | None:
        return self._line_senders.get(target) if channel == "line" else self._contacts.get(target)

    def _digests(self, settings: DigestSettings, meaning: Meaning, base_url: str) -> Digests:
        return Digests(
            self.database,
            settings,
            self.file.contacts,
            houses=lambda: self._answering.houses,
            meaning=meaning,
            clock=utc_now,
            link=f"{base_url}/gaps",
        )

    def _send_digest(self, digests: Digests) -> bool:
        if digests.step():
            self._outgoing.ring()
        return False

    def _alert(self) -> bool:
        moved = run_due(
            self.database,
            self.alerts,
            self._answering.houses,
            utc_now,
            lines=self.lines,
            rules=self.file.rules,
        )
        if moved:
            self._outgoing.ring()
        return False

    def _read_feeds(self) -> bool:
        for slug, news in read_feeds(
            self.database, self._answering.houses, self.file.rules, utc_now
        ):
            log.info("%s", news_line(slug, news))
        return False

"""Takes stored messages and answers them: urgent ones first, each once, wherever it is killed.

A message is claimed in one transaction, worked on in none, and all that comes of it is kept in a
second one. A process killed in between leaves a claim that runs out.
"""

from __future__ import annotations

import datetime as dt
import logging
import uuid
from collections.abc import Callable
from dataclasses import dataclass, field

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.triage.guidance import guidance
from askhouse.triage.wordlist import match
from service.bell import Bell
from service.claims import next_message, pause
from service.clock import Clock
from service.database import Database
from service.drafting import Draft, draft, held
from service.inbox import join_late
from service.loops import Loops
from service.situation import Pace, Place, Seen, look
from service.tables import Inbound, MessageState, Person, Thread
from service.threads import keep, locked_message

__all__ = ["Clock", "StaffWords", "Worker", "WorkerRules"]

log = logging.getLogger(__name__)

StaffWords = Callable[[Session, Person, str, dt.datetime], str | None]
"""Takes what someone of the host's side texted; the reply, or None where it steers nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkerRules:
    """How messages are worked on.

    Attributes:
        at_once: Threads that take any message, beside one that takes urgent ones alone.
        lease_s: Seconds after which the message of a process that was killed is taken up again;
            many times what the longest message takes.
        tries: How often a message is tried before it is given up.
        idle_s: Seconds until messages that other processes stored are looked for.
    """

    at_once: int = 1
    lease_s: float = 20
    tries: int = 5
    idle_s: float = 0.5
    first_pause_s: float = 0.5
    pieces_s: float = 5
    pace: Pace = field(default_factory=Pace)


class Worker:
    """Works on stored messages in threads of its own.

    Args:
        database: Where they are.
        place: Lines, houses and who answers.
        clock: What time it is, UTC.
        outgoing: Rung when a reply is ready to be sent.
        incoming: Rung by whoever stores a message.
        staff: Reads what someone of the host's side texts, such as that they take an alert.
    """

    def __init__(
        self,
        database: Database,
        place: Place,
        clock: Clock,
        *,
        incoming: Bell,
        outgoing: Bell,
        rules: WorkerRules | None = None,
        staff: StaffWords | None = None,
    ) -> None:
        self._database = database
        self._place = place
        self._clock = clock
        self._incoming = incoming
        self._outgoing = outgoing
        self._rules = rules or WorkerRules()
        self._staff = staff
        self._loops = Loops(incoming, self._rules.idle_s)
        self._name = uuid.uuid4().hex

    def start(self) -> None:
        """Begins to work."""
        match("warm up", guidance())  # its patterns are compiled before the first message waits
        self._loops.start("urgent messages", lambda: self.work(urgent_only=True))
        for number in range(self._rules.at_once):
            self._loops.start(f"messages {number}", self.work)
        self._pieces = Loops(Bell(), self._rules.pieces_s)
        self._pieces.start("pieces of messages", self.join)

    def stop(self, timeout_s: float = 30) -> bool:
        """Ends after the messages that are being worked on; False where that took too long."""
        pieces = self._pieces.stop(timeout_s)
        return self._loops.stop(timeout_s) and pieces

    def work(self, *, urgent_only: bool = False) -> bool:
        """Works on the next message; whether there was one."""
        claim = f"{self._name}:{uuid.uuid4().hex}"
        message_id, attempts = self._claim(claim, urgent_only)
        if message_id is None:
            return False
        if attempts > self._rules.tries:
            # Every try ended with the process: whatever it was, it must not happen again.
            self._give_up(message_id, claim)
            return True
        try:
            self._answer(message_id, claim)
        except Exception:
            log.error("message %d failed, try %d", message_id, attempts, exc_info=True)
            if attempts >= self._rules.tries:
                self._give_up(message_id, claim)
            else:
                self._put_back(message_id, claim, attempts)
        return True

    def join(self) -> bool:
        """Joins long messages whose last pieces do not come; whether there were any."""
        with self._database.writing() as session:
            joined = join_late(session, self._clock())
        if joined:
            self._incoming.ring()
        return False  # once is enough until the next time

    def _claim(self, claim: str, urgent_only: bool) -> tuple[int | None, int]:
        lease = dt.timedelta(seconds=self._rules.lease_s)
        if not self._waiting():
            return None, 0
        with self._database.writing() as session:
            now = self._clock()
            message = next_message(session, now, urgent_only=urgent_only)
            if message is None:
                return None, 0
            message.state, message.claimed_by = MessageState.WORKING, claim
            message.claimed_until = now + lease
            message.attempts += 1
            return message.id, message.attempts

    def _waiting(self) -> bool:
        """Whether it is worth while to become the only writer."""
        open_states = (MessageState.WAITING, MessageState.WORKING)
        with self._database.reading() as session:
            found = select(Inbound.id).where(Inbound.state.in_(open_states)).limit(1)
            return session.scalar(found) is not None

    def _answer(self, message_id: int, claim: str) -> None:
        with self._database.reading() as session:
            seen = look(session, message_id, self._place, self._rules.pace, self._clock())
        if seen.who.person is not None and self._answer_staff(seen, seen.who.person, claim):
            return
        self._keep(seen, claim, draft(seen, self._place.assistant()))

    def _answer_staff(self, seen: Seen, person: Person, claim: str) -> bool:
        if self._staff is None:
            return False
        with self._database.writing() as session:
            if locked_message(session, seen.message_id, claim) is None:
                return True
            said = self._staff(session, person, seen.text, self._clock())
            if said is None:
                return False
            reply = Draft(text=said, language="en", house=seen.house)
            line = self._place.lines[seen.line]
            keep(session, seen.message_id, claim, reply, line, self._clock(), seen=seen)
        self._outgoing.ring()
        return True

    def _keep(self, seen: Seen, claim: str, made: Draft) -> None:
        line = self._place.lines[seen.line]
        with self._database.writing() as session:
            kept = keep(session, seen.message_id, claim, made, line, self._clock(), seen=seen)
        if kept:
            self._outgoing.ring()
            self._incoming.ring()  # the next message of the thread may be worked on now

    def _put_back(self, message_id: int, claim: str, attempts: int) -> None:
        later = self._clock() + pause(attempts, self._rules.first_pause_s, 60)
        with self._database.writing() as session:
            message = session.scalars(
                select(Inbound).where(Inbound.id == message_id).with_for_update()
            ).first()
            if message is not None and message.claimed_by == claim:
                message.state, message.claimed_by = MessageState.WAITING, None
                message.claimed_until = later

    def _give_up(self, message_id: int, claim: str) -> None:
        """Tells the host, and the guest that the host was told."""
        log.error("message %d is given up; the host is alerted", message_id)
        with self._database.writing() as session:
            message = session.get_one(Inbound, message_id)
            thread = session.get_one(Thread, message.thread_id)
            line = self._place.lines.get(message.line)
            houses = self._place.houses
            served = [houses[s] for s in line.houses if s in houses] if line else []
            house = houses.get(thread.house or "")
            if house is None and len(served) == 1:
                house = served[0]
            reply = held(message.text, house, served, thread.language)
            keep(session, message_id, claim, reply, line, self._clock(), state=MessageState.FAILED)
        self._outgoing.ring()

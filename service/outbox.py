"""What goes out: each delivery under one idempotency key, tried again until it is taken.

A process killed between handing over and noting it hands over again, with the same key; the
gateway drops the second. What cannot be sent is given up loudly: the host hears of it.
"""

from __future__ import annotations

import datetime as dt
import logging
import uuid
from collections.abc import Callable
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.values import Level
from service.bell import Bell
from service.blots import BLOT
from service.claims import next_delivery, pause
from service.clock import Clock
from service.database import Database
from service.drafting import Raised
from service.lines.sending import Outgoing, Sender, SendError
from service.loops import Loops
from service.situation import opted_out
from service.tables import Delivery, DeliveryState, Escalation, Inbound, MessageState, Stay, Thread
from service.threads import RESPONSE, raise_escalation, reply_key

__all__ = ["FETCHED_AGAIN", "SECRETS_KEPT", "Outbox", "OutboxRules", "Senders", "claim_reply"]

log = logging.getLogger(__name__)

Senders = Callable[[str, str], Sender | None]
"""The sender of a channel and a target, or None where the settings have none."""

SECRETS_KEPT = dt.timedelta(hours=1)
"""How long a text with secrets is kept after it was sent."""
FETCHED_AGAIN = dt.timedelta(minutes=10)
"""How long a request that is repeated gets the reply again; later it may be a recorded one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OutboxRules:
    """How deliveries are sent.

    Attributes:
        at_once: Threads that send anything, beside one that sends urgent things alone.
        lease_s: Seconds after which the delivery of a process that was killed is sent again;
            longer than any sender waits for an answer.
        urgent_lease_s: The same for an urgent one, where a double is the lesser evil.
        tries: How often an ordinary delivery is tried, and an urgent one.
        first_pause_s: Seconds after the first failure; twice as long after each further one.
        most_pause_s: The longest, and the longest that the other side may ask for.
        fetched_within_s: Seconds after which a reply that can only go into a response, and that no
            request of the gateway fetched, is given up.
    """

    at_once: int = 4
    lease_s: float = 90
    urgent_lease_s: float = 20
    tries: int = 9
    urgent_tries: int = 14
    first_pause_s: float = 2
    urgent_first_pause_s: float = 0.5
    most_pause_s: float = 900
    urgent_most_pause_s: float = 60
    fetched_within_s: float = 120
    idle_s: float = 0.5
    sweep_s: float = 30


class Outbox:
    """Sends what is due, in threads of its own.

    Args:
        database: Where deliveries are.
        senders: Who sends over a channel to a target.
        clock: What time it is, UTC.
        bell: Rung when there is something to send.
    """

    def __init__(
        self,
        database: Database,
        senders: Senders,
        clock: Clock,
        *,
        bell: Bell,
        rules: OutboxRules | None = None,
    ) -> None:
        self._database = database
        self._senders = senders
        self._clock = clock
        self._rules = rules or OutboxRules()
        self._loops = Loops(bell, self._rules.idle_s)
        self._bell = bell
        self._name = uuid.uuid4().hex

    def start(self) -> None:
        """Begins to send."""
        self._loops.start("urgent deliveries", lambda: self.send(urgent_only=True))
        for number in range(self._rules.at_once):
            self._loops.start(f"deliveries {number}", self.send)
        self._sweeping = Loops(Bell(), self._rules.sweep_s)
        self._sweeping.start("sweeping of deliveries", self.sweep)

    def stop(self, timeout_s: float = 30) -> bool:
        """Ends after what is being sent; False where that took too long."""
        sweeping = self._sweeping.stop(timeout_s)
        return self._loops.stop(timeout_s) and sweeping

    def send(self, *, urgent_only: bool = False) -> bool:
        """Sends the next delivery that is due; whether there was one."""
        claim = f"{self._name}:{uuid.uuid4().hex}"
        found, delivery = self._claim(claim, urgent_only)
        if delivery is None:
            return found
        sender = self._senders(delivery.channel, delivery.target)
        try:
            if sender is None:
                raise SendError(f"no {delivery.channel} of that name is set up", retry=False)
            sender.send(_outgoing(delivery))
        except SendError as error:
            self._failed(delivery, claim, error)
        except Exception as error:
            log.error("delivery %d failed", delivery.id, exc_info=True)
            self._failed(delivery, claim, SendError(type(error).__name__, retry=True))
        else:
            self._sent(delivery, claim)
        return True

    def sweep(self) -> bool:
        """Blots secrets that were kept long enough, and gives up replies that nobody fetched."""
        now = self._clock()
        with self._database.writing() as session:
            blotting = select(Delivery).where(Delivery.blot_at <= now)
            for delivery in session.scalars(blotting.with_for_update(skip_locked=True)):
                _blot(delivery)
            resting = select(Thread).where(Thread.rest_until <= now)
            for thread in session.scalars(resting.with_for_update(skip_locked=True)):
                thread.rest, thread.rest_secrets, thread.rest_until = None, [], None
            unfetched = select(Delivery).where(
                Delivery.channel == RESPONSE,
                Delivery.state == DeliveryState.DUE,
                Delivery.due_at <= now - dt.timedelta(seconds=self._rules.fetched_within_s),
            )
            for delivery in session.scalars(unfetched.with_for_update(skip_locked=True)):
                _give_up(session, delivery, "the gateway did not fetch the reply", now)
        self._bell.ring()
        return False  # once is enough until the next time

    def _claim(self, claim: str, urgent_only: bool) -> tuple[bool, Delivery | None]:
        """Whether there was a delivery, and the delivery, unless it is not to be sent any more."""
        now = self._clock()
        if not self._due(now):
            return False, None
        rules = self._rules
        with self._database.writing() as session:
            delivery = next_delivery(session, now, urgent_only=urgent_only)
            if delivery is None:
                return False, None
            lease_s = rules.urgent_lease_s if delivery.urgent else rules.lease_s
            delivery.state, delivery.claimed_by = DeliveryState.SENDING, claim
            delivery.claimed_until = now + dt.timedelta(seconds=lease_s)
            delivery.attempts += 1
            if _dropped(session, delivery, now):
                return True, None
            if delivery.attempts > self._tries(delivery):
                _give_up(session, delivery, delivery.problem or "it was never taken", now)
                return True, None
            return True, delivery

    def _due(self, now: dt.datetime) -> bool:
        """Whether it is worth while to become the only writer."""
        due = (Delivery.state == DeliveryState.DUE) & (Delivery.due_at <= now)
        left = (Delivery.state == DeliveryState.SENDING) & (Delivery.claimed_until <= now)
        with self._database.reading() as session:
            return any(
                session.scalar(select(Delivery.id).where(which).limit(1)) is not None
                for which in (due & (Delivery.channel != RESPONSE), left)
            )

    def _tries(self, delivery: Delivery) -> int:
        return self._rules.urgent_tries if delivery.urgent else self._rules.tries

    def _sent(self, delivery: Delivery, claim: str) -> None:
        with self._database.writing() as session:
            row = _claimed(session, delivery.id, claim)
            if row is not None:
                _mark_sent(row, self._clock())

    def _failed(self, delivery: Delivery, claim: str, error: SendError) -> None:
        now = self._clock()
        with self._database.writing() as session:
            row = _claimed(session, delivery.id, claim)
            if row is None:
                return
            row.problem = str(error)[:500]
            if not error.retry or row.attempts >= self._tries(row):
                _give_up(session, row, row.problem, now)
                return
            rules = self._rules
            first = rules.urgent_first_pause_s if row.urgent else rules.first_pause_s
            most = rules.urgent_most_pause_s if row.urgent else rules.most_pause_s
            asked = min(error.retry_after_s or 0, rules.most_pause_s)
            wait = max(pause(row.attempts, first, most), dt.timedelta(seconds=asked))
            row.state, row.due_at = DeliveryState.DUE, now + wait
            row.claimed_by = row.claimed_until = None


def claim_reply(session: Session, message_id: int, now: dt.datetime) -> str | None:
    """The reply to a message, for the response to the request that brought it.

    A request that is repeated soon gets the same text again: its first response may never have
    arrived.

    Returns:
        None while the message is not answered yet; "" where there is nothing to say.
    """
    delivery = session.scalars(
        select(Delivery).where(Delivery.key == reply_key(message_id)).with_for_update()
    ).first()
    if delivery is None:
        state = session.scalar(select(Inbound.state).where(Inbound.id == message_id))
        return None if state in (MessageState.WAITING, MessageState.WORKING) else ""
    if delivery.state == DeliveryState.DUE and delivery.attempts == 0:
        if _dropped(session, delivery, now):
            return ""
        delivery.channel = RESPONSE  # and by no call as well
        _mark_sent(delivery, now)
    if delivery.channel != RESPONSE or delivery.state != DeliveryState.SENT:
        return ""
    assert delivery.sent_at is not None
    return delivery.text if now - delivery.sent_at <= FETCHED_AGAIN else ""


def _outgoing(delivery: Delivery) -> Outgoing:
    # The time beside the key: after a restore the same ids are given again, and a gateway that
    # remembers keys would drop the new replies as doubles of the old ones.
    return Outgoing(
        key=f"{delivery.key}@{delivery.created_at:%Y%m%dT%H%M%S%f}",
        to=delivery.to,
        text=delivery.text,
        title=delivery.title,
        emergency=delivery.emergency,
    )


def _claimed(session: Session, delivery_id: int, claim: str) -> Delivery | None:
    """The delivery, locked, if the claim on it has not run out."""
    row = session.scalars(
        select(Delivery).where(Delivery.id == delivery_id).with_for_update()
    ).first()
    return row if row is not None and row.claimed_by == claim else None


def _mark_sent(delivery: Delivery, now: dt.datetime) -> None:
    delivery.state, delivery.sent_at, delivery.problem = DeliveryState.SENT, now, None
    delivery.claimed_by = delivery.claimed_until = None
    if delivery.secrets:
        delivery.blot_at = now + SECRETS_KEPT


def _dropped(session: Session, delivery: Delivery, now: dt.datetime) -> bool:
    """Drops a delivery that is not to be sent any more; whether it was."""
    silent = delivery.channel in ("line", RESPONSE) and not (
        delivery.emergency or delivery.farewell
    )
    if silent and opted_out(session, delivery.target, delivery.to):
        _end(delivery, DeliveryState.DROPPED, "the guest asked for no more messages")
        return True
    if delivery.secrets and _is_over(session, delivery, now):
        _give_up(session, delivery, "it holds a code whose time to be told is over", now)
        delivery.state = DeliveryState.DROPPED
        return True
    return False


def _is_over(session: Session, delivery: Delivery, now: dt.datetime) -> bool:
    """Whether its codes may not be told any more: their time is over, or the stay was cancelled."""
    if delivery.secret_until is not None and delivery.secret_until <= now:
        return True
    stay = session.get(Stay, delivery.stay_id) if delivery.stay_id is not None else None
    return stay is not None and stay.cancelled_at is not None


def _give_up(session: Session, delivery: Delivery, problem: str, now: dt.datetime) -> None:
    log.error("delivery %d by %s is given up: %s", delivery.id, delivery.channel, problem)
    _end(delivery, DeliveryState.FAILED, problem)
    if delivery.escalation_id is not None:
        # An alert that cannot be sent raises no alert, which could not be sent either: the
        # ladder of what it was about goes on to the next contact at once.
        escalation = session.get(Escalation, delivery.escalation_id)
        if escalation is not None and escalation.next_at is not None:
            escalation.next_at = now
        return
    raise_escalation(
        session,
        _missed(delivery, problem),
        now,
        thread=session.get(Thread, delivery.thread_id) if delivery.thread_id else None,
        message=session.get(Inbound, delivery.message_id) if delivery.message_id else None,
    )


def _missed(delivery: Delivery, problem: str) -> Raised:
    """What the host hears of it, and how soon."""
    level, what = Level.URGENT, "A message to a guest"
    if delivery.channel == "email":  # no alert: the week's gaps, which can wait
        level, what = Level.SOON, f"The e-mail to the contact {delivery.target}"
    if delivery.emergency:
        level = Level.EMERGENCY
    return Raised(kind="delivery", level=level, summary=f"{what} was not sent: {problem}.")


def _end(delivery: Delivery, state: DeliveryState, problem: str) -> None:
    delivery.state, delivery.problem = state, problem
    delivery.claimed_by = delivery.claimed_until = None
    if delivery.secrets:
        _blot(delivery)


def _blot(delivery: Delivery) -> None:
    delivery.text = delivery.blotted or BLOT
    delivery.blotted = delivery.blot_at = None

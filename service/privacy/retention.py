"""What is older than the host keeps it loses its words; stays lose their guests.

A little in each transaction, so that a message that comes in meanwhile is stored at once.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, fields

from sqlalchemy import String, and_, cast, delete, or_, select
from sqlalchemy.orm import Session

from service.access.sign_in import sweep
from service.database import Database
from service.privacy.erasing import (
    NOBODYS_LINE,
    forget_deliveries,
    forget_escalations,
    forget_messages,
    forget_planned_keys,
)
from service.privacy.trail import record
from service.tables import (
    Delivery,
    DeliveryState,
    Escalation,
    Inbound,
    Lesson,
    MessageState,
    Piece,
    Stay,
    StayPhone,
    Thread,
)

__all__ = ["Erased", "Retention", "erase_old"]

_DONE = (MessageState.ANSWERED, MessageState.FAILED)
_OVER = (DeliveryState.SENT, DeliveryState.FAILED, DeliveryState.DROPPED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Erased:
    """How many rows lost their words, or went."""

    messages: int = 0
    deliveries: int = 0
    escalations: int = 0
    pieces: int = 0
    lessons: int = 0
    threads: int = 0
    stays: int = 0

    def __bool__(self) -> bool:
        return any(getattr(self, field.name) for field in fields(self))


class Retention:
    """Erases what is old, again and again.

    Args:
        days: How long messages are kept, and guests of a stay after their departure.
    """

    def __init__(self, database: Database, days: int, clock: Callable[[], dt.datetime]) -> None:
        self._database = database
        self._days = days
        self._clock = clock

    def step(self) -> bool:
        """Erases some of what is old; whether there was any."""
        with self._database.writing() as session:
            return bool(erase_old(session, self._days, self._clock()))


def erase_old(session: Session, days: int, now: dt.datetime, most: int = 200) -> Erased:
    """Erases what is older than that many days, the oldest first; ends sign-ins that ran out.

    A message that is still to be answered is not touched, however old: nothing is lost.

    Args:
        most: Rows of a kind; whoever calls comes again until there are none.
    """
    before = now - dt.timedelta(days=days)
    sweep(session, now)
    erased = Erased(
        messages=_messages(session, before, now, most),
        deliveries=_deliveries(session, before, most),
        escalations=_escalations(session, before, now, most),
        pieces=_pieces(session, before),
        lessons=_lessons(session, before, most),
        threads=_threads(session, before, most),
        stays=_stays(session, before, most),
    )
    if erased:
        counts = {field.name: getattr(erased, field.name) for field in fields(erased)}
        record(session, "askhouse", "retention.erase", "retention", {"days": days, **counts}, now)
    return erased


def _messages(session: Session, before: dt.datetime, now: dt.datetime, most: int) -> int:
    old = (
        select(Inbound.id, Inbound.thread_id)
        .join(Thread, Thread.id == Inbound.thread_id)
        .where(
            Thread.line != NOBODYS_LINE,
            Inbound.received_at < before,
            Inbound.state.in_(_DONE),
        )
        .order_by(Inbound.received_at)
        .limit(most)
    )
    rows = session.execute(old).all()
    if not rows:
        return 0
    # Always the thread first, as storing a message does: two that wait for each other are none.
    threads = sorted({row.thread_id for row in rows})
    session.execute(
        select(Thread.id).where(Thread.id.in_(threads)).order_by(Thread.id).with_for_update()
    )
    forget_messages(session, [row.id for row in rows], now)
    return len(rows)


def _deliveries(session: Session, before: dt.datetime, most: int) -> int:
    """Those that hang on no message: planned ones, and what the host wrote."""
    worded = or_(Delivery.text != "", Delivery.to != "", Delivery.title != "")
    old = (
        select(Delivery.id)
        .where(Delivery.created_at < before, Delivery.state.in_(_OVER), worded)
        .limit(most)
    )
    ids = session.scalars(old).all()
    forget_deliveries(session, Delivery.id.in_(ids))
    return len(ids)


def _escalations(session: Session, before: dt.datetime, now: dt.datetime, most: int) -> int:
    old = Escalation.created_at < before
    ids = session.scalars(select(Escalation.id).where(old, Escalation.summary != "").limit(most))
    found = ids.all()
    forget_escalations(session, Escalation.id.in_(found), now)
    return len(found)


def _pieces(session: Session, before: dt.datetime) -> int:
    old = select(Piece).where(Piece.received_at < before)
    pieces = session.scalars(old).all()
    for piece in pieces:
        session.delete(piece)
    session.flush()
    return len(pieces)


def _lessons(session: Session, before: dt.datetime, most: int) -> int:
    old = select(Lesson).where(Lesson.at < before, Lesson.text != "").limit(most)
    lessons = session.scalars(old).all()
    for lesson in lessons:
        lesson.text = ""
    session.flush()
    return len(lessons)


def _threads(session: Session, before: dt.datetime, most: int) -> int:
    """Those on which nothing hangs any more."""
    bare = and_(
        Thread.line != NOBODYS_LINE,
        Thread.last_at < before,
        ~select(Inbound.id).where(Inbound.thread_id == Thread.id).exists(),
        ~select(Delivery.id).where(Delivery.thread_id == Thread.id).exists(),
        ~select(Escalation.id).where(Escalation.thread_id == Thread.id).exists(),
    )
    locked = select(Thread.id).where(bare).limit(most).with_for_update(skip_locked=True)
    ids = session.scalars(locked).all()
    session.execute(delete(Thread).where(Thread.id.in_(ids)))
    return len(ids)


def _stays(session: Session, before: dt.datetime, most: int) -> int:
    """Stays that ended, or were cancelled, long ago: their guests' names, numbers and door code."""
    ended = or_(Stay.departure < before.date(), Stay.cancelled_at < before)
    phones = select(StayPhone.number).where(StayPhone.stay_id == Stay.id).exists()
    known = or_(cast(Stay.guests, String) != "[]", Stay.door_code.is_not(None), phones)
    stays = session.scalars(select(Stay).where(ended, known).limit(most)).all()
    for stay in stays:
        forget_planned_keys(session, Delivery.key.startswith(f"planned:{stay.id}:"))
        stay.guests, stay.phones, stay.door_code = [], [], None
    session.flush()
    return len(stays)

"""Work that waits in the database, claimed by one process at a time.

A claim is a lease: where a process is killed, it runs out and another takes the work. On
PostgreSQL a row that another process is just claiming is stepped over (SKIP LOCKED); on SQLite
claims come one after another, since every transaction that writes begins as the only writer.
"""

from __future__ import annotations

import datetime as dt
import random
from typing import TypeVar

from sqlalchemy import ColumnElement, Select, or_, select
from sqlalchemy.orm import Session, aliased

from service.tables import Delivery, DeliveryState, Inbound, MessageState

__all__ = ["next_delivery", "next_message", "pause"]

_Row = TypeVar("_Row", Inbound, Delivery)


def next_message(session: Session, now: dt.datetime, *, urgent_only: bool) -> Inbound | None:
    """The next message to work on, locked: urgent ones first, then the oldest; or None.

    The messages of a thread are worked on one after another, since a later one is read with those
    before it; an urgent one does not wait for its turn.
    """
    before = aliased(Inbound)
    open_before = (
        select(before.id)
        .where(
            before.thread_id == Inbound.thread_id,
            before.state.in_((MessageState.WAITING, MessageState.WORKING)),
            before.id < Inbound.id,
        )
        .exists()
    )
    due = or_(Inbound.claimed_until.is_(None), Inbound.claimed_until <= now)
    waiting = (Inbound.state == MessageState.WAITING) & due
    left = (Inbound.state == MessageState.WORKING) & (Inbound.claimed_until <= now)
    # Asked one after another, since each then reads a few rows of an index in its order.
    chances: list[ColumnElement[bool]] = [waiting & Inbound.urgent.is_(True)]
    if urgent_only:
        chances.append(left & Inbound.urgent.is_(True))
    else:
        chances += [left, waiting & Inbound.urgent.is_(False) & ~open_before]
    for chance in chances:
        query = select(Inbound).where(chance).order_by(Inbound.received_at, Inbound.id)
        message = _first_free(session, query)
        if message is not None:
            return message
    return None


def next_delivery(session: Session, now: dt.datetime, *, urgent_only: bool) -> Delivery | None:
    """The next thing to send, locked: urgent ones first, then the longest due; or None."""
    ours = Delivery.channel != "response"
    due = (Delivery.state == DeliveryState.DUE) & (Delivery.due_at <= now) & ours
    left = (Delivery.state == DeliveryState.SENDING) & (Delivery.claimed_until <= now)
    chances: list[ColumnElement[bool]] = [due & Delivery.urgent.is_(True)]
    if urgent_only:
        chances.append(left & Delivery.urgent.is_(True))
    else:
        chances += [left, due & Delivery.urgent.is_(False)]
    for chance in chances:
        query = select(Delivery).where(chance).order_by(Delivery.due_at, Delivery.id)
        delivery = _first_free(session, query)
        if delivery is not None:
            return delivery
    return None


def _first_free(session: Session, query: Select[_Row]) -> _Row | None:
    return session.scalars(query.limit(1).with_for_update(skip_locked=True)).first()


def pause(attempt: int, first_s: float, most_s: float) -> dt.timedelta:
    """How long to wait after the attempt of that number (from 1): twice as long each time.

    With jitter: anything from half the time on, so that what failed together does not try
    again together.
    """
    whole = min(first_s * 2 ** (attempt - 1), most_s)
    return dt.timedelta(seconds=random.uniform(whole / 2, whole))

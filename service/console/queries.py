"""What pages read from the database, narrowed to the houses that the person may see."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Collection
from typing import Any

from sqlalchemy import ColumnElement, String, case, cast, func, select, true
from sqlalchemy.orm import InstrumentedAttribute, Session, selectinload

from service.access.keys import key_hash
from service.tables import (
    Delivery,
    DeliveryState,
    Escalation,
    EscalationState,
    Inbound,
    PartRow,
    Person,
    Stay,
    Thread,
)

__all__ = [
    "Only",
    "alert_of_link",
    "alerts_of_thread",
    "done_alerts",
    "find_threads",
    "guest_words",
    "house_of_answer",
    "last_messages",
    "names_of_people",
    "narrowed",
    "near_stays",
    "open_alerts",
    "sent_on",
    "states_of_threads",
    "stays_around",
    "stays_by_id",
    "thread_of_stay",
    "threads_of_stay",
    "waiting_alerts",
    "with_gaps",
    "written_on",
]

_SOON = dt.timedelta(days=14)
_MOST_STAYS = 60
_MOST_ENTRIES = 60

Only = Collection[str] | None
"""The houses that a query is narrowed to; None for one who sees everything."""


def narrowed(house: InstrumentedAttribute[Any], only: Only) -> ColumnElement[bool]:
    """The condition that a row belongs to one of those houses."""
    return true() if only is None else house.in_(sorted(only))


def open_alerts(session: Session, only: Only) -> int:
    """How many alerts wait for someone to take them."""
    found = session.scalar(
        select(func.count())
        .select_from(Escalation)
        .where(Escalation.state == EscalationState.OPEN, narrowed(Escalation.house, only))
    )
    return found or 0


def near_stays(session: Session, only: Only, now: dt.datetime) -> list[Stay]:
    """Stays of now and of the next days, the soonest first."""
    today = now.date()
    return list(
        session.scalars(
            select(Stay)
            .where(
                narrowed(Stay.house, only),
                Stay.cancelled_at.is_(None),
                Stay.departure >= today,
                Stay.arrival <= today + _SOON,
            )
            .order_by(Stay.arrival, Stay.house)
            .limit(_MOST_STAYS)
        )
    )


def stays_around(
    session: Session, houses: Collection[str], today: dt.date, most: int, most_past: int
) -> list[Stay]:
    """Stays of now and to come, the soonest first, then those before, the last first."""
    later = select(Stay).where(Stay.house.in_(houses), Stay.departure >= today)
    before = select(Stay).where(Stay.house.in_(houses), Stay.departure < today)
    return [
        *session.scalars(later.order_by(Stay.arrival, Stay.house, Stay.id).limit(most)),
        *session.scalars(before.order_by(Stay.departure.desc(), Stay.id).limit(most_past)),
    ]


def thread_of_stay(session: Session, stay_id: int) -> Thread | None:
    """The thread on which the guests of a stay last wrote; pasted messages have none."""
    return session.scalar(
        select(Thread)
        .where(Thread.stay_id == stay_id, Thread.line != "pages")
        .order_by(Thread.last_at.desc())
        .limit(1)
    )


# --- alerts ----------------------------------------------------------------------------------

_URGENCY = case({"emergency": 0, "urgent": 1}, value=Escalation.level, else_=2)
_DONE = (EscalationState.ANSWERED, EscalationState.CLOSED)
_MOST_WAITING, _MOST_DONE = 100, 15


def waiting_alerts(session: Session, only: Only) -> list[Escalation]:
    """What is not done, the most urgent first, and of these the oldest."""
    return list(
        session.scalars(
            select(Escalation)
            .where(Escalation.state.not_in(_DONE), narrowed(Escalation.house, only))
            .order_by(_URGENCY, Escalation.created_at)
            .limit(_MOST_WAITING)
        )
    )


def done_alerts(session: Session, only: Only) -> list[Escalation]:
    """The last ones that were answered or closed."""
    return list(
        session.scalars(
            select(Escalation)
            .where(Escalation.state.in_(_DONE), narrowed(Escalation.house, only))
            .order_by(Escalation.created_at.desc())
            .limit(_MOST_DONE)
        )
    )


def alerts_of_thread(session: Session, thread_id: int) -> list[Escalation]:
    """What is not done about a thread."""
    return list(
        session.scalars(
            select(Escalation)
            .where(Escalation.thread_id == thread_id, Escalation.state.not_in(_DONE))
            .order_by(_URGENCY, Escalation.created_at)
        )
    )


def alert_of_link(session: Session, key: str) -> Escalation | None:
    """The alert that a one-tap link is for."""
    return session.scalar(select(Escalation).where(Escalation.take_hash == key_hash(key)))


def house_of_answer(session: Session, delivery: int) -> str | None:
    """The house of a guest who was sent an answer; None for none."""
    return session.scalar(
        select(Thread.house)
        .join(Delivery, Delivery.thread_id == Thread.id)
        .where(Delivery.id == delivery, Delivery.author != "askhouse")
    )


def guest_words(session: Session, alerts: Collection[Escalation]) -> dict[int, str]:
    """What the guests wrote, by the message's id."""
    ids = {alert.message_id for alert in alerts if alert.message_id}
    found = session.execute(select(Inbound.id, Inbound.text).where(Inbound.id.in_(ids)))
    return {row.id: row.text for row in found}


def names_of_people(session: Session, whos: Collection[str]) -> dict[str, str]:
    """Names for `person:ID`; whatever else took or wrote something keeps its own name."""
    ids = {int(who[7:]) for who in whos if who.startswith("person:") and who[7:].isdecimal()}
    found = session.execute(select(Person.id, Person.name).where(Person.id.in_(ids)))
    return {who: who for who in whos} | {f"person:{row.id}": row.name for row in found}


# --- messages --------------------------------------------------------------------------------


def find_threads(
    session: Session,
    only: Only,
    *,
    house: str,
    state: str,
    search: str,
    page: int,
    size: int,
) -> tuple[int, list[Thread]]:
    """How many threads there are, and those of one part of the list, the newest first.

    Args:
        only: As everywhere here.
        house: A slug; empty for all.
        state: open, gap, failed or pasted; empty for all that came in by a line.
        search: In what guests wrote and what they were sent, in their names and numbers; empty
            for all.
        page: From 1.
        size: Threads in a part.
    """
    wanted = [narrowed(Thread.house, only)]
    wanted.append(Thread.line == "pages" if state == "pasted" else Thread.line != "pages")
    if house:
        wanted.append(Thread.house == house)
    if state == "open":
        wanted.append(
            Thread.id.in_(
                select(Escalation.thread_id).where(Escalation.state == EscalationState.OPEN)
            )
        )
    elif state == "gap":
        gaps = select(Inbound.thread_id).join(PartRow).where(PartRow.outcome == "gap")
        wanted.append(Thread.id.in_(gaps))
    elif state == "failed":
        failed = select(Delivery.thread_id).where(Delivery.state == DeliveryState.FAILED)
        wanted.append(Thread.id.in_(failed))
    if search.strip():
        words = search.strip()
        said = select(Inbound.thread_id).where(Inbound.text.icontains(words, autoescape=True))
        sent = select(Delivery.thread_id).where(
            Delivery.channel == "line", Delivery.text.icontains(words, autoescape=True)
        )
        # As the names stand in their column: JSON, where a letter with an accent is escaped.
        name = json.dumps(words)[1:-1]
        named = select(Stay.id).where(cast(Stay.guests, String).icontains(name, autoescape=True))
        wanted.append(
            Thread.sender.contains(words, autoescape=True)
            | Thread.id.in_(said)
            | Thread.id.in_(sent)
            | Thread.stay_id.in_(named)
        )
    total = session.scalar(select(func.count()).select_from(Thread).where(*wanted)) or 0
    found = session.scalars(
        select(Thread)
        .where(*wanted)
        .order_by(Thread.last_at.desc(), Thread.id.desc())
        .limit(size)
        .offset((page - 1) * size)
    )
    return total, list(found)


def last_messages(session: Session, threads: Collection[int]) -> dict[int, Inbound]:
    """The newest message of each thread."""
    newest = (
        select(func.max(Inbound.id))
        .where(Inbound.thread_id.in_(threads))
        .group_by(Inbound.thread_id)
    )
    found = session.scalars(select(Inbound).where(Inbound.id.in_(newest)))
    return {message.thread_id: message for message in found}


def with_gaps(session: Session, messages: Collection[int]) -> set[int]:
    """The messages of which a part is not written yet."""
    found = select(PartRow.message_id).where(
        PartRow.message_id.in_(messages), PartRow.outcome == "gap"
    )
    return set(session.scalars(found))


def states_of_threads(session: Session, threads: Collection[int]) -> dict[int, str]:
    """`open` or `taken` for a thread with such an alert; nothing for the others."""
    found = session.execute(
        select(Escalation.thread_id, func.min(Escalation.state))
        .where(Escalation.thread_id.in_(threads), Escalation.state.not_in(_DONE))
        .group_by(Escalation.thread_id)
    )
    return {thread: state for thread, state in found if thread is not None}


def stays_by_id(session: Session, ids: Collection[int]) -> dict[int, Stay]:
    """Stays, by id."""
    return {stay.id: stay for stay in session.scalars(select(Stay).where(Stay.id.in_(ids)))}


def written_on(session: Session, thread_id: int) -> list[Inbound]:
    """The guest's last messages with their parts and citations, the newest first."""
    return list(
        session.scalars(
            select(Inbound)
            .where(Inbound.thread_id == thread_id)
            .options(selectinload(Inbound.parts).selectinload(PartRow.citations))
            .order_by(Inbound.received_at.desc())
            .limit(_MOST_ENTRIES)
        )
    )


def sent_on(session: Session, thread_id: int) -> list[Delivery]:
    """What was sent to the guest, or will be; the newest first."""
    return list(
        session.scalars(
            select(Delivery)
            .where(Delivery.thread_id == thread_id, Delivery.channel == "line")
            .order_by(Delivery.created_at.desc())
            .limit(_MOST_ENTRIES)
        )
    )


def threads_of_stay(session: Session, stay_id: int) -> list[Thread]:
    """The threads of a stay's guests, the newest first."""
    return list(
        session.scalars(
            select(Thread)
            .where(Thread.stay_id == stay_id, Thread.line != "pages")
            .order_by(Thread.last_at.desc())
        )
    )

"""Messages made nobody's: their words go, and what is counted of them stays.

What was asked, in which house, in which hour and with which outcome are the numbers a host learns
from. They are kept without words, number, stay or thread: such messages hang on one thread of a
line that no gateway can have.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import ColumnElement, String, cast, delete, literal, select, update
from sqlalchemy.orm import InstrumentedAttribute, Session

from service.database import add_new
from service.tables import (
    CitationRow,
    Delivery,
    DeliveryState,
    Escalation,
    EscalationState,
    Gap,
    Inbound,
    Lesson,
    MessageState,
    PartRow,
    Piece,
    Thread,
)

__all__ = [
    "NOBODYS_LINE",
    "blot_digests",
    "forget_deliveries",
    "forget_escalations",
    "forget_messages",
    "forget_planned_keys",
]

NOBODYS_LINE = ""
"""The line of the one thread on which erased messages hang; a name that no line can have."""
_SENDER = "erased"
_AT_ONCE = 500  # ids in one statement; SQLite takes at most 32766
_OPEN = (EscalationState.OPEN, EscalationState.TAKEN)
_UNSENT = (DeliveryState.DUE, DeliveryState.SENDING)


def forget_messages(session: Session, message_ids: Sequence[int], now: dt.datetime) -> None:
    """Takes the words out of these messages and of all that hangs on them, and whose they were.

    One that was still to be answered is not any more; its claim is void, so that a process that
    works on it right now keeps nothing.
    """
    nobodys = _nobodys_thread(session, now)
    for ids in _some(message_ids):
        _forget_parts(session, ids)
        forget_escalations(session, Escalation.message_id.in_(ids), now)
        forget_deliveries(session, Delivery.message_id.in_(ids))
        session.execute(delete(Piece).where(Piece.message_id.in_(ids)))
        _change(
            session,
            Inbound,
            Inbound.id.in_(ids),
            thread_id=nobodys,
            gateway_id=_nobodys(Inbound.id),
            text="",
            draft=None,
            stay_id=None,
            claimed_by=None,
            claimed_until=None,
        )
        unanswered = Inbound.state.in_((MessageState.WAITING, MessageState.WORKING))
        _change(
            session,
            Inbound,
            Inbound.id.in_(ids) & unanswered,
            state=MessageState.ANSWERED,
            answered_at=now,
        )
        _coarsen(session, ids)
    session.expire_all()


def forget_escalations(session: Session, which: ColumnElement[bool], now: dt.datetime) -> None:
    """Takes the words out of these escalations and of the alerts that told of them.

    One that is open is closed: nobody could act on an alert that says nothing.
    """
    ids = session.scalars(select(Escalation.id).where(which)).all()
    for some in _some(ids):
        forget_deliveries(session, Delivery.escalation_id.in_(some))
        these = Escalation.id.in_(some)
        _change(session, Escalation, these, summary="", thread_id=None, take_hash=None)
        _change(
            session,
            Escalation,
            these & Escalation.state.in_(_OPEN),
            state=EscalationState.CLOSED,
            closed_at=now,
            next_at=None,
        )


def forget_deliveries(session: Session, which: ColumnElement[bool]) -> None:
    """Takes words and number out of these deliveries; one that was due is dropped.

    The rows stay with their keys, so that nothing is sent a second time.
    """
    _change(session, Delivery, which & Delivery.state.in_(_UNSENT), state=DeliveryState.DROPPED)
    _change(
        session,
        Delivery,
        which,
        to="",
        title="",
        text="",
        secrets=[],
        blotted=None,
        blot_at=None,
        problem=None,
        thread_id=None,
        stay_id=None,
        claimed_by=None,
        claimed_until=None,
    )


def blot_digests(session: Session) -> None:
    """Takes guests' words out of weekly digests that were not sent yet, or only just.

    Whose words stand in one is not known any more; without them it still says where to look.
    """
    digest = Delivery.key.startswith("digest:") & Delivery.blotted.is_not(None)
    _change(session, Delivery, digest, text=Delivery.blotted, blotted=None, blot_at=None)


def forget_planned_keys(session: Session, which: ColumnElement[bool]) -> None:
    """Takes away what keeps planned messages from being sent again: it is made of the number."""
    planned = Delivery.key.startswith("planned:")
    _change(session, Delivery, which & planned, key=_nobodys(Delivery.id))


def _nobodys(row_id: InstrumentedAttribute[int]) -> ColumnElement[str]:
    return literal("erased:") + cast(row_id, String)


def _forget_parts(session: Session, message_ids: Sequence[int]) -> None:
    parts = session.execute(
        select(PartRow.id, PartRow.text, PartRow.gap_id).where(PartRow.message_id.in_(message_ids))
    ).all()
    for some in _some([part.id for part in parts]):
        session.execute(delete(CitationRow).where(CitationRow.part_id.in_(some)))
        _change(session, Lesson, Lesson.part_id.in_(some), text="")
        _change(session, PartRow, PartRow.id.in_(some), text="", said="", reason="")
    _rename_gaps(session, [(part.gap_id, part.text) for part in parts if part.gap_id is not None])


def _rename_gaps(session: Session, asked: Iterable[tuple[int, str]]) -> None:
    """A gap may be named in a guest's words: it gets another question's, or its topic's name."""
    for gap_id, words in asked:
        gap = session.get(Gap, gap_id)
        if gap is None or not _same_words(gap.name, words):
            continue
        other = session.scalar(
            select(PartRow.text)
            .where(PartRow.gap_id == gap_id, PartRow.text != "")
            .order_by(PartRow.id.desc())
            .limit(1)
        )
        gap.name = other or (gap.topic or "").replace("-", " ")
        if other is None:
            gap.centre = None  # a text can be guessed from its vector
    session.flush()


def _same_words(name: str, words: str) -> bool:
    name, words = (" ".join(text.split()).casefold() for text in (name, words))
    return bool(name and words) and (name in words or words in name)


def _coarsen(session: Session, message_ids: Sequence[int]) -> None:
    """Times to the hour, so that a message cannot be found again by its second."""
    rows = session.execute(
        select(Inbound.id, Inbound.received_at, Inbound.answered_at).where(
            Inbound.id.in_(message_ids)
        )
    ).all()
    if rows:
        coarse = [
            {"id": row.id, "received_at": _hour(row.received_at), "answered_at": _hour(row[2])}
            for row in rows
        ]
        session.execute(update(Inbound), coarse)


def _hour(time: dt.datetime | None) -> dt.datetime | None:
    return time and time.replace(minute=0, second=0, microsecond=0)


def _nobodys_thread(session: Session, now: dt.datetime) -> int:
    whose = {"line": NOBODYS_LINE, "sender": _SENDER}
    add_new(session, Thread, **whose, created_at=now, last_at=now, rest_secrets=[])
    return session.scalars(select(Thread.id).filter_by(**whose)).one()


def _change(session: Session, table: Any, which: ColumnElement[bool], **values: Any) -> None:
    session.execute(
        update(table).where(which).values(**values).execution_options(synchronize_session=False)
    )


def _some(ids: Sequence[int]) -> Iterator[Sequence[int]]:
    for start in range(0, len(ids), _AT_ONCE):
        yield ids[start : start + _AT_ONCE]

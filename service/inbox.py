"""Messages in: each is stored before it is acknowledged, and once however often it comes.

A gateway that hears no answer sends again, and a guest who sees none taps twice. The thread's row
is locked meanwhile, so that the same message on two processes at once is one message, too.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import uuid
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from askhouse.triage.guidance import guidance
from askhouse.triage.wordlist import match
from service.database import add_new
from service.lines.arrived import WITHHELD, Arrived
from service.tables import Inbound, MessageState, Piece, Thread

__all__ = ["PIECES_WAIT", "TWINS_WITHIN", "Stored", "join_late", "store"]

TWINS_WITHIN = dt.timedelta(minutes=1)
"""The same words of the same sender within this time are one message."""
PIECES_WAIT = dt.timedelta(seconds=30)
"""How long a long message waits for its missing pieces."""
# The gateway's name for a long message repeats: in 3GPP TS 23.040, 9.2.3.24.1, it is one octet.
_SAME_REFERENCE = dt.timedelta(days=1)
_ID_LENGTH, _SENDER_LENGTH = 200, 64  # the columns'


@dataclass(frozen=True, slots=True)
class Stored:
    """What became of a message that came in.

    Attributes:
        message_id: None while other pieces of a long message are missing.
        fresh: It had not come before.
    """

    message_id: int | None
    fresh: bool


def store(session: Session, arrived: Arrived, now: dt.datetime) -> Stored:
    """Stores a message, or tells the one that it repeats."""
    text = _storable(arrived.text)
    urgent = match(text, guidance()) is not None  # before the first statement locks anything
    thread = _locked_thread(session, arrived.line, _storable(arrived.sender), now)
    piece = arrived.piece
    if piece is not None and piece.of > 1 and 1 <= piece.number <= piece.of:
        return _store_piece(session, thread, arrived, text, urgent, now)
    gateway_id = _key(arrived.gateway_id)
    known = session.scalar(
        select(Inbound.id).where(Inbound.line == arrived.line, Inbound.gateway_id == gateway_id)
    ) or _twin(session, thread, text, arrived.received_at)
    if known is not None:
        return Stored(known, fresh=False)
    # A gateway's clock that runs ahead must not put its messages behind all others.
    received_at = min(arrived.received_at, now)
    return Stored(_add(session, thread, gateway_id, text, received_at, urgent), fresh=True)


def join_late(session: Session, now: dt.datetime) -> int:
    """Makes messages of the pieces whose others did not come in time; how many."""
    late = session.execute(
        select(Piece.line, Piece.sender, Piece.reference)
        .where(Piece.message_id.is_(None))
        .group_by(Piece.line, Piece.sender, Piece.reference)
        .having(func.min(Piece.received_at) <= now - PIECES_WAIT)
    ).all()
    joined = 0
    for line, sender, reference in late:
        thread = _locked_thread(session, line, sender, now)
        pieces = [p for p in _pieces(session, thread, reference) if p.message_id is None]
        if pieces:  # another process may have been here first
            _join(session, thread, pieces)
            joined += 1
    return joined


def _store_piece(
    session: Session, thread: Thread, arrived: Arrived, text: str, urgent: bool, now: dt.datetime
) -> Stored:
    piece = arrived.piece
    assert piece is not None
    reference = _key(piece.reference)[:100]
    before = _pieces(session, thread, reference)
    if any(_of_another_message(p, piece.number, piece.of, text, now) for p in before):
        waiting = [p for p in before if p.message_id is None]
        if waiting:
            _join(session, thread, waiting)
        for old in before:
            session.delete(old)
        session.flush()
        before = []
    same = [p for p in before if p.number == piece.number]
    if same:
        return Stored(same[0].message_id, fresh=False)
    new = Piece(
        line=thread.line,
        sender=thread.sender,
        reference=reference,
        number=piece.number,
        of=piece.of,
        text=text,
        received_at=now,
    )
    session.add(new)
    together = sorted([*before, new], key=lambda p: p.number)
    return Stored(_joined(session, thread, together, new, urgent), fresh=True)


def _of_another_message(piece: Piece, number: int, of: int, text: str, now: dt.datetime) -> bool:
    """Whether a piece was of an earlier long message whose name is now used again."""
    other_text = piece.number == number and piece.text != text
    return other_text or piece.of != of or piece.received_at < now - _SAME_REFERENCE


def _joined(
    session: Session, thread: Thread, together: Sequence[Piece], new: Piece, urgent: bool
) -> int | None:
    """The message that a new piece belongs to, or None while it waits for others."""
    begun = max((p.message_id for p in together if p.message_id is not None), default=None)
    if begun is None:
        # Danger does not wait for the end of the sentence.
        return _join(session, thread, together) if urgent or _complete(together) else None
    message = session.scalars(select(Inbound).where(Inbound.id == begun).with_for_update()).one()
    if message.state == MessageState.WAITING and message.attempts == 0:
        message.text = _text(together)
        message.urgent = message.urgent or urgent
        new.message_id = message.id
        return message.id
    return _join(session, thread, [new])  # the others are answered already


def _complete(together: Sequence[Piece]) -> bool:
    return len(together) == together[0].of


def _join(session: Session, thread: Thread, pieces: Sequence[Piece]) -> int:
    text = _text(pieces)
    gateway_id = f"pieces {uuid.uuid4().hex}"  # the pieces themselves tell what came before
    received_at = min(piece.received_at for piece in pieces)
    urgent = match(text, guidance()) is not None
    message_id = _add(session, thread, gateway_id, text, received_at, urgent)
    for piece in pieces:
        piece.message_id = message_id
    return message_id


def _text(pieces: Sequence[Piece]) -> str:
    """The pieces in order; where one is missing, three dots stand for it."""
    text = ""
    for place, piece in enumerate(pieces):
        skipped = place and piece.number != pieces[place - 1].number + 1
        text += f" … {piece.text}" if skipped else piece.text
    return text


def _pieces(session: Session, thread: Thread, reference: str) -> list[Piece]:
    return list(
        session.scalars(
            select(Piece)
            .where(
                Piece.line == thread.line,
                Piece.sender == thread.sender,
                Piece.reference == reference,
            )
            .order_by(Piece.number)
        )
    )


def _twin(session: Session, thread: Thread, text: str, received_at: dt.datetime) -> int | None:
    """The same words that came just before or after, from a sender who can be told apart."""
    if thread.sender == WITHHELD:
        return None
    near = received_at - TWINS_WITHIN, received_at + TWINS_WITHIN
    return session.scalar(
        select(Inbound.id)
        .where(
            Inbound.thread_id == thread.id, Inbound.received_at.between(*near), Inbound.text == text
        )
        .limit(1)
    )


def _add(
    session: Session,
    thread: Thread,
    gateway_id: str,
    text: str,
    received_at: dt.datetime,
    urgent: bool,
) -> int:
    message = Inbound(
        thread_id=thread.id,
        line=thread.line,
        gateway_id=gateway_id,
        text=text,
        received_at=received_at,
        urgent=urgent,
    )
    session.add(message)
    session.flush()
    return message.id


def _locked_thread(session: Session, line: str, sender: str, now: dt.datetime) -> Thread:
    sender = sender[:_SENDER_LENGTH]
    add_new(session, Thread, line=line, sender=sender, created_at=now, last_at=now, rest_secrets=[])
    thread = session.scalars(
        select(Thread).where(Thread.line == line, Thread.sender == sender).with_for_update()
    ).one()
    thread.last_at = now
    return thread


def _storable(text: str) -> str:
    """The text without what no database takes: NUL, and halves of a surrogate pair."""
    return text.replace("\x00", "").encode("utf-8", "replace").decode()


def _key(gateway_id: str) -> str:
    """A gateway's id that fits its column; a longer one by its hash."""
    storable = _storable(gateway_id)
    if len(storable) <= _ID_LENGTH:
        return storable
    return hashlib.sha256(storable.encode()).hexdigest()

"""All that is held about one guest, by the number they text from: given out, or erased.

| what | export | erasing |
|---|---|---|
| stays of the number | door code blotted; the number alone, and the name if it can be theirs alone | names, number, code go; house and dates stay |
| threads, messages, parts, pieces | whole | words, number and thread go; see `erasing.py` |
| deliveries to the number | whole, as kept | words and number go |
| alerts about them | but who took them | words go |
| what told the host's contacts of these | not: it says the same, and holds their addresses and links that take the alert | words go |
| what the host made of a draft | but who did | words go, and the changes of facts that hold them; out of the files, see `taught.py` |
| a weekly digest that is still kept | not: it is about all | words go, of all |
| opt-out | told | stays, unless asked otherwise: it keeps them from being texted again |
| an account on the host's side | told | stays: the page People ends it |

Several guests may share a stay; its list of names does not say whose number is whose. So a name is
given out only where the stay has one name and one number, and all of its names are erased. A feed
that still lists the booking would bring them back.
"""  # noqa: E501 (a table's row is one line)

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import delete, inspect, or_, select
from sqlalchemy.orm import Session

from askhouse.values import House
from service.blots import BLOT, guest_words
from service.errors import GuestError
from service.lines.arrived import WITHHELD
from service.privacy.erasing import (
    NOBODYS_LINE,
    blot_digests,
    forget_deliveries,
    forget_escalations,
    forget_messages,
    forget_planned_keys,
)
from service.privacy.taught import Taught, forget_changes, taught_by
from service.privacy.trail import Detail, record
from service.tables import (
    Delivery,
    Escalation,
    Inbound,
    Lesson,
    OptOut,
    PartRow,
    Person,
    Piece,
    Stay,
    StayPhone,
    Table,
    Thread,
)

__all__ = ["Forgotten", "GuestError", "erase", "export"]

# Keys, what only says which process works on a row, and who of the host's side did something.
_LEFT_OUT = frozenset(
    (
        *("take_hash", "password_hash", "claimed_by", "claimed_until", "blotted", "blot_at"),
        *("taken_by", "person"),
    )
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Forgotten:
    """What was erased, and what was not.

    Attributes:
        opted_out: Lines on which the number stays opted out.
        feeds: Feeds that brought one of the stays, and may still list it.
        account: The number is one of the host's side.
        taught: Their words that became ways of asking, and stand in house files still.
    """

    stays: int
    messages: int
    deliveries: int
    opted_out: tuple[str, ...]
    feeds: tuple[str, ...]
    account: bool
    taught: tuple[Taught, ...]


@dataclass(frozen=True, slots=True)
class _Held:
    stays: Sequence[Stay]
    threads: Sequence[Thread]
    messages: Sequence[Inbound]
    deliveries: Sequence[Delivery]
    escalations: Sequence[Escalation]
    lessons: Sequence[Lesson]
    pieces: Sequence[Piece]
    opt_outs: Sequence[OptOut]
    people: Sequence[Person]

    def told(self) -> dict[str, Detail]:
        """Ids for the trail."""
        return {
            "stays": [stay.id for stay in self.stays],
            "threads": [thread.id for thread in self.threads],
            "messages": len(self.messages),
        }


def export(
    session: Session, number: str, houses: Mapping[str, House], who: str, now: dt.datetime
) -> dict[str, Any]:
    """All that is held about the guest, for JSON; codes and passwords are blotted.

    Args:
        number: E.164, or what stands for the sender.
        houses: Whose secrets are blotted, should a text repeat one.
        who: As the trail names who asked.

    Raises:
        GuestError: The number stands for nobody in particular.
    """
    held = _held(session, number)
    to_them = [d for d in held.deliveries if d.to == number and d.escalation_id is None]
    blot = _Blot(houses.values(), [stay.door_code for stay in held.stays])
    content = {
        "number": number,
        "made_at": now.isoformat(),
        "stays": [_stay(stay, number, blot) for stay in held.stays],
        "threads": [_thread(thread, blot) for thread in held.threads],
        "messages": [_message(message, blot) for message in held.messages],
        "deliveries": [_delivery(delivery, blot) for delivery in to_them],
        "alerts": [_row(escalation, blot) for escalation in held.escalations],
        "lessons": [_row(lesson, blot) for lesson in held.lessons],
        "pieces": [_row(piece, blot) for piece in held.pieces],
        "opted_out": [_row(opt_out, blot) for opt_out in held.opt_outs],
        "account": [_row(person, blot) for person in held.people],
    }
    record(session, who, "guest.export", "guest", held.told(), now)
    return content


def erase(
    session: Session,
    number: str,
    who: str,
    now: dt.datetime,
    *,
    also_opt_out: bool = False,
) -> Forgotten:
    """Erases what is held about the guest; what is only counted stays, without a link to them.

    Raises:
        GuestError: The number stands for nobody in particular.
    """
    held = _held(session, number, lock=True)
    told = held.told()
    # Taken down first: what follows makes the session forget the rows it has read.
    threads = [thread.id for thread in held.threads]
    escalations = [escalation.id for escalation in held.escalations]
    deliveries = [delivery.id for delivery in held.deliveries]
    taught = taught_by(session, held.lessons)
    lines = tuple(sorted(opt_out.line for opt_out in held.opt_outs))
    forget_messages(session, [message.id for message in held.messages], now)
    forget_escalations(session, Escalation.id.in_(escalations), now)
    forget_deliveries(session, Delivery.id.in_(deliveries))
    forget_planned_keys(session, Delivery.id.in_(deliveries))
    forget_changes(session, taught)
    blot_digests(session)
    for lesson in held.lessons:
        lesson.text = ""
    for stay in held.stays:
        stay.guests, stay.door_code = [], None
        stay.phones = [phone for phone in stay.phones if phone.number != number]
    session.flush()
    session.execute(delete(Piece).where(Piece.sender == number))
    if also_opt_out:
        session.execute(delete(OptOut).where(OptOut.number == number))
    session.execute(delete(Thread).where(Thread.id.in_(threads)))
    record(session, who, "guest.erase", "guest", told, now)
    return Forgotten(
        stays=len(held.stays),
        messages=len(held.messages),
        deliveries=len(held.deliveries),
        opted_out=() if also_opt_out else lines,
        feeds=tuple(sorted({stay.feed for stay in held.stays if stay.feed})),
        account=bool(held.people),
        taught=taught,
    )


def _held(session: Session, number: str, *, lock: bool = False) -> _Held:
    if not number.strip() or number == WITHHELD:
        raise GuestError(
            "Senders who hide their number share one thread, so that nobody in particular can be "
            "meant; such messages go when they are old"
        )
    mine = (Thread.sender == number) & (Thread.line != NOBODYS_LINE)
    threads_of = select(Thread).where(mine).order_by(Thread.id)
    threads = session.scalars(threads_of.with_for_update() if lock else threads_of).all()
    thread_ids = [thread.id for thread in threads]
    stays = session.scalars(
        select(Stay).where(Stay.phones.any(StayPhone.number == number)).order_by(Stay.id)
    ).all()
    messages = session.scalars(
        select(Inbound).where(Inbound.thread_id.in_(thread_ids)).order_by(Inbound.id)
    ).all()
    message_ids = [message.id for message in messages]
    escalations = session.scalars(
        select(Escalation)
        .where(or_(Escalation.thread_id.in_(thread_ids), Escalation.message_id.in_(message_ids)))
        .order_by(Escalation.id)
    ).all()
    # Also what went to the host: an alert tells in the guest's own words what it is about.
    theirs = or_(
        Delivery.to == number,
        Delivery.thread_id.in_(thread_ids),
        Delivery.message_id.in_(message_ids),
        Delivery.escalation_id.in_([escalation.id for escalation in escalations]),
    )
    parts = select(PartRow.id).where(PartRow.message_id.in_(message_ids))
    return _Held(
        stays=stays,
        threads=threads,
        messages=messages,
        deliveries=session.scalars(select(Delivery).where(theirs).order_by(Delivery.id)).all(),
        escalations=escalations,
        lessons=session.scalars(select(Lesson).where(Lesson.part_id.in_(parts))).all(),
        pieces=session.scalars(select(Piece).where(Piece.sender == number)).all(),
        opt_outs=session.scalars(select(OptOut).where(OptOut.number == number)).all(),
        people=session.scalars(select(Person).where(Person.number == number)).all(),
    )


class _Blot:
    """Takes the secrets of every house out of a text, and these stays' own door codes."""

    def __init__(self, houses: Iterable[House], codes: Iterable[str | None]) -> None:
        self._houses = tuple(houses)
        self._codes = tuple(code for code in codes if code)

    def __call__(self, text: str) -> str:
        for house in self._houses:
            text = guest_words(text, house, *self._codes)
        for code in self._codes:
            text = text.replace(code, BLOT)
        return text


def _stay(stay: Stay, number: str, blot: _Blot) -> dict[str, Any]:
    alone = len(stay.guests) == len(stay.phones) == 1
    return _row(stay, blot) | {
        "guests": [blot(name) for name in stay.guests] if alone else [],
        "door_code": stay.door_code and BLOT,
        "numbers": [number],
    }


def _thread(thread: Thread, blot: _Blot) -> dict[str, Any]:
    return _row(thread, blot) | ({"rest": BLOT} if thread.rest_secrets else {})


def _message(message: Inbound, blot: _Blot) -> dict[str, Any]:
    parts = []
    for part in message.parts:
        facts = [_row(citation, blot) for citation in part.citations]
        parts.append(_row(part, blot) | {"facts": facts})
    return _row(message, blot) | {"parts": parts}


def _delivery(delivery: Delivery, blot: _Blot) -> dict[str, Any]:
    told = {"text": delivery.blotted or BLOT} if delivery.secrets and delivery.blotted else {}
    return _row(delivery, blot) | told


def _row(row: Table, blot: _Blot) -> dict[str, Any]:
    """Every column of a row but those left out, so that a new one is told as well."""
    return {
        column.key: _plain(getattr(row, column.key), blot)
        for column in inspect(type(row)).column_attrs
        if column.key not in _LEFT_OUT
    }


def _plain(value: Any, blot: _Blot) -> Any:
    if isinstance(value, str):
        return blot(value)
    if isinstance(value, list):
        return [_plain(item, blot) for item in value]
    if isinstance(value, dt.date):
        return value.isoformat()
    return value

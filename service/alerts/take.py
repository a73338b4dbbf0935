"""Taking, answering and closing an alert: what stops the ladder, each with its time.

| state | take | answer | close |
|---|---|---|---|
| open | taken; the guest is told that the host has it | answered; whoever answers has taken it | closed; the guest is told nothing |
| taken | told who has it | answered | closed |
| answered | told who has it | answered again | closed |
| closed | told who had it | refused | nothing changes |
"""  # noqa: E501 (a table's row is one line)

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.values import House, Level
from service.alerts.errors import AlertOverError, NotWritableError, UnknownAlertError
from service.alerts.guests import Lines, tell_taken, writable
from service.alerts.ladder import contact_of_key
from service.alerts.links import alert_of, stand_down
from service.alerts.people import LINK, person_of, who
from service.alerts.settings import AlertSettings
from service.blots import guest_words
from service.lines.segments import count, plain
from service.tables import (
    Delivery,
    Escalation,
    EscalationState,
    PartRow,
    Stay,
    Thread,
)

__all__ = ["Answered", "Taken", "answer", "close", "locked", "take", "take_by_link"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What came of taking an alert.

    Attributes:
        done: It was open, and is theirs now.
        yours: They have it, now or since before.
        by: Who has it: `person:ID`, `token:ID`, a contact's name, or `link`; `name_of` says whom
            that means. None for one that was closed without being taken.
    """

    alert: Escalation
    done: bool
    yours: bool
    by: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """The host's answer on its way, and what it would take to keep it as a fact.

    Attributes:
        delivery_id: Of the message to the guest.
        house: Its slug; None where none is settled.
        questions: What the guest asked, part by part, without any secret.
    """

    alert: Escalation
    delivery_id: int
    house: str | None
    questions: tuple[str, ...]


def locked(session: Session, alert_id: int) -> Escalation:
    """The alert, locked until the transaction ends.

    Raises:
        UnknownAlertError: There is none.
    """
    alert = session.get(Escalation, alert_id, with_for_update=True)
    if alert is None:
        raise UnknownAlertError(alert_id)
    return alert


def take(
    session: Session,
    alert_id: int,
    by: str,
    now: dt.datetime,
    *,
    houses: Mapping[str, House],
    lines: Lines,
) -> Taken:
    """Takes an open alert: nobody else is called, and the guest is told that the host has it.

    Args:
        by: `person:ID`, `token:ID`, or a contact's name.

    Raises:
        UnknownAlertError: There is none of that id.
    """
    alert = locked(session, alert_id)
    if alert.state != EscalationState.OPEN:
        return Taken(alert=alert, done=False, yours=alert.taken_by == by, by=alert.taken_by)
    alert.state, alert.taken_by, alert.taken_at = EscalationState.TAKEN, by, now
    alert.next_at = None
    stand_down(session, alert)
    tell_taken(session, alert, houses, lines, now)
    return Taken(alert=alert, done=True, yours=True, by=by)


def take_by_link(
    session: Session,
    token: str,
    contact: str | None,
    now: dt.datetime,
    *,
    settings: AlertSettings,
    houses: Mapping[str, House],
    lines: Lines,
) -> Taken | None:
    """Takes an alert for whoever has its link; None where the token is of no alert.

    Args:
        contact: What the link says in `by`; it counts only if that contact was told.
    """
    alert = alert_of(session, token)
    if alert is None:
        return None
    by = _whose(session, alert, contact, settings)
    return take(session, alert.id, by, now, houses=houses, lines=lines)


def answer(
    session: Session,
    alert_id: int,
    by: str,
    text: str,
    now: dt.datetime,
    *,
    houses: Mapping[str, House],
    lines: Lines,
    key: str | None = None,
) -> Answered:
    """Sends the host's words to the guest, in the thread; the alert is answered.

    Args:
        text: As the host wrote it; not empty.
        key: The same key, or without one the same words, are sent once.

    Raises:
        UnknownAlertError: There is no such alert.
        AlertOverError: It is closed.
        NotWritableError: Nothing can be sent to the guest.
    """
    alert = locked(session, alert_id)
    if alert.state == EscalationState.CLOSED:
        raise AlertOverError(alert_id)
    thread = writable(session, alert, lines)
    said = plain(text.strip())
    if not said:
        raise NotWritableError("the answer is empty: write what the guest should read")
    once = hashlib.sha256((key or said).encode("utf-8", "replace")).hexdigest()[:32]
    name = f"answer:{alert.id}:{once}"
    sent = session.scalar(select(Delivery).where(Delivery.key == name))
    if sent is None:
        sent = _answer(session, alert, thread, houses, name, said)
        sent.author, sent.due_at, sent.created_at = by, now, now
        session.add(sent)
        thread.last_at = now
        if alert.taken_by is None:
            alert.taken_by, alert.taken_at = by, now
        alert.state, alert.answered_at, alert.next_at = EscalationState.ANSWERED, now, None
        stand_down(session, alert)
        session.flush()
    house = houses.get(alert.house or "")
    return Answered(
        alert=alert,
        delivery_id=sent.id,
        house=alert.house,
        questions=_questions(session, alert, house, _code(session, thread)),
    )


def close(session: Session, alert_id: int, by: str, now: dt.datetime) -> Escalation:
    """Closes an alert: nothing more is to be done. Again, it changes nothing.

    Raises:
        UnknownAlertError: There is none of that id.
    """
    alert = locked(session, alert_id)
    if alert.state == EscalationState.CLOSED:
        return alert
    if alert.taken_by is None:
        alert.taken_by, alert.taken_at = by, now
    alert.state, alert.closed_at, alert.next_at = EscalationState.CLOSED, now, None
    stand_down(session, alert)
    return alert


def _whose(
    session: Session, alert: Escalation, contact: str | None, settings: AlertSettings
) -> str:
    told = select(Delivery.key).where(Delivery.escalation_id == alert.id)
    if contact is None or contact not in map(contact_of_key, session.scalars(told)):
        return LINK
    known = settings.contacts.get(contact)
    person = person_of(session, known) if known is not None else None
    return who(person) if person is not None else contact


def _answer(
    session: Session,
    alert: Escalation,
    thread: Thread,
    houses: Mapping[str, House],
    key: str,
    said: str,
) -> Delivery:
    """The message to the guest; a code that the host wrote is kept no longer than any other."""
    house, code = houses.get(alert.house or ""), _code(session, thread)
    kept = guest_words(said, house, code) if house is not None else said
    secrets = []
    if house is not None and kept != said:
        secrets = [fact.id for fact in house.facts if fact.sensitive]
    return Delivery(
        key=key,
        channel="line",
        target=thread.line,
        thread_id=thread.id,
        stay_id=thread.stay_id,
        to=thread.sender,
        text=said,
        secrets=secrets,
        blotted=kept if secrets else None,
        emergency=alert.level == Level.EMERGENCY,
        urgent=alert.level != Level.SOON,
        segments=count(said).segments,
    )


def _code(session: Session, thread: Thread) -> str | None:
    stay = session.get(Stay, thread.stay_id) if thread.stay_id is not None else None
    return stay.door_code if stay is not None else None


def _questions(
    session: Session, alert: Escalation, house: House | None, code: str | None
) -> tuple[str, ...]:
    if alert.message_id is None or house is None:
        return ()
    wanted = PartRow.outcome == "gap" if alert.kind == "gap" else PartRow.kind == alert.kind
    parts = session.scalars(
        select(PartRow)
        .where(PartRow.message_id == alert.message_id, wanted, PartRow.asked_back.is_(False))
        .order_by(PartRow.place)
    )
    return tuple(guest_words(part.text, house, code) for part in parts)

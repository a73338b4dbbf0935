"""Planned messages put among what is to be sent, and taken out again where they must not be."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.values import House, Level
from service.alerts.filling import CannotFillError, Filled, NotYetError, filled
from service.alerts.planned import Due, Plan, planned_key, useful
from service.blots import BLOT, blotted
from service.database import add_new
from service.lines.segments import count, fit
from service.lines.settings import LineSettings
from service.situation import opted_out
from service.stays.phone_numbers import Look, look
from service.stays.settings import rules_of
from service.tables import Delivery, DeliveryState, Escalation, Stay, Thread
from service.threads import rest_until

__all__ = ["drop_planned", "due_drops", "send_planned"]


def send_planned(session: Session, due: Due, plan: Plan, now: dt.datetime) -> bool:
    """Queues a planned message that was found due; False where it is not to be sent after all."""
    # Locked: who cancels the stay meanwhile waits, and who has cancelled it is seen. Not against
    # those who only refer to it, such as a reply that is being stored: they hold what we need next.
    stay = session.get(Stay, due.stay.id, with_for_update={"key_share": True})
    if stay is None or session.scalar(select(Delivery.id).where(Delivery.key == due.key)):
        return False
    if _no_longer(stay, due.message.name, due.number, plan, now) is not None:
        return False
    return _send(session, replace(due, stay=stay), plan, now)


def due_drops(session: Session, plan: Plan, now: dt.datetime) -> list[tuple[int, str]]:
    """Planned messages that wait to be sent and must not be any more: ids, each with the reason."""
    waiting = session.execute(
        select(Delivery.id, Delivery.key, Delivery.to, Stay)
        .join(Stay, Stay.id == Delivery.stay_id)
        .where(Delivery.state == DeliveryState.DUE, Delivery.key.startswith("planned:"))
    )
    found = []
    for delivery_id, key, number, stay in waiting:
        reason = _no_longer(stay, key.split(":")[2], number, plan, now)
        if reason is not None:
            found.append((delivery_id, reason))
    return found


def drop_planned(session: Session, plan: Plan, now: dt.datetime) -> int:
    """Drops these; how many."""
    dropped = 0
    for delivery_id, reason in due_drops(session, plan, now):
        delivery = session.scalars(
            select(Delivery)
            .where(Delivery.id == delivery_id, Delivery.state == DeliveryState.DUE)
            .with_for_update(skip_locked=True)
        ).first()
        if delivery is None:
            continue  # it is being sent this moment
        delivery.state, delivery.problem = DeliveryState.DROPPED, reason
        if delivery.secrets:
            delivery.text, delivery.blotted = delivery.blotted or BLOT, None
        dropped += 1
    return dropped


def _no_longer(stay: Stay, name: str, number: str, plan: Plan, now: dt.datetime) -> str | None:
    if stay.cancelled_at is not None:
        return "the stay was cancelled"
    if number not in {phone.number for phone in stay.phones}:
        return "the number was taken off the stay"
    message = next((each for each in plan.of(stay.house) if each.name == name), None)
    if message is not None and now >= useful(message, stay, plan.houses[stay.house]).end:
        return "it is of no use any more"
    return None


def _send(session: Session, due: Due, plan: Plan, now: dt.datetime) -> bool:
    house = plan.houses[due.stay.house]
    line, thread = _way(session, due, plan.sending(house.slug))
    if (
        look(due.number, line.number, [house.country]) is not Look.TELEPHONE
        or opted_out(session, line.name, due.number)
        or _told_before(session, due)
    ):
        return False
    language = thread.language if thread is not None else "en"
    template = due.message.template(language)
    try:
        said = filled(template, due.stay, house, rules_of(house.slug, plan.rules), now)
    except NotYetError:
        return False
    except CannotFillError as error:
        _fail(session, due, line, str(error), now)
        return False
    if not said.text:
        return False  # its template says nothing to this stay
    return _queue(session, due, house, line, said, language, now)


def _queue(
    session: Session,
    due: Due,
    house: House,
    line: LineSettings,
    said: Filled,
    language: str,
    now: dt.datetime,
) -> bool:
    offer = language if language in due.message.texts else "en"
    text, rest = fit(said.text, line.most_segments, offer)
    thread = _thread(session, due, line, now)
    kept = blotted(text, house.facts, said.code) if said.sensitive else None
    secrets = list(said.secrets)
    added = add_new(
        session,
        Delivery,
        key=due.key,
        channel="line",
        target=line.name,
        thread_id=thread.id,
        stay_id=due.stay.id,
        to=due.number,
        text=text,
        secrets=secrets,
        secret_until=said.until,
        blotted=kept,
        due_at=now,
        created_at=now,
        segments=count(text).segments,
    )
    if added and rest:
        thread.house, thread.stay_id = due.stay.house, due.stay.id  # whose codes the rest may hold
        thread.rest, thread.rest_secrets = rest, secrets
        thread.rest_until = rest_until(now, said.until)
    return added


def _thread(session: Session, due: Due, line: LineSettings, now: dt.datetime) -> Thread:
    """The guest's thread, locked; begun where they have not written yet."""
    add_new(
        session,
        Thread,
        line=line.name,
        sender=due.number,
        created_at=now,
        last_at=now,
        rest_secrets=[],
    )
    thread = session.scalars(
        select(Thread)
        .where(Thread.line == line.name, Thread.sender == due.number)
        .with_for_update()
    ).one()
    thread.last_at = now
    if thread.house is None:
        thread.house, thread.stay_id = due.stay.house, due.stay.id
    return thread


def _way(
    session: Session, due: Due, lines: Sequence[LineSettings]
) -> tuple[LineSettings, Thread | None]:
    """The line that the guest last wrote on, or else the first of the house's."""
    by_name = {line.name: line for line in lines}
    thread = session.scalars(
        select(Thread)
        .where(Thread.sender == due.number, Thread.line.in_(by_name))
        .order_by(Thread.last_at.desc())
        .limit(1)
    ).first()
    return (by_name[thread.line], thread) if thread is not None else (lines[0], None)


def _told_before(session: Session, due: Due) -> bool:
    """Whether the number got the message for another entry of the same booking.

    A booking that a feed names anew under another UID is another row for a while.
    """
    stay = due.stay
    twins = select(Stay.id).where(
        Stay.house == stay.house, Stay.arrival == stay.arrival, Stay.id != stay.id
    )
    told = select(Delivery.key).where(
        Delivery.stay_id.in_(twins),
        Delivery.to == due.number,
        Delivery.state.not_in((DeliveryState.DROPPED, DeliveryState.FAILED)),
    )
    return any(
        key.split(":")[2:3] == [due.message.name]
        for key in session.scalars(told)
        if key.startswith("planned:")
    )


def _fail(session: Session, due: Due, line: LineSettings, reason: str, now: dt.datetime) -> None:
    """Notes, so that it is not tried again and again, that it cannot be said; the host hears."""
    others = planned_key(due.stay.id, due.message.name, "").rpartition(":")[0] + ":"
    told = session.scalar(
        select(Delivery.id)
        .where(Delivery.key.startswith(others), Delivery.state == DeliveryState.FAILED)
        .limit(1)
    )
    first = add_new(
        session,
        Delivery,
        key=due.key,
        channel="line",
        target=line.name,
        stay_id=due.stay.id,
        to=due.number,
        text="",
        secrets=[],
        state=DeliveryState.FAILED,
        problem=reason,
        due_at=now,
        created_at=now,
    )
    if first and not told:
        add_new(
            session,
            Escalation,
            house=due.stay.house,
            kind="delivery",
            level=Level.URGENT,
            summary=f"The message {due.message.name} to the guests of stay {due.stay.id} was not "
            f"sent: {reason}.",
            next_at=now,
            created_at=now,
        )

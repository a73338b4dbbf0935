"""Climbing: each open escalation tells its contacts, rung by rung, until someone takes it.

An escalation is claimed with its row locked, and all that comes of a step is kept in the one
transaction that moves it on: a process may be killed anywhere, several may climb at once, and every
contact of a rung is told once.
"""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import case, select
from sqlalchemy.orm import Session

from askhouse.values import House, Level
from service.alerts.contact_settings import Contact, LineContact
from service.alerts.links import code_of, link, token_of
from service.alerts.people import number_of, person_of
from service.alerts.rungs import Step, step
from service.alerts.settings import AlertSettings
from service.alerts.words import About, words_for
from service.database import add_new
from service.lines.segments import count
from service.tables import Delivery, Escalation, EscalationState, Stay, Thread

__all__ = ["URGENCY", "about", "alert_key", "climb", "contact_of_key", "is_due"]

log = logging.getLogger(__name__)

_AT_ONCE = 50  # escalations in one transaction
_NOBODY_AGAIN = dt.timedelta(hours=1)
URGENCY = case({"emergency": 0, "urgent": 1}, value=Escalation.level, else_=2)


def alert_key(alert_id: int, round_: int, rung: int, contact: str) -> str:
    """The idempotency key of an alert to a contact."""
    return f"alert:{alert_id}:{round_}:{rung}:{contact}"


def contact_of_key(key: str) -> str:
    """The contact that an alert's key is for."""
    return key.rpartition(":")[2]


def is_due(session: Session, now: dt.datetime) -> bool:
    """Whether anything is to climb, so that it is worth while to become the only writer."""
    due = select(Escalation.id).where(
        Escalation.state == EscalationState.OPEN, Escalation.next_at <= now
    )
    return session.scalar(due.limit(1)) is not None


def climb(
    session: Session, settings: AlertSettings, houses: Mapping[str, House], now: dt.datetime
) -> int:
    """Takes what is due a step on, the most urgent first; how many escalations that were."""
    due = (
        select(Escalation)
        .where(Escalation.state == EscalationState.OPEN, Escalation.next_at <= now)
        .order_by(URGENCY, Escalation.next_at, Escalation.id)
        .limit(_AT_ONCE)
        .with_for_update(skip_locked=True)
    )
    alerts = session.scalars(due).all()
    for alert in alerts:
        _climb(session, alert, settings, houses, now)
    return len(alerts)


def about(session: Session, alert: Escalation, houses: Mapping[str, House]) -> About:
    """What an alert is about."""
    thread = session.get(Thread, alert.thread_id) if alert.thread_id is not None else None
    stay = session.get(Stay, thread.stay_id) if thread and thread.stay_id is not None else None
    return About(
        alert=alert,
        sender=thread.sender if thread is not None else None,
        house=houses.get(alert.house or ""),
        houses=houses,
        door_code=stay.door_code if stay is not None else None,
    )


def _climb(
    session: Session,
    alert: Escalation,
    settings: AlertSettings,
    houses: Mapping[str, House],
    now: dt.datetime,
) -> None:
    rules = settings.rules_of(alert.house)
    if not rules.ladder:
        log.error(
            "alert %d reaches nobody: set houses.%s.ladder or alerts.ladder",
            alert.id,
            alert.house or "SLUG",
        )
        alert.next_at = now + _NOBODY_AGAIN
        return
    what = about(session, alert, houses)
    zone = what.zone if what.house is not None else _any_zone(houses)
    next_ = step(rules, kind=alert.kind, level=alert.level, told=alert.rung, zone=zone, now=now)
    earliest = _round_may_begin(session, alert, next_, rules.again_minutes)
    if earliest is not None and earliest > now:
        alert.next_at = earliest
        return
    alert.next_at = next_.next_at
    if not next_.contacts:
        return
    told = [_tell(session, settings, _Telling(what, name, next_, now)) for name in next_.contacts]
    alert.rung += 1
    if not any(told) and alert.rung % len(rules.ladder):
        alert.next_at = now  # nobody of this rung can be reached: the next one is told at once


def _round_may_begin(
    session: Session, alert: Escalation, next_: Step, again_minutes: float
) -> dt.datetime | None:
    """The earliest start of another round.

    Where every contact fails at once, the outbox sends the ladder on each time, and without this
    it would go round as fast as it can.
    """
    if next_.round == 0 or next_.rung != 0:
        return None
    last = session.scalar(
        select(Delivery.created_at)
        .where(Delivery.escalation_id == alert.id)
        .order_by(Delivery.created_at.desc())
        .limit(1)
    )
    return last + dt.timedelta(minutes=again_minutes) if last is not None else None


@dataclass(frozen=True, slots=True)
class _Telling:
    about: About
    contact: str
    step: Step
    now: dt.datetime


def _tell(session: Session, settings: AlertSettings, telling: _Telling) -> bool:
    """Queues the alert to one contact; False where it cannot be reached, or was told before."""
    contact, alert = settings.contacts[telling.contact], telling.about.alert
    person = person_of(session, contact)
    to = number_of(contact, person)
    left = contact.person is not None and person is None
    if left or (isinstance(contact, LineContact) and to is None):
        log.error("contact %s reaches nobody: it belongs to no one who is here", telling.contact)
        return False
    base = settings.alerts.base_url
    address = link(base, token_of(session, alert), telling.contact) if base else None
    reply = None
    if person is not None and to is not None and to == person.number:
        reply = code_of(session, alert) if settings.alerts.take_code else str(alert.id)
    words = words_for(
        contact,
        telling.about,
        # What belongs to no house is read by those who are named for that, not by all the staff.
        reads=contact.reads and (alert.house is not None or bool(settings.alerts.ladder)),
        link=address,
        reply=reply,
        round_=telling.step.round,
    )
    return add_new(
        session,
        Delivery,
        key=alert_key(alert.id, telling.step.round, telling.step.rung, telling.contact),
        channel=contact.channel,
        target=_target(contact, telling.contact),
        escalation_id=alert.id,
        to=to or "",
        title=words.title,
        text=words.text,
        secrets=[],
        emergency=alert.level == Level.EMERGENCY,
        urgent=alert.level in (Level.EMERGENCY, Level.URGENT),
        due_at=telling.now,
        created_at=telling.now,
        segments=count(words.text).segments if isinstance(contact, LineContact) else None,
    )


def _target(contact: Contact, name: str) -> str:
    return contact.line if isinstance(contact, LineContact) else name


def _any_zone(houses: Mapping[str, House]) -> str:
    return min((house.timezone for house in houses.values()), default="UTC")

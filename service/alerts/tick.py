"""What is due: the ladders climbed, planned messages queued, what is not to be sent dropped."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from sqlalchemy import select

from askhouse.values import House
from service.alerts.guests import Lines
from service.alerts.ladder import climb, is_due
from service.alerts.links import stand_down
from service.alerts.planned import Plan, due_messages
from service.alerts.sending_planned import drop_planned, due_drops, send_planned
from service.alerts.settings import AlertSettings
from service.clock import Clock
from service.database import Database
from service.stays.settings import StayRules
from service.tables import Delivery, DeliveryState, Escalation, EscalationState

__all__ = ["run_due"]


def run_due(
    database: Database,
    settings: AlertSettings,
    houses: Mapping[str, House],
    clock: Clock,
    *,
    lines: Lines,
    rules: Mapping[str, StayRules],
) -> int:
    """Runs what is due, and nothing where nothing is; meant to be called every few seconds.

    May run in several processes at once, and be killed anywhere.

    Args:
        houses: As they are written now.
        rules: Of stays, by slug.

    Returns:
        How many alerts moved and messages were queued or dropped: where it is not 0, ring the
        outbox.
    """
    return (
        _climb(database, settings, houses, clock())
        + _stand_down(database)
        + _plan(database, Plan(settings=settings, houses=houses, lines=lines, rules=rules), clock())
    )


def _climb(
    database: Database, settings: AlertSettings, houses: Mapping[str, House], now: dt.datetime
) -> int:
    moved = 0
    while True:
        with database.reading() as session:
            if not is_due(session, now):
                return moved
        with database.writing() as session:
            climbed = climb(session, settings, houses, now)
        if not climbed:
            return moved  # another process has them
        moved += climbed


def _stand_down(database: Database) -> int:
    """Drops what an outbox held while its alert was taken."""
    left = (
        select(Delivery.escalation_id)
        .join(Escalation, Escalation.id == Delivery.escalation_id)
        .where(
            Delivery.state == DeliveryState.DUE,
            Escalation.state != EscalationState.OPEN,
        )
        .distinct()
    )
    with database.reading() as session:
        ids = session.scalars(left).all()
    for alert_id in ids:
        with database.writing() as session:
            alert = session.get(Escalation, alert_id, with_for_update=True)
            if alert is not None:
                stand_down(session, alert)
    return len(ids)


def _plan(database: Database, plan: Plan, now: dt.datetime) -> int:
    with database.reading() as session:
        due, drops = due_messages(session, plan, now), due_drops(session, plan, now)
    done = 0
    if drops:
        with database.writing() as session:
            done += drop_planned(session, plan, now)
    for one in due:
        # A transaction each: it locks the guest's thread, where a message may come in meanwhile.
        with database.writing() as session:
            done += send_planned(session, one, plan, now)
    return done

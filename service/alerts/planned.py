"""Messages at a set time of a stay, such as how to get in on the day of arrival.

| case | rule |
|---|---|
| its time has come | sent, to every number of the stay, once to each |
| the stay is booked later than that | sent at once, while it is still of use: until the arrival day is over, for one about leaving until check-out, else until its own day is over |
| it needs a sensitive fact whose window is closed | waits for the window, while it is still of use |
| it needs a fact or a door code that is not there | not sent; the host hears of it once |
| the stay is cancelled, a number taken off it, or the use is over | dropped, if it was not sent yet |
| the guest asked for no more messages | not sent |
| the same guest was told for another entry of the same house and arrival | not sent again |

Local times that a clock change skips or repeats are read as in `service.stays.release`.
"""  # noqa: E501 (a table's row is one line)

from __future__ import annotations

import datetime as dt
import hashlib
import logging
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.values import House
from service.alerts.filling import says_nothing_yet
from service.alerts.guests import Lines
from service.alerts.planned_settings import PlannedMessage
from service.alerts.settings import AlertSettings
from service.lines.settings import LineSettings
from service.stays.release import Window, at_local
from service.stays.settings import StayRules, rules_of
from service.tables import Delivery, Stay

__all__ = ["Due", "Plan", "due_messages", "planned_key", "useful"]

log = logging.getLogger(__name__)

_DAY = dt.timedelta(days=1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Which messages are planned, for whom, and what they go out by.

    Attributes:
        rules: Of stays, by slug; a house without has the defaults.
    """

    settings: AlertSettings
    houses: Mapping[str, House]
    lines: Lines
    rules: Mapping[str, StayRules]

    def of(self, slug: str) -> tuple[PlannedMessage, ...]:
        """The messages of a house."""
        house = self.settings.houses.get(slug)
        return house.planned if house is not None and slug in self.houses else ()

    def sending(self, slug: str) -> list[LineSettings]:
        """The lines that can send to a house's guests."""
        return [
            line for line in self.lines.values() if slug in line.houses and line.send is not None
        ]


@dataclass(frozen=True, slots=True)
class Due:
    """A message that a number of a stay is to get now."""

    stay: Stay
    message: PlannedMessage
    number: str

    @property
    def key(self) -> str:
        """The idempotency key of its delivery."""
        return planned_key(self.stay.id, self.message.name, self.number)


def planned_key(stay_id: int, name: str, number: str) -> str:
    """The idempotency key of a planned message: by stay, name and number.

    The number stands in it as a hash, since keys are logged.
    """
    return f"planned:{stay_id}:{name}:{hashlib.sha256(number.encode()).hexdigest()[:12]}"


def useful(message: PlannedMessage, stay: Stay, house: House) -> Window:
    """From when a message is due until when it is still of use."""
    first = stay.arrival if message.day == "arrival" else stay.departure
    day = first + message.days * _DAY
    start = at_local(day, message.at, house)
    check_out = at_local(stay.departure, house.check_out, house)
    if message.day == "departure" and start < check_out:
        return Window(start, check_out)
    last = max(day, first) if message.day == "arrival" else day
    return Window(start, at_local(last + _DAY, dt.time(0), house))


def due_messages(session: Session, plan: Plan, now: dt.datetime) -> list[Due]:
    """What is to be sent now, and was not yet.

    What waits for a window is left out here, where it costs no transaction of its own, nor the
    place of the only writer: it is looked at again every few seconds until that opens.
    """
    found = list(_timely(_stays(session, plan, now), plan, now))
    if not found:
        return []
    keys = [due.key for due in found]
    known = set(session.scalars(select(Delivery.key).where(Delivery.key.in_(keys))))
    return [due for due in found if due.key not in known and not _waits(due, plan, now)]


def _waits(due: Due, plan: Plan, now: dt.datetime) -> bool:
    house = plan.houses[due.stay.house]
    templates = (due.message.text, *due.message.texts.values())  # whatever the guest's language
    return says_nothing_yet(templates, due.stay, house, rules_of(house.slug, plan.rules), now)


def _stays(session: Session, plan: Plan, now: dt.datetime) -> Iterable[Stay]:
    planned = {slug: plan.of(slug) for slug in plan.settings.houses}
    slugs = [slug for slug, messages in planned.items() if messages and plan.sending(slug)]
    if not slugs:
        return []
    days = [message.days for slug in slugs for message in planned[slug]]
    # A day more on either side: the houses' days are not UTC's.
    last_arrival = now.date() + (max(0, -min(days)) + 1) * _DAY
    first_departure = now.date() - (max(0, *days) + 1) * _DAY
    return session.scalars(
        select(Stay)
        .where(
            Stay.house.in_(slugs),
            Stay.cancelled_at.is_(None),
            Stay.arrival <= last_arrival,
            Stay.departure >= first_departure,
        )
        .order_by(Stay.arrival, Stay.id)
    ).all()


def _timely(stays: Iterable[Stay], plan: Plan, now: dt.datetime) -> Iterator[Due]:
    for stay in stays:
        for message in plan.of(stay.house):
            if useful(message, stay, plan.houses[stay.house]).holds(now):
                for phone in stay.phones:
                    yield Due(stay, message, phone.number)

"""When sensitive facts may be told: from the morning of arrival until check-out.

Times are the house's own. A time that a clock change skips or repeats is read as RFC 5545, 3.3.5,
reads one: a skipped time by the offset before the gap, a repeated one as its first occurrence.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from askhouse.values import House
from service.stays.settings import StayRules
from service.tables import Stay

__all__ = [
    "OWN_CODE_SECRET",
    "Window",
    "at_local",
    "fact_window",
    "later_facts",
    "open_facts",
    "open_windows",
    "staying",
    "window",
]

OWN_CODE_SECRET = "stay.door_code"
"""Stands among ids of sensitive facts for a stay's own door code that no fact says."""


@dataclass(frozen=True, slots=True)
class Window:
    """From `start` until just before `end`, both UTC; never open if it ends first."""

    start: dt.datetime
    end: dt.datetime

    def holds(self, now: dt.datetime) -> bool:
        """Whether it is open."""
        return self.start <= now < self.end

    def local_start(self, house: House) -> dt.datetime:
        """The start on the house's clocks, for "I can tell you from 08:00 on Friday"."""
        return self.start.astimezone(ZoneInfo(house.timezone))


def at_local(day: dt.date, time: dt.time, house: House) -> dt.datetime:
    """The UTC time at which the house's clocks show that time of that day.

    fold=0 is what RFC 5545, 3.3.5, asks for: zoneinfo then takes the first of two occurrences,
    and the offset before a gap.
    """
    local = dt.datetime.combine(day, time.replace(tzinfo=None, fold=0), ZoneInfo(house.timezone))
    return local.astimezone(dt.UTC)


def staying(stay: Stay, house: House) -> Window:
    """From check-in on arrival day until check-out on departure day."""
    return Window(
        at_local(stay.arrival, house.check_in, house),
        at_local(stay.departure, house.check_out, house),
    )


def window(stay: Stay, house: House, rules: StayRules) -> Window:
    """When the stay's guests may be told sensitive facts: as the stay says, or the house."""
    return _window(stay, house, rules.release_from, 0, rules.release_until)


def fact_window(stay: Stay, house: House, rules: StayRules, fact_id: str) -> Window:
    """The window of one fact. The stay's own times go before the fact's, and these before the
    house's: what the host set for these guests is what they meant.
    """
    own = rules.release_facts.get(fact_id)
    if own is None:
        return window(stay, house, rules)
    return _window(stay, house, own.from_, own.days_before, own.until or rules.release_until)


def _window(
    stay: Stay, house: House, start: dt.time, days_before: int, end: dt.time | None
) -> Window:
    first_day = stay.arrival - dt.timedelta(days=days_before)
    return Window(
        stay.release_from or at_local(first_day, start, house),
        stay.release_until or at_local(stay.departure, end or house.check_out, house),
    )


def open_windows(
    stay: Stay, house: House, rules: StayRules, now: dt.datetime
) -> Mapping[str, Window]:
    """The sensitive facts that the stay's guests may be told now, each with its window."""
    windows = _windows(stay, house, rules)
    return {fact_id: window for fact_id, window in windows.items() if window.holds(now)}


def open_facts(stay: Stay, house: House, rules: StayRules, now: dt.datetime) -> frozenset[str]:
    """The ids of the sensitive facts that the stay's guests may be told now."""
    return frozenset(open_windows(stay, house, rules, now))


def later_facts(
    stay: Stay, house: House, rules: StayRules, now: dt.datetime
) -> Mapping[str, Window]:
    """The sensitive facts whose window is yet to open, each with it."""
    windows = _windows(stay, house, rules)
    return {fact_id: window for fact_id, window in windows.items() if now < window.start}


def _windows(stay: Stay, house: House, rules: StayRules) -> Mapping[str, Window]:
    facts = [fact.id for fact in house.facts if fact.sensitive]
    return {fact_id: fact_window(stay, house, rules, fact_id) for fact_id in facts}

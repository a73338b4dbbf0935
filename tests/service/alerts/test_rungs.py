"""The ladder's arithmetic: order, waits, quiet hours, clock changes."""

from __future__ import annotations

import datetime as dt
from itertools import pairwise
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.alerts.rungs import Step, quiet_until, step
from service.alerts.settings import AlertRules, QuietHours

LONDON = "Europe/London"
NOON = dt.datetime(2026, 6, 12, 12, tzinfo=dt.UTC)
NIGHT = QuietHours.model_validate({"from": "22:00", "to": "07:00"})


def utc(*when: int) -> dt.datetime:
    year, month, day, hour, minute = (*when, 0)[:5]
    return dt.datetime(year, month, day, hour, minute, tzinfo=dt.UTC)


def rules(*waits: float, **more: Any) -> AlertRules:
    ladder = [{"contacts": [f"c{n}"], "wait_minutes": wait} for n, wait in enumerate(waits)]
    return AlertRules.model_validate({"ladder": ladder, **more})


def climbed(
    ladder: AlertRules, level: str, times: int, now: dt.datetime, kind: str = "damage"
) -> list[tuple[dt.datetime, Step]]:
    """The first steps that tell someone, each taken the moment it is due."""
    taken: list[tuple[dt.datetime, Step]] = []
    while len(taken) < times:
        next_ = step(ladder, kind=kind, level=level, told=len(taken), zone=LONDON, now=now)
        if next_.contacts:
            taken.append((now, next_))
        now = next_.next_at
    return taken


def test_the_rungs_follow_each_other_and_begin_again() -> None:
    """First rung now, each next one after the wait of the one before, round again at the end."""
    steps = climbed(rules(5, 15, 3, again_minutes=20), "urgent", 5, NOON)

    assert [(at - NOON).total_seconds() / 60 for at, _ in steps] == [0, 5, 20, 40, 45]
    assert [(s.round, s.rung, s.contacts) for _, s in steps] == [
        (0, 0, ("c0",)),
        (0, 1, ("c1",)),
        (0, 2, ("c2",)),
        (1, 0, ("c0",)),
        (1, 1, ("c1",)),
    ]


def test_what_can_wait_waits_longer() -> None:
    """A soon alert keeps its own least waits, so that it does not ring as an urgent one does."""
    patient = rules(5, 200, again_minutes=20, soon_wait_minutes=60, soon_again_minutes=600)

    steps = climbed(patient, "soon", 4, NOON)

    assert [(at - NOON).total_seconds() / 60 for at, _ in steps] == [0, 60, 660, 720]


@pytest.mark.parametrize(
    ("level", "kind", "wakes", "alerts"),
    [
        # An emergency and someone locked out alert at any time.
        ("emergency", "safety", "emergency", True),
        ("urgent", "lockout", "emergency", True),
        ("soon", "lockout", "urgent", True),
        # Other urgent things do unless the host said that only emergencies wake.
        ("urgent", "damage", "urgent", True),
        ("urgent", "damage", "emergency", False),
        # What can wait does.
        ("soon", "gap", "urgent", False),
    ],
)
def test_quiet_hours(level: str, kind: str, wakes: str, alerts: bool) -> None:
    """In quiet hours only what the table says alerts; the rest is told the moment they end."""
    quiet = {"from": "22:00", "to": "07:00", "wakes": wakes}
    at_night = utc(2026, 6, 12, 23, 30)  # 00:30 in London

    found = step(
        rules(5, quiet_hours=quiet), kind=kind, level=level, told=0, zone=LONDON, now=at_night
    )

    assert bool(found.contacts) is alerts
    if not alerts:
        assert found.next_at == utc(2026, 6, 13, 6)  # 07:00 in London


@pytest.mark.parametrize(
    ("now", "until"),
    [
        # The edges: from belongs to them, to does not.
        (utc(2026, 6, 12, 20, 59), None),
        (utc(2026, 6, 12, 21), utc(2026, 6, 13, 6)),
        (utc(2026, 6, 13, 5, 59), utc(2026, 6, 13, 6)),
        (utc(2026, 6, 13, 6), None),
        # Clocks in the United Kingdom go forward on 29 March and back on 25 October 2026, at
        # 01:00 UTC (Directive 2000/84/EC as kept; the tz database).
        (utc(2026, 3, 28, 23), utc(2026, 3, 29, 6)),
        (utc(2026, 3, 29, 6), None),
        (utc(2026, 10, 24, 22), utc(2026, 10, 25, 7)),
        (utc(2026, 10, 25, 6, 30), utc(2026, 10, 25, 7)),
    ],
)
def test_quiet_hours_by_the_houses_clocks(now: dt.datetime, until: dt.datetime | None) -> None:
    """They begin and end by the house's clocks, also in the nights in which these change."""
    assert quiet_until(NIGHT, LONDON, now) == until


def test_quiet_hours_that_end_in_a_repeated_hour() -> None:
    """They end once, at the first 01:30 of the night in which 01:30 comes twice."""
    quiet = QuietHours.model_validate({"from": "22:00", "to": "01:30"})

    assert quiet_until(quiet, LONDON, utc(2026, 10, 25, 0, 10)) == utc(2026, 10, 25, 0, 30)
    assert quiet_until(quiet, LONDON, utc(2026, 10, 25, 1, 10)) is None  # 01:10, the second time


times_of_day = st.times().map(lambda t: t.replace(microsecond=0))
quiet_hours = st.tuples(times_of_day, times_of_day).filter(lambda pair: pair[0] != pair[1])


@given(
    waits=st.lists(st.integers(1, 300), min_size=1, max_size=4),
    again=st.integers(1, 300),
    quiet=quiet_hours,
    level=st.sampled_from(["emergency", "urgent", "soon"]),
    start=st.datetimes(dt.datetime(2026, 1, 1), dt.datetime(2026, 12, 31)),
)
def test_the_ladders_promises(
    waits: list[int], again: int, quiet: tuple[dt.time, dt.time], level: str, start: dt.datetime
) -> None:
    """
    Whatever the settings: rungs in their order, nobody before their time, an emergency exactly
    at it, and what can wait never inside the quiet hours.
    """
    hours = {"from": quiet[0].isoformat(), "to": quiet[1].isoformat()}
    ladder = rules(*waits, again_minutes=again, quiet_hours=hours)

    steps = climbed(ladder, level, 2 * len(waits) + 1, start.replace(tzinfo=dt.UTC))

    assert [(s.round, s.rung) for _, s in steps] == [
        divmod(n, len(waits)) for n in range(len(steps))
    ]
    for (before, told), (at, _) in pairwise(steps):
        wait = again if told.rung == len(waits) - 1 else waits[told.rung]
        assert at - before >= dt.timedelta(minutes=wait)
        if level != "soon":
            assert at - before == dt.timedelta(minutes=wait)
    if level == "soon":
        clocks = [at.astimezone(ZoneInfo(LONDON)) for at, _ in steps]
        assert not any(_inside(clock, *quiet) for clock in clocks)


def _inside(clock: dt.datetime, first: dt.time, last: dt.time) -> bool:
    """Whether a clock shows a time in between; in a night of change it may show one twice."""
    offset = clock.utcoffset()
    if offset != (clock - dt.timedelta(days=1)).utcoffset():
        return False
    if offset != (clock + dt.timedelta(days=1)).utcoffset():
        return False
    now = clock.time()
    return first <= now < last if first < last else now >= first or now < last

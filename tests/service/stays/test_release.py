"""When sensitive facts may be told, on the house's clocks."""

from __future__ import annotations

import datetime as dt

import pytest
from dateutil import tz

from askhouse.values import House
from service.stays.release import at_local, fact_window, later_facts, open_facts, window
from service.stays.settings import FactRelease, StayRules
from service.tables import Stay
from tests.factories import make_fact, make_house
from tests.service.stays.conftest import utc


def house_in(timezone: str, check_out: dt.time = dt.time(10)) -> House:
    facts = (make_fact("door", sensitive=True), make_fact("bins"))
    return make_house(*facts, timezone=timezone, check_out=check_out)


def stay_of(first: str, last: str, **more: dt.datetime) -> Stay:
    return Stay(arrival=dt.date.fromisoformat(first), departure=dt.date.fromisoformat(last), **more)


def test_by_default_from_eight_until_check_out() -> None:
    """
    08:00 of arrival day until the house's check-out on departure day; the end is outside.
    """
    stay, house, rules = stay_of("2026-07-01", "2026-07-04"), house_in("Europe/Berlin"), StayRules()

    release = window(stay, house, rules)

    assert (release.start, release.end) == (utc(2026, 7, 1, 6), utc(2026, 7, 4, 8))
    assert release.holds(release.start)
    assert not release.holds(release.end)
    assert not release.holds(release.start - dt.timedelta(microseconds=1))


def test_a_house_may_say_otherwise() -> None:
    """
    A house's own times replace both ends.
    """
    rules = StayRules(release_from=dt.time(14, 30), release_until=dt.time(12))
    release = window(stay_of("2026-07-01", "2026-07-04"), house_in("Europe/London"), rules)

    assert (release.start, release.end) == (utc(2026, 7, 1, 13, 30), utc(2026, 7, 4, 11))


def test_stay_before_fact_before_house() -> None:
    """
    A fact's window replaces the house's, and a stay's replaces both; each end by itself.
    """
    rules = StayRules(release_facts={"door": FactRelease(from_=dt.time(12), days_before=2)})
    house = house_in("Europe/London")
    plain = stay_of("2026-07-03", "2026-07-05")
    own_end = stay_of("2026-07-03", "2026-07-05", release_until=utc(2026, 7, 5, 20))

    assert fact_window(plain, house, rules, "door").start == utc(2026, 7, 1, 11)
    assert fact_window(plain, house, rules, "garage") == window(plain, house, rules)
    assert fact_window(own_end, house, rules, "door").start == utc(2026, 7, 1, 11)
    assert fact_window(own_end, house, rules, "door").end == utc(2026, 7, 5, 20)


def test_a_window_that_ends_before_it_begins_is_never_open() -> None:
    """
    A mistake in a stay's times tells nothing to anybody.
    """
    stay = stay_of(
        "2026-07-01", "2026-07-04", release_from=utc(2026, 7, 4), release_until=utc(2026, 7, 1)
    )
    release = window(stay, house_in("Europe/London"), StayRules())

    assert not any(release.holds(utc(2026, 7, day)) for day in range(1, 6))


def test_later_facts_say_when() -> None:
    """
    Before the window a sensitive fact is named with its window; after its start it is open.
    """
    house, rules, stay = house_in("Europe/London"), StayRules(), stay_of("2026-07-01", "2026-07-04")

    before, within = utc(2026, 7, 1, 6, 59), utc(2026, 7, 1, 7)
    assert dict(later_facts(stay, house, rules, before)) == {"door": window(stay, house, rules)}
    assert open_facts(stay, house, rules, before) == frozenset()
    assert dict(later_facts(stay, house, rules, within)) == {}
    assert open_facts(stay, house, rules, within) == {"door"}


# Changes of clocks, as the tz database has them (europe, northamerica, australasia):
# - Europe/Berlin 2026: 29 March 02:00 → 03:00, 25 October 03:00 → 02:00, both at 01:00 UTC
# - America/New_York 2026: 8 March 02:00 → 03:00, 1 November 02:00 → 01:00
# - Australia/Lord_Howe 2026: 5 April 02:00 → 01:30 (half an hour), 4 October 02:00 → 02:30
@pytest.mark.parametrize(
    ("zone", "local", "expected"),
    [
        # The day of the change, after it: the new offset counts already.
        ("Europe/Berlin", "2026-03-29T08:00", "2026-03-29T06:00"),
        ("Europe/Berlin", "2026-10-25T08:00", "2026-10-25T07:00"),
        ("America/New_York", "2026-03-08T08:00", "2026-03-08T12:00"),
        ("America/New_York", "2026-11-01T08:00", "2026-11-01T13:00"),
        ("Australia/Lord_Howe", "2026-04-05T08:00", "2026-04-04T21:30"),
        ("Australia/Lord_Howe", "2026-10-04T08:00", "2026-10-03T21:00"),
        # In the gap: by the offset before it.
        ("Europe/Berlin", "2026-03-29T02:30", "2026-03-29T01:30"),
        ("America/New_York", "2026-03-08T02:30", "2026-03-08T07:30"),
        ("Australia/Lord_Howe", "2026-10-04T02:15", "2026-10-03T15:45"),
        # Twice: the first time.
        ("Europe/Berlin", "2026-10-25T02:30", "2026-10-25T00:30"),
        ("America/New_York", "2026-11-01T01:30", "2026-11-01T05:30"),
        ("Australia/Lord_Howe", "2026-04-05T01:45", "2026-04-04T14:45"),
        # The edges themselves.
        ("Europe/Berlin", "2026-03-29T01:59", "2026-03-29T00:59"),
        ("Europe/Berlin", "2026-03-29T03:00", "2026-03-29T01:00"),
        ("Europe/Berlin", "2026-10-25T03:00", "2026-10-25T02:00"),
        ("Australia/Lord_Howe", "2026-04-05T02:00", "2026-04-04T15:30"),
        ("Australia/Lord_Howe", "2026-10-04T02:30", "2026-10-03T15:30"),
    ],
)
def test_changes_of_clocks(zone: str, local: str, expected: str) -> None:
    """
    A local time around a change of clocks is the UTC time worked out from the tz database, and the
    one that a second implementation (dateutil) gives.
    """
    when = dt.datetime.fromisoformat(local)
    house = house_in(zone)

    found = at_local(when.date(), when.time(), house)

    assert found == dt.datetime.fromisoformat(expected).replace(tzinfo=dt.UTC)
    assert found == tz.resolve_imaginary(when.replace(tzinfo=tz.gettz(zone))).astimezone(dt.UTC)


@pytest.mark.parametrize(
    ("zone", "first", "last", "hours"),
    [
        ("Europe/Berlin", "2026-03-28", "2026-03-29", 25),  # 26 hours on the clock, one skipped
        ("Europe/Berlin", "2026-10-24", "2026-10-25", 27),
        ("America/New_York", "2026-03-07", "2026-03-08", 25),
        ("America/New_York", "2026-10-31", "2026-11-01", 27),
        ("Australia/Lord_Howe", "2026-10-03", "2026-10-04", 25.5),
        ("Australia/Lord_Howe", "2026-04-04", "2026-04-05", 26.5),
        ("Europe/Berlin", "2026-06-01", "2026-06-02", 26),
    ],
)
def test_a_night_with_a_change_of_clocks(zone: str, first: str, last: str, hours: float) -> None:
    """
    From 08:00 to 10:00 next day is as long as the clocks make it.
    """
    release = window(stay_of(first, last), house_in(zone), StayRules())

    assert release.end - release.start == dt.timedelta(hours=hours)

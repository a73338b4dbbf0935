"""Stays added, changed, cancelled, listed and found by number, on both databases."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import pytest
from sqlalchemy import select

from askhouse.values import House
from service.database import Database
from service.stays.drafts import Draft
from service.stays.errors import StayError, UnknownStayError
from service.stays.stays import (
    Done,
    Saved,
    When,
    add_stay,
    cancel_stay,
    change_stay,
    draft_of,
    list_stays,
    stays_of_number,
)
from service.tables import Stay
from tests.service.stays.conftest import utc

NOW = utc(2026, 6, 1, 12)
ADA = "+442079460018"


def draft(first: str = "07-01", last: str = "07-04", **more: Any) -> Draft:
    days = (dt.date.fromisoformat(f"2026-{day}") for day in (first, last))
    given = {"house": "quay-flat", "phones": (ADA,), **more}
    return Draft(arrival=next(days), departure=next(days), **given)


def add(database: Database, houses: Mapping[str, House], given: Draft) -> Saved:
    with database.writing() as session:
        return add_stay(session, given, houses, NOW)


def test_a_stay_is_kept_as_entered(database: Database, houses: Mapping[str, House]) -> None:
    """
    Names are trimmed, numbers are E.164 as the house's country dials them, each once.
    """
    given = draft(
        guests=(" Ada Winter ", "Ada Winter", ""),
        phones=("01512 3456789", "+49 1512 3456789", "+44 20 7946 0018"),
        door_code=" 5512 ",
        release_from=utc(2026, 6, 30, 18),
    )
    saved = add(database, houses, given)

    with database.reading() as session:
        stored = draft_of(session.get_one(Stay, saved.stay.id))
    assert saved.done is Done.ADDED
    assert stored.guests == ("Ada Winter",)
    assert sorted(stored.phones) == [ADA, "+4915123456789"]
    assert (stored.door_code, stored.release_from) == ("5512", utc(2026, 6, 30, 18))


def test_the_same_again_is_the_same_stay(database: Database, houses: Mapping[str, House]) -> None:
    """
    The same reference, or without one the same days, is the same stay; what differs is changed.
    """
    first = add(database, houses, draft())
    same = add(database, houses, draft())
    changed = add(database, houses, draft(phones=("+4915123456789",), door_code="5512"))
    other = add(database, houses, draft(reference="second booking"))

    assert (same.done, changed.done, other.done) == (Done.SAME, Done.CHANGED, Done.ADDED)
    assert first.stay.id == same.stay.id == changed.stay.id != other.stay.id
    assert [phone.number for phone in changed.stay.phones] == ["+4915123456789"]


@pytest.mark.parametrize(
    ("more", "fields"),
    [
        ({"house": "nowhere"}, ["house"]),
        ({"last": "07-01"}, ["departure"]),
        ({"last": "06-30"}, ["departure"]),
        ({"phones": (ADA, "123", "x")}, ["phones[1]", "phones[2]"]),
        ({"guests": ("Ada\x00",)}, ["guests[0]"]),
        ({"guests": ("\ud800",)}, ["guests[0]"]),
        ({"guests": ("a" * 201,)}, ["guests[0]"]),
        ({"guests": ("a",) * 31}, ["guests"]),
        ({"door_code": "1" * 33, "reference": "a\nb"}, ["door_code", "reference"]),
        ({"release_from": dt.datetime(2026, 7, 1)}, ["release_from"]),
        ({"release_until": utc(1, 1, 1)}, ["release_until"]),
    ],
)
def test_every_problem_at_once(
    database: Database, houses: Mapping[str, House], more: dict[str, Any], fields: list[str]
) -> None:
    """
    Each problem names its field and how to mend it, none repeats what was given, and nothing is
    stored.
    """
    with pytest.raises(StayError) as raised:
        add(database, houses, draft(**more))

    assert [problem.field for problem in raised.value.problems] == fields
    assert all(problem.what and problem.mend.endswith(".") for problem in raised.value.problems)
    assert "aaaa" not in str(raised.value)
    with database.reading() as session:
        assert session.scalars(select(Stay)).all() == []


def test_years_that_no_booking_has(houses: Mapping[str, House], database: Database) -> None:
    """
    A date that no clock could reckon with is refused, and so is a stay of years.
    """
    for days in (("0001-01-01", "0001-01-02"), ("9999-12-30", "9999-12-31")):
        arrival, departure = map(dt.date.fromisoformat, days)
        with pytest.raises(StayError, match="Check the year"):
            add(database, houses, Draft(house="quay-flat", arrival=arrival, departure=departure))
    with pytest.raises(StayError, match="more than 731 nights"):
        add(database, houses, replace(draft(), departure=dt.date(2029, 1, 1)))


def test_changing(database: Database, houses: Mapping[str, House]) -> None:
    """
    A stay becomes what is given, and keeps its house and reference.
    """
    stay_id = add(database, houses, draft(reference="K9")).stay.id
    with database.writing() as session:
        wanted = draft("08-01", "08-03", house="ferry-lodge", reference="other", guests=("Ben",))
        done = change_stay(session, stay_id, wanted, houses).done

    with database.reading() as session:
        stay = session.get_one(Stay, stay_id)
    assert done is Done.CHANGED
    assert (stay.house, stay.uid, stay.guests) == ("quay-flat", "K9", ["Ben"])
    assert stay.arrival == dt.date(2026, 8, 1)


def test_a_feeds_dates_are_the_feeds(database: Database, houses: Mapping[str, House]) -> None:
    """
    Dates of a stay from a feed cannot be changed here, since the feed would change them back; its
    numbers, code and window can. Its UID may be of any length.
    """
    stay_id = add(database, houses, draft()).stay.id
    with database.writing() as session:
        stay = session.get_one(Stay, stay_id)
        stay.feed, stay.uid = "bookings", "u" * 400
    with database.writing() as session, pytest.raises(StayError, match="come from the feed"):
        change_stay(session, stay_id, draft("07-02", "07-04"), houses)
    with database.writing() as session:
        assert change_stay(session, stay_id, draft(door_code="5"), houses).done is Done.CHANGED


def test_cancelling(database: Database, houses: Mapping[str, House]) -> None:
    """
    Cancelling twice keeps the first time; a cancelled stay is neither changed nor added again.
    """
    stay_id = add(database, houses, draft()).stay.id
    for when in (NOW + dt.timedelta(hours=1), NOW + dt.timedelta(hours=2)):
        with database.writing() as session:
            cancel_stay(session, stay_id, when)

    with database.reading() as session:
        assert session.get_one(Stay, stay_id).cancelled_at == NOW + dt.timedelta(hours=1)
    with pytest.raises(StayError, match="was cancelled"):
        add(database, houses, draft())
    with database.writing() as session, pytest.raises(StayError, match="was cancelled"):
        change_stay(session, stay_id, draft(), houses)


def test_no_such_stay(database: Database, houses: Mapping[str, House]) -> None:
    """
    An id of no stay says so.
    """
    with database.writing() as session, pytest.raises(UnknownStayError, match="no stay 4711"):
        cancel_stay(session, 4711, NOW)


def test_stays_of_a_number(database: Database, houses: Mapping[str, House]) -> None:
    """
    By arrival, of the houses asked for, without cancelled ones; another number has none.
    """
    later = add(database, houses, draft("08-01", "08-02")).stay.id
    first = add(database, houses, draft("07-01", "07-02", phones=("0151 23456789", ADA))).stay.id
    add(database, houses, draft("07-01", "07-02", house="ferry-lodge"))
    gone = add(database, houses, draft("09-01", "09-02")).stay.id
    with database.writing() as session:
        cancel_stay(session, gone, NOW)

    with database.reading() as session:
        assert [s.id for s in stays_of_number(session, ADA, ["quay-flat"])] == [first, later]
        assert stays_of_number(session, "+442079460029", ["quay-flat"]) == []
        assert stays_of_number(session, ADA, []) == []


@pytest.mark.parametrize(
    ("more", "found"),
    [
        ({}, ["over", "left today", "here", "tomorrow", "autumn"]),
        ({"when": When.PRESENT}, ["here"]),
        ({"when": When.COMING}, ["tomorrow", "autumn"]),
        ({"when": When.COMING, "days": 2}, ["tomorrow"]),
        ({"when": When.PAST}, ["over", "left today"]),
        ({"when": When.PAST, "days": 1}, ["left today"]),
        ({"cancelled": True}, ["over", "left today", "here", "gone", "tomorrow", "autumn"]),
        ({"number": ADA}, ["here"]),
    ],
)
def test_listing(
    database: Database, houses: Mapping[str, House], more: dict[str, Any], found: list[str]
) -> None:
    """
    Where a stay lies in time is told by check-in and check-out: at noon in Berlin who left at 10:00
    is past.
    """
    for name, first, last in (
        ("autumn", "10-01", "10-05"),
        ("tomorrow", "07-05", "07-08"),
        ("here", "07-02", "07-06"),
        ("left today", "07-01", "07-04"),
        ("over", "05-01", "05-04"),
        ("gone", "07-03", "07-06"),
    ):
        phones = (ADA,) if name == "here" else ()
        add(database, houses, draft(first, last, reference=name, phones=phones))
    with database.writing() as session:
        gone = session.scalars(select(Stay).where(Stay.uid == "gone")).one()
        cancel_stay(session, gone.id, NOW)

    with database.reading() as session:
        flat = {"quay-flat": houses["quay-flat"]}
        stays = list_stays(session, flat, utc(2026, 7, 4, 10), **more)
        assert [stay.uid for stay in stays] == found
        assert list_stays(session, {}, NOW, **more) == []


def test_two_processes_add_the_same(database: Database, houses: Mapping[str, House]) -> None:
    """
    Eight at once make one stay, and nobody fails.
    """
    barrier, done = threading.Barrier(8), []

    def enter() -> None:
        barrier.wait()
        done.append(add(database, houses, draft()).done)

    threads = [threading.Thread(target=enter) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert sorted(done) == [Done.ADDED, *[Done.SAME] * 7]

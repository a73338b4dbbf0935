"""What a feed's event says about its guests; the dates are held against RFC 5545 in
tests/outside/test_calendar.py."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from service.stays.bookings import Booking, Reading, read_calendar
from service.stays.settings import FeedSettings
from tests.factories import make_house

TODAY = dt.date(2026, 6, 1)


def read(*lines: str, **more: Any) -> Reading:
    """One event in July 2026, with these lines."""
    event = ("DTSTART;VALUE=DATE:20260701", "DTEND;VALUE=DATE:20260704")
    text = "\r\n".join(
        ("BEGIN:VCALENDAR", "BEGIN:VEVENT", "UID:1", *event, *lines, "END:VEVENT", "END:VCALENDAR")
    )
    feed = FeedSettings(name="bookings", url="file:///nowhere", **more)
    house = make_house(country="DE", timezone="Europe/Berlin", call_back="+49 30 5550123")
    return read_calendar(text.encode(), house, feed, TODAY)


def booking(*lines: str, **more: Any) -> Booking:
    (found,) = read(*lines, **more).bookings
    return found


@pytest.mark.parametrize(
    ("summary", "guests"),
    [
        ("Ada Winter", ("Ada Winter",)),
        ("  Ada   Winter ", ("Ada Winter",)),
        ("Reserved", ()),
        ("RESERVED - K9QX", ()),
        ("Booking 4711", ()),
        ("", ()),
    ],
)
def test_names(summary: str, guests: tuple[str, ...]) -> None:
    """
    A summary is the guest's name, unless it says only that the house is taken.
    """
    assert booking(f"SUMMARY:{summary}").guests == guests


def test_a_name_within_a_summary() -> None:
    """
    Where a feed puts more around the name, the operator says where it is.
    """
    pattern = r"guest: (?P<guest>[^(]+)"

    assert booking("SUMMARY:Guest: Ada Winter (2)", guest=pattern).guests == ("Ada Winter",)
    assert booking("SUMMARY:K9QX", guest=pattern).guests == ()
    assert booking("SUMMARY:Winter/2", guest=r"^\w+").guests == ("Winter",)


@pytest.mark.parametrize(
    "summary", ["Not available", "Quay Flat (Not available)", "BLOCKED", "Closed for painting"]
)
def test_blocked_days(summary: str) -> None:
    """
    Days that are kept free are no stay; they are counted.
    """
    reading = read(f"SUMMARY:{summary}")

    assert (reading.bookings, reading.blocked, reading.unread) == ((), 1, ())


def test_blocked_days_by_configuration() -> None:
    """
    An operator's own word for blocked days replaces the usual ones.
    """
    assert read("SUMMARY:Own use", blocked="^own use$").blocked == 1
    assert read("SUMMARY:Not available", blocked="^own use$").blocked == 0


@pytest.mark.parametrize(
    ("description", "phones"),
    [
        ("Phone: 01512 3456789", ("+4915123456789",)),
        ("Guests: 2\\nTelephone: +44 121 234 5678\\nNights: 3", ("+441212345678",)),
        (
            "PHONE NUMBER: 01512-3456789\\nMobile: 01512-3456780",
            ("+4915123456789", "+4915123456780"),
        ),
        # A number on a line that does not say what it is, or the end of one.
        ("Questions? 01512 3456789", ()),
        ("Phone (last 4 digits): 6789", ()),
        # The host's own: whoever calls from there is no guest.
        ("Host's phone: 030 5550123", ()),
        ("Phone: premium 0900 1234567", ()),
    ],
)
def test_numbers(description: str, phones: tuple[str, ...]) -> None:
    """
    Numbers come from lines that say that they are telephones, read as the country dials them.
    """
    assert booking(f"DESCRIPTION:{description}").phones == phones


def test_what_a_database_cannot_keep_is_left_out() -> None:
    """
    Control characters of a foreign file go nowhere.
    """
    assert booking("SUMMARY:Ada\x00 \x1bWinter\x7f").guests == ("Ada Winter",)


def test_an_unknown_zone_is_read_as_the_houses() -> None:
    """
    A TZID that nobody defines leaves the local time, which is then the house's own.
    """
    text = (
        b"\xef\xbb\xbfBEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nUID:1\r\n"
        b"DTSTART;TZID=Nowhere/Land:20260701T233000\r\nDTEND;TZID=Nowhere/Land:20260704T003000\r\n"
        b"END:VEVENT\r\nEND:VCALENDAR\r\n"
    )
    feed = FeedSettings(name="bookings", url="file:///nowhere")
    (found,) = read_calendar(text, make_house(timezone="Asia/Tokyo"), feed, TODAY).bookings

    assert (found.arrival, found.departure) == (dt.date(2026, 7, 1), dt.date(2026, 7, 4))

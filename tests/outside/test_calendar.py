"""Bookings of a feed, against RFC 5545 and RFC 5546.

Source: RFC 5545 (September 2009), the examples of the sections named at each test; summaries are
our own where the standard names an event of the world. RFC 5546 (December 2009), 3.2.5. Where an
example has no end, a duration of one day is put to it, so that a night lies in it.
"""

from __future__ import annotations

import datetime as dt

import pytest

from askhouse.values import House
from service.stays.bookings import BrokenCalendarError, Reading, read_calendar
from service.stays.settings import FeedSettings
from tests.factories import make_house

FEED = FeedSettings(name="bookings", url="file:///nowhere")


def read(
    *lines: str, timezone: str = "America/New_York", today: str = "1997-09-01", head: str = ""
) -> Reading:
    """The reading of one event, or of whole components."""
    events = list(lines)
    if not any(line.startswith("BEGIN:") for line in lines):
        events = ["BEGIN:VEVENT", "UID:1@example.com", *lines, "END:VEVENT"]
    text = [
        *("BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Example//EN"),
        *filter(None, [head]),
        *events,
        "END:VCALENDAR",
        "",
    ]
    house: House = make_house(timezone=timezone)
    content = "\r\n".join(text).encode()
    return read_calendar(content, house, FEED, dt.date.fromisoformat(today))


def days(reading: Reading) -> list[tuple[str, str]]:
    """First night and day of leaving of each booking."""
    assert reading.unread == ()
    return [(str(b.arrival), str(b.departure)) for b in reading.bookings]


def test_simple_object() -> None:
    """
    3.4: the first example of a calendar; 04:00 UTC is midnight in New York.
    """
    reading = read(
        "BEGIN:VEVENT",
        "UID:19970610T172345Z-AF23B2@example.com",
        "DTSTAMP:19970610T172345Z",
        "DTSTART:19970714T170000Z",
        "DTEND:19970715T040000Z",
        "SUMMARY:Summer party",
        "END:VEVENT",
    )

    assert days(reading) == [("1997-07-14", "1997-07-15")]
    assert reading.bookings[0].uid == "19970610T172345Z-AF23B2@example.com"
    assert reading.bookings[0].guests == ("Summer party",)


def test_all_day_end_is_exclusive() -> None:
    """
    3.6.1: from 28 June to 8 July inclusive is DTEND 9 July, which is the day of leaving.
    """
    reading = read("DTSTART;VALUE=DATE:20070628", "DTEND;VALUE=DATE:20070709", today="2007-06-01")

    assert days(reading) == [("2007-06-28", "2007-07-09")]


def test_a_date_without_an_end_is_one_day() -> None:
    """
    3.6.1: the anniversary of 2 November 1997 has no end, and takes one day.
    """
    assert days(read("DTSTART;VALUE=DATE:19971102")) == [("1997-11-02", "1997-11-03")]


def test_a_time_without_an_end_is_no_booking() -> None:
    """
    3.6.1: it ends when it starts.
    """
    assert days(read("DTSTART:19970714T133000")) == []


def test_a_meeting_is_no_booking() -> None:
    """
    3.6.1: a meeting from 16:30 to 19:00 has no night in it.
    """
    assert days(read("DTSTART:19970903T163000Z", "DTEND:19970903T190000Z")) == []


@pytest.mark.parametrize(
    "start",
    [
        "DTSTART:19970714T133000",
        "DTSTART:19970714T173000Z",
        "DTSTART;TZID=America/New_York:19970714T133000",
        "DtStart;TzID=America/New_York:19970714T133000",  # 3.5: names in any case
    ],
)
def test_three_forms_of_a_time(start: str) -> None:
    """
    3.3.5: 14 July 1997, 13:30 in New York, as local, UTC and zoned time.
    """
    assert days(read(start, "DURATION:P1D")) == [("1997-07-14", "1997-07-15")]


@pytest.mark.parametrize(
    ("line", "timezone", "arrival"),
    [
        # 3.3.5: 19 January 1998, 07:00 UTC; 02:00 in New York, 23:00 the day before further west.
        ("DTSTART:19980119T070000Z", "America/New_York", "1998-01-19"),
        ("DTSTART:19980119T070000Z", "America/Los_Angeles", "1998-01-18"),
        ("DTSTART;TZID=America/New_York:19980119T020000", "America/Los_Angeles", "1998-01-18"),
        # 3.3.5, form 1: floating is local wherever one is.
        ("DTSTART:19980118T230000", "America/New_York", "1998-01-18"),
        ("DTSTART:19980118T230000", "Pacific/Auckland", "1998-01-18"),
    ],
)
def test_a_time_falls_on_the_houses_day(line: str, timezone: str, arrival: str) -> None:
    """
    A zoned time is read on the house's clocks, a floating one is already.
    """
    (booking,) = read(line, "DURATION:P2D", timezone=timezone, today="1998-01-01").bookings

    assert str(booking.arrival) == arrival


def test_durations() -> None:
    """
    3.3.6: P15DT5H0M20S is fifteen days, five hours and twenty seconds; P7W is seven weeks.
    """
    assert days(read("DTSTART:19970901T180000", "DURATION:P15DT5H0M20S")) == [
        ("1997-09-01", "1997-09-16")
    ]
    assert days(read("DTSTART;VALUE=DATE:19970901", "DURATION:P7W")) == [
        ("1997-09-01", "1997-10-20")
    ]


def test_a_zone_defined_in_the_calendar() -> None:
    """
    3.6.5: the definition of New York's time by its rules since 1967, under a name of its own; 03:30
    UTC in July is 23:30 the day before.
    """
    zone = (
        *("BEGIN:VTIMEZONE", "TZID:House-Time", "LAST-MODIFIED:20050809T050000Z"),
        *("BEGIN:STANDARD", "DTSTART:19671029T020000", "RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=10"),
        *("TZOFFSETFROM:-0400", "TZOFFSETTO:-0500", "TZNAME:EST", "END:STANDARD"),
        *("BEGIN:DAYLIGHT", "DTSTART:19870405T020000", "RRULE:FREQ=YEARLY;BYDAY=1SU;BYMONTH=4"),
        *("TZOFFSETFROM:-0500", "TZOFFSETTO:-0400", "TZNAME:EDT", "END:DAYLIGHT"),
        "END:VTIMEZONE",
    )
    event = ("BEGIN:VEVENT", "UID:1", "DTSTART;TZID=House-Time:19970713T233000", "DURATION:P1D")

    reading = read(*zone, *event, "END:VEVENT", timezone="Etc/UTC")

    assert days(reading) == [("1997-07-14", "1997-07-15")]


def test_folded_lines() -> None:
    """
    3.1: "This is a lo ng description" folded in three is one line; 3.3.11: \\n and \\, in a text.
    """
    reading = read(
        "DTSTART;VALUE=DATE:20070628",
        "SUMMARY:This is a lo",
        " ng description",
        "  that exists on a long line\\, folded.",
        today="2007-06-01",
    )

    assert reading.bookings[0].guests == (
        "This is a long description that exists on a long line, folded.",
    )


def test_a_fold_within_a_character() -> None:
    """
    3.1: a fold is at octets, and may cut a multi-octet character in two.
    """
    line = "SUMMARY:Café Quay".encode()
    cut = line.index("é".encode()) + 1
    head = b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nUID:1\r\nDTSTART;VALUE=DATE:20070628\r\n"
    content = head + line[:cut] + b"\r\n " + line[cut:] + b"\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"

    (booking,) = read_calendar(content, make_house(), FEED, dt.date(2007, 6, 1)).bookings

    assert booking.guests == ("Café Quay",)


# --- cancelled and revised -----------------------------------------------------------------------


def test_cancelled_by_status() -> None:
    """
    3.8.1.11: STATUS:CANCELLED says that the event was cancelled.
    """
    reading = read("DTSTART;VALUE=DATE:19970901", "STATUS:CANCELLED")

    assert (reading.bookings, reading.cancelled) == ((), ("1@example.com",))


def test_cancelled_by_method() -> None:
    """
    RFC 5546, 3.2.5: METHOD:CANCEL cancels its events; with a METHOD an event may have no start
    (RFC 5545, 3.6.1).
    """
    dated = read("DTSTART;VALUE=DATE:19970901", head="METHOD:CANCEL")
    bare = read("SEQUENCE:1", head="METHOD:CANCEL")

    assert dated == bare
    assert (bare.bookings, bare.cancelled, bare.unread) == ((), ("1@example.com",), ())
    assert not bare.whole


def test_published_and_cancelled_in_one_stream() -> None:
    """
    3.4: a stream may hold several objects; RFC 5546, 3.2.5: the cancellation counts.
    """
    event = "BEGIN:VEVENT\r\nUID:{}\r\nDTSTART;VALUE=DATE:19970901\r\nEND:VEVENT\r\n"
    first = f"BEGIN:VCALENDAR\r\n{event.format('a')}{event.format('b')}END:VCALENDAR\r\n"
    second = f"BEGIN:VCALENDAR\r\nMETHOD:CANCEL\r\n{event.format('a')}END:VCALENDAR\r\n"

    reading = read_calendar((first + second).encode(), make_house(), FEED, dt.date(1997, 9, 1))

    assert [booking.uid for booking in reading.bookings] == ["b"]
    assert reading.cancels("a")
    assert not reading.cancels("b")


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 2, 0)])
def test_the_highest_sequence_counts(order: tuple[int, ...]) -> None:
    """
    3.8.7.4: each significant revision raises SEQUENCE, so the highest is the one that holds,
    wherever it stands.
    """
    revisions = [
        ["BEGIN:VEVENT", "UID:1", f"SEQUENCE:{n}", f"DTSTART;VALUE=DATE:1997090{n + 1}"]
        for n in range(3)
    ]
    lines = [line for n in order for line in (*revisions[n], "END:VEVENT")]

    assert days(read(*lines)) == [("1997-09-03", "1997-09-04")]


def test_the_later_stamp_counts_at_the_same_sequence() -> None:
    """
    RFC 5546, 2.1.5: of two with one SEQUENCE the later DTSTAMP is the newer.
    """
    event = ("BEGIN:VEVENT", "UID:1")
    newer = ("DTSTAMP:19970602T000000Z", "DTSTART;VALUE=DATE:19970910", "END:VEVENT")
    older = ("DTSTAMP:19970601T000000Z", "DTSTART;VALUE=DATE:19970901", "END:VEVENT")

    assert days(read(*event, *newer, *event, *older)) == [("1997-09-10", "1997-09-11")]


# --- series --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("start", "rule", "expected"),
    [
        (
            "19970902",
            "FREQ=WEEKLY;COUNT=10",
            "0902 0909 0916 0923 0930 1007 1014 1021 1028 1104",
        ),
        (
            "19970902",
            "FREQ=WEEKLY;UNTIL=19971224T000000Z",
            "0902 0909 0916 0923 0930 1007 1014 1021 1028 1104 1111 1118 1125 1202 1209 1216 1223",
        ),
        (
            "19970902",
            "FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH",
            "0902 0904 0909 0911 0916 0918 0923 0925 0930 1002",
        ),
        (
            "19970901",
            "FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR",
            "0901 0903 0905 0915 0917 0919 0929 1001 1003 1013 1015 1017 1027 1029 1031 1110 1112 "
            "1114 1124 1126 1128 1208 1210 1212 1222",
        ),
        (
            "19970902",
            "FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH",
            "0902 0904 0916 0918 0930 1002 1014 1016",
        ),
        (
            "19970905",
            "FREQ=MONTHLY;COUNT=10;BYDAY=1FR",
            "0905 1003 1107 1205 0102 0206 0306 0403 0501 0605",
        ),
        (
            "19970907",
            "FREQ=MONTHLY;INTERVAL=2;COUNT=10;BYDAY=1SU,-1SU",
            "0907 0928 1102 1130 0104 0125 0301 0329 0503 0531",
        ),
        ("19970922", "FREQ=MONTHLY;COUNT=6;BYDAY=-2MO", "0922 1020 1117 1222 0119 0216"),
        (
            "19970902",
            "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=2,15",
            "0902 0915 1002 1015 1102 1115 1202 1215 0102 0115",
        ),
        (
            "19970930",
            "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1",
            "0930 1001 1031 1101 1130 1201 1231 0101 0131 0201",
        ),
        ("19970904", "FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3", "0904 1007 1106"),
        ("19970805", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO", "0805 0810 0819 0824"),
        ("19970805", "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU", "0805 0817 0819 0831"),
    ],
)
def test_recurrence_rules(start: str, rule: str, expected: str) -> None:
    """
    3.8.5.3: each published expansion, as the arrivals of a series of bookings. The clocks change on
    26 October 1997, and 09:00 stays 09:00.
    """
    reading = read(f"DTSTART;TZID=America/New_York:{start}T090000", "DURATION:P1D", f"RRULE:{rule}")

    assert [f"{b.arrival:%m%d}" for b in reading.bookings] == expected.split()
    assert len({b.uid for b in reading.bookings}) == len(expected.split())


@pytest.mark.parametrize(
    ("start", "rule", "begins"),
    [
        (
            "19970902",
            "FREQ=WEEKLY;INTERVAL=2;WKST=SU",
            "0902 0916 0930 1014 1028 1111 1125 1209 1223 0106 0120 0203 0217",
        ),
        ("19970928", "FREQ=MONTHLY;BYMONTHDAY=-3", "0928 1029 1128 1229 0129 0226"),
        (
            "19970929",
            "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2",
            "0929 1030 1127 1230 0129 0226 0330",
        ),
    ],
)
def test_endless_rules(start: str, rule: str, begins: str) -> None:
    """
    3.8.5.3: a rule without an end begins as published, and is spread out no further than bookings
    are made.
    """
    reading = read(f"DTSTART;TZID=America/New_York:{start}T090000", "DURATION:P1D", f"RRULE:{rule}")
    arrivals = [b.arrival for b in reading.bookings]

    assert [f"{day:%m%d}" for day in arrivals][: len(begins.split())] == begins.split()
    assert dt.date(1999, 6, 1) < arrivals[-1] < dt.date(2000, 1, 1)


def test_a_day_that_a_month_has_not() -> None:
    """
    3.8.5.3: 30 February is skipped.
    """
    reading = read(
        "DTSTART;TZID=America/New_York:20070115T090000",
        "DURATION:P1D",
        "RRULE:FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5",
        today="2007-01-01",
    )

    assert [f"{b.arrival:%m%d}" for b in reading.bookings] == [
        "0115",
        "0130",
        "0215",
        "0315",
        "0330",
    ]


def test_dates_added_and_taken_out() -> None:
    """
    3.8.5.2: RDATE adds (some of its dates of 1997); 3.8.5.1: EXDATE takes out, and goes before it.
    """
    reading = read(
        "DTSTART;VALUE=DATE:19970101",
        "RDATE;VALUE=DATE:19970101,19970120,19970217,19970421,",
        " 19970526,19970704,19970901,19971014,19971128,19971129,19971225",
        "EXDATE;VALUE=DATE:19970704,19971225",
        today="1997-01-01",
    )

    assert [f"{b.arrival:%m%d}" for b in reading.bookings] == (
        ["0101", "0120", "0217", "0421", "0526", "0901", "1014", "1128", "1129"]
    )


def test_one_of_a_series_moved_and_one_cancelled() -> None:
    """
    3.8.4.4: RECURRENCE-ID names one occurrence, which keeps its name where it is moved; 3.8.1.11
    cancels one alone.
    """
    series = ("BEGIN:VEVENT", "UID:1", "DTSTART;VALUE=DATE:19970901", "RRULE:FREQ=WEEKLY;COUNT=4")
    moved = ("UID:1", "RECURRENCE-ID;VALUE=DATE:19970908", "DTSTART;VALUE=DATE:19970910")
    off = ("UID:1", "RECURRENCE-ID;VALUE=DATE:19970915", "DTSTART;VALUE=DATE:19970915")

    reading = read(
        *(*series, "END:VEVENT"),
        *("BEGIN:VEVENT", *moved, "END:VEVENT"),
        *("BEGIN:VEVENT", *off, "STATUS:CANCELLED", "END:VEVENT"),
    )

    assert {b.uid: str(b.arrival) for b in reading.bookings} == {
        "1/19970901": "1997-09-01",
        "1/19970908": "1997-09-10",
        "1/19970922": "1997-09-22",
    }
    assert reading.cancelled == ("1/19970915",)


def test_a_whole_series_cancelled() -> None:
    """
    RFC 5546, 3.2.5: a cancellation without a RECURRENCE-ID cancels every occurrence.
    """
    reading = read("SEQUENCE:2", head="METHOD:CANCEL")

    assert reading.cancels("1@example.com/19970908")
    assert not reading.cancels("11@example.com")


# --- broken --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "does not begin"),
        (b"<html><title>Sign in</title></html>", "does not begin"),
        (b"BEGIN:VEVENT\r\nEND:VEVENT\r\n", "does not begin"),  # 3.4: VCALENDAR is outermost
        (b"BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nUID:1\r\n", "cut off"),
        (b"BEGIN:VCALENDAR\r\nSUMMARY:caf\xe9\r\nEND:VCALENDAR\r\n", "UTF-8"),  # 3.1.4
        (b"BEGIN:VCALENDAR\r\nkestrel mill\r\nEND:VCALENDAR\r\n", "cannot be read"),
    ],
)
def test_no_calendar(content: bytes, said: str) -> None:
    """
    What is no whole iCalendar object is refused as a whole, and nothing of it is repeated.
    """
    with pytest.raises(BrokenCalendarError, match=said) as raised:
        read_calendar(content, make_house(), FEED, dt.date(2007, 6, 1))
    assert "kestrel" not in str(raised.value)
    assert raised.value.__cause__ is None


@pytest.mark.parametrize(
    "line",
    [
        "DTSTART:19980119T230000-0800",  # 3.3.5: not valid
        "DTSTART;VALUE=DATE:1998011",
        "DTSTART;VALUE=DATE:19980230",
        "SUMMARY:no start",
        "DTSTART;VALUE=DATE:00010101",
        "DTSTART;VALUE=DATE:19980119\r\nDTEND;VALUE=DATE:19980118",
        "DTSTART;VALUE=DATE:19980119\r\nRRULE:FREQ=SECONDLY",
        "DTSTART;VALUE=DATE:19980119\r\nRRULE:FREQ=NEVER",
        "DTSTART;VALUE=DATE:19980119\r\nDURATION:eternal",
    ],
)
def test_an_event_that_cannot_be_read(line: str) -> None:
    """
    It is named by its UID, and the others are read all the same.
    """
    reading = read(
        *("BEGIN:VEVENT", "UID:broken", *line.split("\r\n"), "END:VEVENT"),
        *("BEGIN:VEVENT", "UID:whole", "DTSTART;VALUE=DATE:19980119", "END:VEVENT"),
        today="1998-01-01",
    )

    assert [booking.uid for booking in reading.bookings] == ["whole"]
    assert reading.unread == ("broken",)
    assert reading.holds_unread("broken")


def test_an_event_without_a_uid() -> None:
    """
    3.8.4.7: it must have one; without it cannot be told what it was, and it names no stay.
    """
    reading = read("BEGIN:VEVENT", "DTSTART;VALUE=DATE:19980119", "END:VEVENT", today="1998-01-01")

    assert reading.unread == ("",)
    assert not reading.holds_unread("anything")

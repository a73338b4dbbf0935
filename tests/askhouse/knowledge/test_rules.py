"""Recurring days against the examples of RFC 5545, and their words."""

from __future__ import annotations

import datetime as dt
from itertools import islice

import pytest
from pydantic_core import PydanticCustomError

from askhouse.knowledge.country_words import CountryWords
from askhouse.knowledge.rules import UNDERSTOOD, join, parsed_rule

GB = CountryWords("GB")


def days(year: int, *months: tuple[int, str]) -> list[dt.date]:
    """`days(1997, (9, "2 9"))` → 2 and 9 September 1997."""
    return [dt.date(year, month, int(day)) for month, listed in months for day in listed.split()]


def rule(rrule: str, start: str) -> str:
    return f"DTSTART;TZID=America/New_York:{start}T090000\nRRULE:{rrule}"


# RFC 5545 (September 2009), 3.8.5.3, DTSTART in America/New_York at nine in the morning: rule,
# start, published days (the first of them where the rule never ends), and our words.
PUBLISHED = [
    (
        "FREQ=WEEKLY;COUNT=10",
        "19970902",
        days(1997, (9, "2 9 16 23 30"), (10, "7 14 21 28"), (11, "4")),
        "every Tuesday, 10 times in all",
    ),
    (
        "FREQ=WEEKLY;UNTIL=19971224T000000Z",
        "19970902",
        days(1997, (9, "2 9 16 23 30"), (10, "7 14 21 28"), (11, "4 11 18 25"), (12, "2 9 16 23")),
        "every Tuesday, until 23 December 1997",
    ),
    (
        "FREQ=WEEKLY;INTERVAL=2;WKST=SU",
        "19970902",
        days(1997, (9, "2 16 30"), (10, "14 28"), (11, "11 25"), (12, "9 23"))
        + days(1998, (1, "6 20"), (2, "3 17")),
        "every second Tuesday (counting from 2 September 1997)",
    ),
    (
        "FREQ=WEEKLY;COUNT=10;WKST=SU;BYDAY=TU,TH",
        "19970902",
        days(1997, (9, "2 4 9 11 16 18 23 25 30"), (10, "2")),
        "every Tuesday and Thursday, 10 times in all",
    ),
    (
        "FREQ=WEEKLY;INTERVAL=2;UNTIL=19971224T000000Z;WKST=SU;BYDAY=MO,WE,FR",
        "19970901",
        days(
            1997,
            (9, "1 3 5 15 17 19 29"),
            (10, "1 3 13 15 17 27 29 31"),
            (11, "10 12 14 24 26 28"),
            (12, "8 10 12 22"),
        ),
        "every second week on Monday, Wednesday and Friday (counting from 1 September 1997, "
        "weeks beginning on Sunday), until 23 December 1997",
    ),
    (
        "FREQ=WEEKLY;INTERVAL=2;COUNT=8;WKST=SU;BYDAY=TU,TH",
        "19970902",
        days(1997, (9, "2 4 16 18 30"), (10, "2 14 16")),
        "every second week on Tuesday and Thursday (counting from 2 September 1997, "
        "weeks beginning on Sunday), 8 times in all",
    ),
    (
        "FREQ=MONTHLY;COUNT=10;BYDAY=1FR",
        "19970905",
        days(1997, (9, "5"), (10, "3"), (11, "7"), (12, "5"))
        + days(1998, (1, "2"), (2, "6"), (3, "6"), (4, "3"), (5, "1"), (6, "5")),
        "the first Friday of every month, 10 times in all",
    ),
    (
        "FREQ=MONTHLY;INTERVAL=2;COUNT=10;BYDAY=1SU,-1SU",
        "19970907",
        days(1997, (9, "7 28"), (11, "2 30")) + days(1998, (1, "4 25"), (3, "1 29"), (5, "3 31")),
        "the first Sunday and the last Sunday of every second month "
        "(counting from 7 September 1997), 10 times in all",
    ),
    (
        "FREQ=MONTHLY;COUNT=6;BYDAY=-2MO",
        "19970922",
        days(1997, (9, "22"), (10, "20"), (11, "17"), (12, "22"))
        + days(1998, (1, "19"), (2, "16")),
        "the second-to-last Monday of every month, 6 times in all",
    ),
    (
        "FREQ=MONTHLY;BYMONTHDAY=-3",
        "19970928",
        days(1997, (9, "28"), (10, "29"), (11, "28"), (12, "29"))
        + days(1998, (1, "29"), (2, "26")),
        "the third-to-last day of every month",
    ),
    (
        "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=2,15",
        "19970902",
        days(1997, (9, "2 15"), (10, "2 15"), (11, "2 15"), (12, "2 15")) + days(1998, (1, "2 15")),
        "the 2nd and the 15th of every month, 10 times in all",
    ),
    (
        "FREQ=MONTHLY;COUNT=10;BYMONTHDAY=1,-1",
        "19970930",
        days(1997, (9, "30"), (10, "1 31"), (11, "1 30"), (12, "1 31"))
        + days(1998, (1, "1 31"), (2, "1")),
        "the 1st and the last day of every month, 10 times in all",
    ),
    # a week that begins on another day makes other days
    (
        "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=MO",
        "19970805",
        days(1997, (8, "5 10 19 24")),
        "every second week on Tuesday and Sunday (counting from 5 August 1997, "
        "weeks beginning on Monday), 4 times in all",
    ),
    (
        "FREQ=WEEKLY;INTERVAL=2;COUNT=4;BYDAY=TU,SU;WKST=SU",
        "19970805",
        days(1997, (8, "5 17 19 31")),
        "every second week on Tuesday and Sunday (counting from 5 August 1997, "
        "weeks beginning on Sunday), 4 times in all",
    ),
    # 30 February is skipped
    (
        "FREQ=MONTHLY;BYMONTHDAY=15,30;COUNT=5",
        "20070115",
        days(2007, (1, "15 30"), (2, "15"), (3, "15 30")),
        "the 15th and the 30th of every month, 5 times in all",
    ),
]


@pytest.mark.parametrize(("rrule", "start", "published", "words"), PUBLISHED)
def test_the_days_are_those_of_rfc_5545(
    rrule: str, start: str, published: list[dt.date], words: str
) -> None:
    """
    A rule falls on the days the standard prints for it; one that ends, on no others.
    """
    parsed = parsed_rule(rule(rrule, start))
    ends = "COUNT" in rrule or "UNTIL" in rrule

    found = list(parsed.days()) if ends else list(islice(parsed.days(), len(published)))

    assert found == published


@pytest.mark.parametrize(("rrule", "start", "published", "words"), PUBLISHED)
def test_the_words_say_the_same(
    rrule: str, start: str, published: list[dt.date], words: str
) -> None:
    """
    A rule is said in one sentence from which a guest can work out the days.
    """
    assert parsed_rule(rule(rrule, start)).words(GB) == words


# RFC 5545, 3.8.5.3 as well: right rules that a short sentence cannot say.
@pytest.mark.parametrize(
    "rrule",
    [
        "FREQ=MONTHLY;COUNT=3;BYDAY=TU,WE,TH;BYSETPOS=3",
        "FREQ=MONTHLY;BYDAY=MO,TU,WE,TH,FR;BYSETPOS=-2",
        "FREQ=YEARLY;INTERVAL=2;COUNT=10;BYMONTH=1,2,3",
        "FREQ=YEARLY;BYDAY=20MO",
        "FREQ=MONTHLY;BYDAY=FR;BYMONTHDAY=13",
        "FREQ=HOURLY;INTERVAL=3;UNTIL=19970902T170000Z",
        "FREQ=MONTHLY;BYDAY=TU",
    ],
)
def test_a_rule_that_cannot_be_said_is_told_with_the_forms_that_can(rrule: str) -> None:
    """
    A rule beyond plain words is refused, and the problem lists what is understood.
    """
    with pytest.raises(PydanticCustomError) as raised:
        parsed_rule(rule(rrule, "19970902"))

    assert UNDERSTOOD in str((raised.value.context or {})["mend"])


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("RRULE:FREQ=WEEKLY;INTERVAL=2;BYDAY=TU", "needs a DTSTART"),
        ("RRULE:FREQ=WEEKLY", "needs a DTSTART"),
        ("RRULE:FREQ=WEEKLY;COUNT=3;BYDAY=TU", "needs a DTSTART"),
        ("DTSTART:20260230\nRRULE:FREQ=DAILY", "not in the calendar"),
        ("DTSTART:6 Jan\nRRULE:FREQ=DAILY", "start that is not a date"),
        ("DTSTART;TZID=Europe/Lundon:20260106\nRRULE:FREQ=DAILY", "time zone that is not known"),
        ("RRULE:FREQ=WEEKLY;BYDAY=XX", "BYDAY"),
        ("RRULE:FREQ=WEEKLY;BYDAY=TU;INTERVAL=0", "INTERVAL"),
        ("RRULE:FREQ=WEEKLY;BYDAY=TU;FREQ=DAILY", "is not a rule"),
        ("RRULE:FREQ=MONTHLY;BYMONTHDAY=32", "BYMONTHDAY"),
        ("RRULE:FREQ=WEEKLY;BYDAY=TU;WKST=XX", "WKST"),
        ("RRULE:FREQ=WEEKLY;BYDAY=TU;UNTIL=2026", "UNTIL"),
        ("RRULE:BYDAY=TU", "cannot be said"),
        ("RRULE:FREQ=WEEKLY;BYDAY=TU\nRRULE:FREQ=DAILY", "must be one rule"),
        ("every tuesday", "is not a rule"),
        # RFC 5545, 3.3.10: UNTIL has the kind of DTSTART
        ("DTSTART:20260106\nRRULE:FREQ=DAILY;UNTIL=20260201T000000Z", "is not a rule"),
    ],
)
def test_what_is_no_rule_is_told(text: str, what: str) -> None:
    """
    A slip in a rule is refused with the part that is wrong.
    """
    with pytest.raises(PydanticCustomError) as raised:
        parsed_rule(text)

    assert what in str((raised.value.context or {})["what"])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("RRULE:FREQ=WEEKLY;BYDAY=TU", "every Tuesday"),
        ("FREQ=WEEKLY;BYDAY=SA,MO", "every Monday and Saturday"),
        ("RRULE:FREQ=DAILY", "every day"),
        ("RRULE:FREQ=WEEKLY;BYDAY=MO,TU,WE,TH,FR,SA,SU", "every day"),
        (
            "RRULE:FREQ=MONTHLY;BYMONTHDAY=1,11,22,23",
            "the 1st, the 11th, the 22nd and the 23rd of every month",
        ),
        ("rrule:freq=weekly;byday=tu", "every Tuesday"),
        (
            "DTSTART:20260106\nRRULE:FREQ=WEEKLY;INTERVAL=2;BYDAY=TU",
            "every second Tuesday (counting from 6 January 2026)",
        ),
        # the start is not a day of the rule: it counts from the first that is
        (
            "DTSTART;VALUE=DATE:20260105\nRRULE:FREQ=WEEKLY;INTERVAL=3;BYDAY=TU",
            "every third Tuesday (counting from 6 January 2026)",
        ),
        (
            "DTSTART:20260106\nRRULE:FREQ=DAILY;INTERVAL=10",
            "every 10th day (counting from 6 January 2026)",
        ),
        ("DTSTART:20260115\nRRULE:FREQ=MONTHLY", "the 15th of every month"),
        ("RRULE:FREQ=WEEKLY;BYDAY=TU;UNTIL=20261231", "every Tuesday, until 31 December 2026"),
    ],
)
def test_a_host_s_rules_read_as_sentences(text: str, words: str) -> None:
    """
    Rules with and without start, in either case of letters, are said plainly.
    """
    assert parsed_rule(text).words(GB) == words


def test_the_date_is_said_as_the_country_does() -> None:
    """
    The day from which one counts is in the order of the house's country.
    """
    parsed = parsed_rule("DTSTART:20260106\nRRULE:FREQ=WEEKLY;INTERVAL=2;BYDAY=TU")

    words = parsed.words(CountryWords("US"))

    assert words == "every second Tuesday (counting from January 6, 2026)"


# Python's isocalendar: 2026 has 53 weeks, so that "odd weeks" come twice in a row at its end.
def test_every_second_week_goes_on_over_a_year_of_53_weeks() -> None:
    """
    A fortnight stays a fortnight over New Year, where odd and even weeks would break.
    """
    parsed = parsed_rule("DTSTART:20261215\nRRULE:FREQ=WEEKLY;INTERVAL=2;BYDAY=TU")

    first, second, third = islice(parsed.days(), 3)

    assert [first, second, third] == days(2026, (12, "15 29")) + days(2027, (1, "12"))
    assert [day.isocalendar().week for day in (first, second, third)] == [51, 53, 2]


def test_words_are_joined_as_in_a_sentence() -> None:
    """
    The last of several words has "and" before it, and no comma.
    """
    assert join(["a"]) == "a"
    assert join(["a", "b"]) == "a and b"
    assert join(["a", "b", "c"], "the ") == "a, the b and the c"

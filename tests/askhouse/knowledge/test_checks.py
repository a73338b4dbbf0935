"""What single fields accept, against published forms where there are any."""

from __future__ import annotations

import datetime as dt

import pytest
from pydantic_core import PydanticCustomError

from askhouse.knowledge.checks import (
    checked_country,
    checked_date,
    checked_emergency_number,
    checked_id,
    checked_phone,
    checked_time,
    checked_timezone,
    checked_url,
    in_emergency_plan,
    is_valid_phone,
    media_start_s,
    season_day,
)


@pytest.mark.parametrize(
    ("text", "time"),
    [
        ("00:00", dt.time(0)),
        ("16:00", dt.time(16)),
        ("23:59", dt.time(23, 59)),
        # the twelve-hour clock, with its two noons
        ("4:00 pm", dt.time(16)),
        ("12:00 am", dt.time(0)),
        ("12:30 PM", dt.time(12, 30)),
        ("11:00 a.m.", dt.time(11)),
    ],
)
def test_a_time_of_day_is_read(text: str, time: dt.time) -> None:
    """
    HH:MM is a time, and so is a twelve-hour time that says am or pm.
    """
    assert checked_time(text) == time


@pytest.mark.parametrize(
    "text", ["24:00", "9:00", "16.00", "4 pm", "13:00 pm", "0:30 am", "noon", "16:60", ""]
)
def test_what_may_be_misread_is_no_time(text: str) -> None:
    """
    Without two digits, a colon and a possible minute, a time is asked for again.
    """
    with pytest.raises(PydanticCustomError, match="is not a time"):
        checked_time(text)


@pytest.mark.parametrize("text", ["a", "front-door-lock", "2nd-floor", "112"])
def test_an_id_is_lower_case_with_hyphens(text: str) -> None:
    """
    Letters, digits and single hyphens make an id.
    """
    assert checked_id(text) == text


@pytest.mark.parametrize("text", ["", "Front-door", "front door", "-a", "a-", "a--b", "tür", "a_b"])
def test_anything_else_is_no_id(text: str) -> None:
    """
    Capitals, spaces, underscores and hyphens at the ends make no id.
    """
    with pytest.raises(PydanticCustomError, match="lower-case letters"):
        checked_id(text)


def test_dates_are_days_of_the_calendar() -> None:
    """
    A date is a day that exists, written as in ISO 8601.
    """
    assert checked_date("2024-02-29") == dt.date(2024, 2, 29)
    for text in ("2025-02-29", "14.3.2026", "2026-3-14", "20260314"):
        with pytest.raises(PydanticCustomError, match="is not a date"):
            checked_date(text)


def test_a_season_day_comes_back_or_not() -> None:
    """
    Month and day come back every year, also 29 February; a full date is that day alone.
    """
    assert season_day("02-29") == (dt.date(2000, 2, 29), True)
    assert season_day("2026-11-01") == (dt.date(2026, 11, 1), False)
    with pytest.raises(PydanticCustomError, match="is not a day of a season"):
        season_day("13-01")


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("UK", "Did you mean GB"),
        ("gb", "Did you mean GB"),
        ("Greece", "Did you mean GR"),
        ("Germny", "Did you mean DE"),
        # codes of CLDR and the European Union that are no countries of ISO 3166-1
        ("EU", "ISO 3166-1"),
        ("XK", "ISO 3166-1"),
    ],
)
def test_a_country_is_its_iso_code(text: str, hint: str) -> None:
    """
    Only the two capitals of ISO 3166-1 are a country; what was probably meant is named.
    """
    with pytest.raises(PydanticCustomError) as raised:
        checked_country(text)

    assert hint in str((raised.value.context or {})["mend"])


def test_there_are_as_many_countries_as_in_iso_3166_1() -> None:
    """
    ISO 3166-1 has 249 officially assigned codes (iso.org, Country Codes, since South Sudan 2011).
    """
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    found = 0
    for code in (a + b for a in letters for b in letters):
        try:
            found += checked_country(code) == code
        except PydanticCustomError:
            continue

    assert found == 249


def test_a_time_zone_is_its_iana_name() -> None:
    """
    A town alone, or a misspelt zone, is told with the zone that was probably meant.
    """
    assert checked_timezone("Europe/London") == "Europe/London"
    for text, meant in (("Athens", "Europe/Athens"), ("Europe/Lundon", "Europe/London")):
        with pytest.raises(PydanticCustomError) as raised:
            checked_timezone(text)
        assert f'Did you mean "{meant}"?' in str((raised.value.context or {})["mend"])


# Usual advice by country; every number is in the country's pattern of libphonenumber's
# ShortNumberMetadata.xml (google/libphonenumber@f7e3e88). 150 and 190 are Morocco's in practice.
@pytest.mark.parametrize(
    ("country", "numbers"),
    [
        ("US", "911 112"),
        ("CA", "911"),
        ("GB", "999 112"),
        ("IE", "112 999"),
        ("FR", "112 15 17 18"),
        ("DE", "112 110"),
        ("NO", "110 112 113"),
        ("CH", "112 117 118 144"),
        ("AU", "000 112"),
        ("NZ", "111"),
        ("JP", "119 110"),
        ("ZA", "10111 10177 112"),
        ("TH", "191 1669"),
        ("MA", "19 15 150 190"),
    ],
)
def test_published_emergency_numbers_are_accepted(country: str, numbers: str) -> None:
    """
    What a guest is told to dial in a country is accepted for a house in it.
    """
    for number in numbers.split():
        assert checked_emergency_number(number, country) == number
        assert in_emergency_plan(number, country)


# In the United Kingdom 111 is health advice without urgency; in New Zealand it is the number.
@pytest.mark.parametrize(
    ("country", "number"),
    [("GB", "111"), ("GB", "911"), ("DE", "911"), ("NZ", "999"), ("AU", "911")],
)
def test_a_number_of_another_country_is_refused(country: str, number: str) -> None:
    """
    A number that reaches no help in the house's country never becomes its emergency number.
    """
    with pytest.raises(PydanticCustomError, match="is no emergency number in"):
        checked_emergency_number(number, country)


def test_112_is_taken_everywhere_though_not_in_every_plan() -> None:
    """
    Every mobile phone takes 112 for an emergency call; a plan without it is a doubt, no error.
    """
    assert checked_emergency_number("112", "MA") == "112"
    assert not in_emergency_plan("112", "MA")


def test_two_numbers_are_not_one() -> None:
    """
    The field holds what a guest dials, so that it can be dialled.
    """
    with pytest.raises(PydanticCustomError, match="is not one number"):
        checked_emergency_number("112 or 110", "DE")


# Example numbers of google/libphonenumber@f7e3e88:resources/PhoneNumberMetadata.xml, in the form
# dialled in the country → E.164. Italy keeps its 0; the national prefix goes elsewhere.
@pytest.mark.parametrize(
    ("country", "dialled", "e164"),
    [
        ("US", "(201) 555-0123", "+12015550123"),
        ("US", "1 201 555 0123", "+12015550123"),
        ("GB", "0121 234 5678", "+441212345678"),
        ("GB", "07400 123456", "+447400123456"),
        ("IE", "022 12345", "+3532212345"),
        ("FR", "01 23 45 67 89", "+33123456789"),
        ("DE", "030 123456", "+4930123456"),
        ("ES", "810 12 34 56", "+34810123456"),
        ("IT", "02 1234 5678", "+390212345678"),
        ("AU", "(02) 1234 5678", "+61212345678"),
        ("NZ", "03 234 5678", "+6432345678"),
        ("JP", "03-1234-5678", "+81312345678"),
        ("ZA", "010 123 4567", "+27101234567"),
        ("BR", "(11) 2345-6789", "+551123456789"),
        # a number with its country code is the same anywhere
        ("US", "+44 121 234 5678", "+441212345678"),
    ],
)
def test_phone_numbers_are_kept_in_e164(country: str, dialled: str, e164: str) -> None:
    """
    A number as dialled in the country is kept with its country code, at most 15 digits (E.164).
    """
    assert checked_phone(dialled, country) == e164
    assert is_valid_phone(e164)


@pytest.mark.parametrize("text", ["call me", "12", "+44 1", "+1 201 555 0123 0123 0123", ""])
def test_what_cannot_be_dialled_is_no_phone_number(text: str) -> None:
    """
    Words, and numbers too long or too short for any plan, are refused.
    """
    with pytest.raises(PydanticCustomError):
        checked_phone(text, "GB")


# Ofcom's numbers for drama and NANPA's for fiction.
@pytest.mark.parametrize("e164", ["+447700900412", "+442079460123", "+12015550199"])
def test_numbers_kept_for_fiction_are_no_doubt(e164: str) -> None:
    """
    An invented house may have a number that belongs to no one.
    """
    assert is_valid_phone(e164)


# W3C Media Fragments URI 1.0, 4.2.1 (Normal Play Time), with the values it means in seconds.
@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("10", 10.0),
        ("npt:10", 10.0),
        ("121.5", 121.5),
        ("02:01.5", 121.5),
        ("0:02:00", 120.0),
        ("10:02:00", 36120.0),
        ("npt:0:02:01.5", 121.5),
        # as a player shows it
        ("1:30", 90.0),
    ],
)
def test_a_start_is_normal_play_time(text: str, seconds: float) -> None:
    """
    Seconds, minutes:seconds and hours:minutes:seconds are the same moment in a film.
    """
    assert media_start_s(text) == seconds


@pytest.mark.parametrize("text", ["1:5", "1:60", "61:00", "1:2:03:04", "-1", "1m30s", "10,20", ""])
def test_anything_else_is_no_start(text: str) -> None:
    """
    Minutes and seconds go up to 59, and a start is one moment.
    """
    with pytest.raises(PydanticCustomError, match="is not a time in a film"):
        media_start_s(text)


def test_links_are_https_and_carry_no_start() -> None:
    """
    A link is whole and encrypted; a fragment would hide a start.
    """
    assert checked_url("https://media.example/a.mp4?b=c") == "https://media.example/a.mp4?b=c"
    for text in ("http://media.example", "media.example", "https://a.example/#t=5", "https://x"):
        with pytest.raises(PydanticCustomError, match="is not a link"):
            checked_url(text)

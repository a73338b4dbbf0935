"""What a single field of a house file must hold to be right.

Each check takes what the host wrote and gives the value, or says what is
wrong and how to mend it. Nothing here knows files; `schema.py` puts the
checks to the fields.
"""

from __future__ import annotations

import datetime as dt
import re
import zoneinfo
from collections.abc import Mapping
from functools import cache

import phonenumbers
from babel import Locale
from phonenumbers import PhoneMetadata, shortnumberinfo
from pydantic_core import PydanticCustomError

from askhouse.knowledge.near import did_you_mean, nearest

__all__ = [
    "amiss",
    "checked_country",
    "checked_date",
    "checked_emergency_number",
    "checked_id",
    "checked_phone",
    "checked_text",
    "checked_time",
    "checked_timezone",
    "checked_url",
    "country_name",
    "in_emergency_plan",
    "is_valid_phone",
    "media_start_s",
    "season_day",
]


def amiss(what: str, mend: str) -> PydanticCustomError:
    """The error that the schema turns into a Problem: the rest of a sentence, and a sentence."""
    return PydanticCustomError("host", "{what}", {"what": what, "mend": mend})


def checked_text(text: str) -> str:
    """The text without blank ends; an empty one is amiss."""
    stripped = text.strip()
    if not stripped:
        raise amiss("is empty.", "")
    return stripped


def checked_id(text: str) -> str:
    """A name in lower case, digits and hyphens, as facts, notes and houses have."""
    if not re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", text):
        # A made-up suggestion would repeat what was written, which may be a secret in the
        # wrong place.
        raise amiss(
            "is not a name of lower-case letters, digits and single hyphens.",
            "Write it like front-door-lock.",
        )
    return text


def checked_time(text: str) -> dt.time:
    """`16:00` → four in the afternoon; `4:00 pm` as well, since no one can misread it."""
    found = re.fullmatch(r"([01][0-9]|2[0-3]):([0-5][0-9])", text)
    if found:
        return dt.time(int(found[1]), int(found[2]))
    found = re.fullmatch(r"(0?[1-9]|1[0-2]):([0-5][0-9]) ?([ap])\.?m\.?", text.lower())
    if not found:
        raise amiss("is not a time.", 'Write it as HH:MM on a 24-hour clock, such as "16:00".')
    return dt.time(int(found[1]) % 12 + (12 if found[3] == "p" else 0), int(found[2]))


def checked_date(value: object) -> object:
    """`2026-03-14` → that day (ISO 8601); what is not text is left for the schema to refuse."""
    if not isinstance(value, str):
        return value
    day = _iso_date(value)
    if day is None:
        raise amiss("is not a date.", "Write it as YYYY-MM-DD, such as 2026-03-14.")
    return day


def season_day(text: str) -> tuple[dt.date, bool]:
    """A day of a season, and whether it comes back every year.

    `11-01` → (1 November of the leap year 2000, True); `2026-11-01` → (that day, False).
    """
    yearly = re.fullmatch(r"[0-9]{2}-[0-9]{2}", text) is not None
    day = _iso_date(f"2000-{text}" if yearly else text)
    if day is None:
        raise amiss(
            "is not a day of a season.",
            'Write month and day ("11-01") for every year, or a full date ("2026-11-01").',
        )
    return day, yearly


def _iso_date(text: str) -> dt.date | None:
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        return None
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        return None


# Codes that CLDR, from which Babel's names come, keeps beside those of ISO 3166-1: groups of
# countries, user-assigned codes, and parts of countries under exceptional reservation.
_NOT_ISO_3166 = re.compile("AC|C[PQ]|DG|E[AUZ]|IC|QO|TA|UN|X[ABK]|ZZ")
_ALSO_WRITTEN = {"UK": "GB", "EL": "GR"}


@cache
def _countries() -> Mapping[str, str]:
    names = Locale("en").territories
    return {
        code: name
        for code, name in names.items()
        if re.fullmatch("[A-Z]{2}", code) and not _NOT_ISO_3166.fullmatch(code)
    }


def country_name(code: str) -> str:
    """`GR` → Greece; the code itself where there is no such country."""
    return _countries().get(code, code)


def checked_country(text: str) -> str:
    """A country's two letters of ISO 3166-1, in capitals."""
    countries = _countries()
    if text in countries:
        return text
    upper = text.upper()
    meant = _ALSO_WRITTEN.get(upper) or (upper if upper in countries else None)
    if meant is None and len(text) > 2:
        by_name = {name.lower(): code for code, name in countries.items()}
        found = nearest(text, by_name)
        meant = by_name[found] if found else None
    hint = f"Did you mean {meant} ({countries[meant]})? " if meant else ""
    raise amiss(
        "is not the code of a country.",
        f"{hint}Write the two capital letters of ISO 3166-1, such as GB or US.",
    )


@cache
def _zones() -> tuple[str, ...]:
    return tuple(sorted(zoneinfo.available_timezones()))


def checked_timezone(text: str) -> str:
    """A time zone by its IANA name."""
    if text not in _zones():
        raise amiss(
            "is not a time zone.",
            f"{_did_you_mean_zone(text)}Write its IANA name, such as Europe/London.",
        )
    return text


def _did_you_mean_zone(text: str) -> str:
    """The zone that was probably meant, also by its town alone: `Athens` → Europe/Athens."""
    ending = "/" + text.strip().replace(" ", "_").lower()
    town = next((zone for zone in _zones() if zone.lower().endswith(ending)), None)
    return f'Did you mean "{town}"? ' if town else did_you_mean(text, _zones())


# Numbers in use that the metadata does not have: the gendarmerie and the ambulance of Morocco,
# as the project's table of published emergency numbers lists them.
_ALSO_IN_USE: Mapping[str, frozenset[str]] = {"MA": frozenset({"150", "190"})}
# Every mobile phone takes it for an emergency call (3GPP TS 22.101, 10.1.1).
_FROM_MOBILES = "112"


def checked_emergency_number(text: str, country: str) -> str:
    """A number that the country's phone plan knows as an emergency number, or 112.

    The plan is that of the `phonenumbers` metadata. It accepts and never chooses: some plans
    list numbers that are only redirected (112 in the United States).
    """
    if not re.fullmatch("[0-9]{2,6}", text):
        raise amiss("is not one number.", 'Write the digits alone, such as "112".')
    if text != _FROM_MOBILES and not in_emergency_plan(text, country):
        raise amiss(
            f"({text}) is no emergency number in {country_name(country)}.",
            f"Write the number that a guest dials in {country_name(country)} in an emergency.",
        )
    return text


def in_emergency_plan(text: str, country: str) -> bool:
    """Whether every phone of the country reaches help there, as far as the metadata tells."""
    if PhoneMetadata.short_metadata_for_region(country) is None:
        return True  # nothing is known about the country, so nothing can be held against it
    also = _ALSO_IN_USE.get(country, frozenset())
    return text in also or bool(shortnumberinfo.is_emergency_number(text, country))


def checked_phone(text: str, country: str | None) -> str:
    """A phone number in E.164: `020 7946 0123` in GB → `+442079460123`."""
    example = "Write it with country code, such as +44 20 7946 0123."
    try:
        number = phonenumbers.parse(text, country)
    except phonenumbers.NumberParseException:
        raise amiss("is not a phone number.", example) from None
    if not phonenumbers.is_possible_number(number):
        raise amiss("is too long or too short for a phone number.", example)
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)


# Ofcom's mobile numbers for drama, which no one has and the metadata does not know. The other
# ranges kept for fiction (NANPA's 555-0100 to 0199, Germany's 0171 39200) pass as they are.
_FOR_FICTION = "+447700900"


def is_valid_phone(e164: str) -> bool:
    """Whether the country's plan gives such numbers out, or keeps them for invented people."""
    if e164.startswith(_FOR_FICTION):
        return True
    return phonenumbers.is_valid_number(phonenumbers.parse(e164, None))


def checked_url(text: str) -> str:
    """A link that a phone opens safely; the start is a field of its own."""
    if not re.fullmatch(r"https://[^\s/#?]+\.[^\s/#?]+(/[^\s#]*|\?[^\s#]*)?", text):
        raise amiss(
            "is not a link.",
            "Write it in full with https:// and without #; the start of a film goes into `start`.",
        )
    return text


# W3C Media Fragments URI 1.0 (basic), 4.2.1: npt-sec, npt-mmss and npt-hhmmss. Minutes of one
# digit ("1:30") are taken as well, since this is what a player shows and people write.
_NPT = re.compile(r"(?:npt:)?(?:(?:([0-9]+):)?([0-5]?[0-9]):(?=[0-5][0-9]))?([0-9]+(?:\.[0-9]*)?)")


def media_start_s(text: str) -> float:
    """`1:30` → 90.0, `90` → 90.0, `0:01:30.5` → 90.5 (Normal Play Time)."""
    found = _NPT.fullmatch(text)
    if not found or (found[2] is not None and not re.match(r"[0-5][0-9](\.|$)", found[3])):
        raise amiss("is not a time in a film.", 'Write seconds, or "minutes:seconds" as "1:30".')
    hours, minutes, seconds = found[1] or 0, found[2] or 0, found[3]
    return int(hours) * 3600 + int(minutes) * 60 + float(seconds)

"""Times, dates and numbers in English, the way the country of a house writes them."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cache

from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_time
from babel.numbers import format_decimal

__all__ = ["CountryWords"]

# Half past two in the afternoon shows which clock a format has.
_AFTERNOON = dt.time(14, 30)


@dataclass(frozen=True, slots=True)
class CountryWords:
    """How one country writes, by CLDR; `country` is its ISO 3166-1 code.

    English as the country itself writes it where CLDR knows that (`en_US`, `en_DE`); elsewhere
    international English with the country's own clock of 12 or 24 hours.
    """

    country: str

    def time(self, time: dt.time) -> str:
        """22:00 → `10:00 PM` (US), `22:00` (GB)."""
        locale, pattern = _time_format(self.country)
        # CLDR puts a narrow no-break space before PM; not every phone or text message has one.
        return format_time(time, pattern, locale=locale).replace("\u202f", " ")

    def span(self, first: dt.time, last: dt.time) -> str:
        """`22:00 to 07:30`."""
        return f"{self.time(first)} to {self.time(last)}"

    def date(self, day: dt.date) -> str:
        """`6 January 2026` (GB), `January 6, 2026` (US)."""
        return format_date(day, "long", locale=_english(self.country))

    def month(self, day: dt.date) -> str:
        """`January 2026`."""
        return format_date(day, "MMMM y", locale=_english(self.country))


def number_words(number: float, *, places: int) -> str:
    """1514.2 with no places → `1,514`.

    The same in every country: the sentence around it is English, where `1.514` would be read
    as one and a half.
    """
    pattern = "#,##0" + ("." + "#" * places if places else "")
    return format_decimal(round(number, places), format=pattern, locale="en")


@cache
def _english(country: str) -> Locale:
    try:
        return Locale.parse(f"en_{country}")
    except (UnknownLocaleError, ValueError):
        return Locale.parse("en_001")


@cache
def _time_format(country: str) -> tuple[Locale, str]:
    english = _english(country)
    if english.territory == country:
        return english, "short"
    try:
        own = Locale.parse(f"und_{country}")
    except (UnknownLocaleError, ValueError):
        return english, "HH:mm"
    shows_24 = "14" in format_time(_AFTERNOON, "short", locale=own)
    return english, "HH:mm" if shows_24 else "h:mm a"

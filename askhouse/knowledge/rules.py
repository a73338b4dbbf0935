"""Recurring days, such as a waste collection: RFC 5545 rules and their words.

A host writes the rule once; guests read it as a sentence. The days themselves
are python-dateutil's. Only rules that can be said in a few plain words are
taken, because a rule that is read wrongly means a bin on the wrong day.
"""

from __future__ import annotations

import datetime as dt
import re
import zoneinfo
from collections.abc import Iterator
from dataclasses import dataclass

from dateutil.rrule import rrule, rruleset, rrulestr

from askhouse.knowledge.checks import amiss
from askhouse.knowledge.country_words import CountryWords

__all__ = ["UNDERSTOOD", "Rule", "join", "parsed_rule"]

UNDERSTOOD = (
    "daily, weekly on named days, every n weeks, monthly on a day of the month or on an nth "
    "weekday, every n months, each with COUNT or UNTIL"
)

_WEEKDAYS = {
    "MO": "Monday",
    "TU": "Tuesday",
    "WE": "Wednesday",
    "TH": "Thursday",
    "FR": "Friday",
    "SA": "Saturday",
    "SU": "Sunday",
}
_PARTS = frozenset({"FREQ", "INTERVAL", "COUNT", "UNTIL", "WKST", "BYDAY", "BYMONTHDAY"})
_ORDINALS = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth")


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule of RFC 5545 (3.3.10, 3.8.5.3).

    Attributes:
        parts: The parts of the RRULE, such as FREQ → WEEKLY.
        start: The moment from which it counts; None where it makes no difference.
        moments: The same for python-dateutil.
    """

    parts: tuple[tuple[str, str], ...]
    start: dt.datetime | None
    moments: rrule | rruleset

    def days(self) -> Iterator[dt.date]:
        """Its days in order, from the start; without end unless the rule has one.

        A rule without a start begins on the first of January 2000.
        """
        return (moment.date() for moment in self.moments)

    def words(self, country: CountryWords) -> str:
        """`every second Tuesday (counting from 6 January 2026)`."""
        parts = dict(self.parts)
        every = int(parts.get("INTERVAL", "1"))
        sentence = {"DAILY": _daily, "WEEKLY": _weekly, "MONTHLY": _monthly}[parts["FREQ"]](
            parts, every, self.start
        )
        if every > 1:
            first = next(self.days(), None)
            if first is not None:
                sentence += f" (counting from {country.date(first)}{self._week_words(parts)})"
        if "COUNT" in parts:
            sentence += f", {parts['COUNT']} times in all"
        if "UNTIL" in parts:
            sentence += f", until {country.date(_until(parts['UNTIL'], self.start))}"
        return sentence

    def _week_words(self, parts: dict[str, str]) -> str:
        """On which day a week begins, where the days depend on it (RFC 5545's 5 August 1997)."""
        if parts["FREQ"] != "WEEKLY" or "," not in parts.get("BYDAY", ""):
            return ""
        return f", weeks beginning on {_WEEKDAYS[parts.get('WKST', 'MO')]}"


def parsed_rule(text: str) -> Rule:
    """`DTSTART:20260106\\nRRULE:FREQ=WEEKLY;INTERVAL=2;BYDAY=TU` → the rule.

    Raises:
        PydanticCustomError: It is no rule of RFC 5545, or none that can be said in words.
    """
    lines = [line.strip() for line in text.strip().splitlines() if line.strip()]
    starts = [line for line in lines if line.upper().startswith("DTSTART")]
    rules = [line.upper() for line in lines if line not in starts]
    if len(rules) != 1 or len(starts) > 1:
        raise _refusal("must be one rule, with at most one start.")
    rule = rules[0].removeprefix("RRULE:")
    parts = _parts(rule)
    start = _start(starts[0]) if starts else None
    _check_sayable(parts, start)
    try:
        moments = rrulestr(rule, dtstart=start or dt.datetime(2000, 1, 1))
    # dateutil refuses with whatever its parsing met.
    except (ValueError, TypeError, KeyError, AttributeError):
        raise _refusal("is not a rule of RFC 5545.") from None
    return Rule(tuple(parts.items()), start, moments)


def _refusal(what: str) -> Exception:
    return amiss(
        what,
        'Write it as "DTSTART:20260106\\nRRULE:FREQ=WEEKLY;INTERVAL=2;BYDAY=TU" (RFC 5545). '
        f"Understood are: {UNDERSTOOD}.",
    )


def _parts(rule: str) -> dict[str, str]:
    pairs = [piece.partition("=") for piece in rule.split(";")]
    names = [name for name, _, _ in pairs]
    if any(not value for _, _, value in pairs) or len(set(names)) != len(names):
        raise _refusal("is not a rule of RFC 5545.")
    unknown = sorted(set(names) - _PARTS)
    if unknown or "FREQ" not in names:
        raise _refusal("uses a part that cannot be said in plain words.")
    return {name: value for name, _, value in pairs}


def _start(line: str) -> dt.datetime:
    found = re.fullmatch(
        r"DTSTART(?:;VALUE=DATE(?:-TIME)?)?(?:;TZID=([\w/+-]+))?:([0-9]{8}(?:T[0-9]{6})?)(Z?)", line
    )
    if not found:
        raise _refusal("has a start that is not a date.")
    zone = dt.UTC if found[3] else _zone(found[1])
    return _moment(found[2]).replace(tzinfo=zone)


def _zone(name: str | None) -> dt.tzinfo | None:
    if name is None:
        return None
    try:
        return zoneinfo.ZoneInfo(name)
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        raise _refusal("has a start in a time zone that is not known.") from None


def _moment(text: str) -> dt.datetime:
    try:
        return dt.datetime.strptime(text, "%Y%m%dT%H%M%S" if "T" in text else "%Y%m%d")
    except ValueError:
        raise _refusal("has a day that is not in the calendar.") from None


def _until(text: str, start: dt.datetime | None) -> dt.date:
    """The last day on which it can be: a moment in UTC is read on the start's own calendar."""
    moment = _moment(text.removesuffix("Z"))
    if text.endswith("Z") and start is not None and start.tzinfo is not None:
        moment = moment.replace(tzinfo=dt.UTC).astimezone(start.tzinfo)
    return moment.date()


def _check_sayable(parts: dict[str, str], start: dt.datetime | None) -> None:
    frequency, every = parts["FREQ"], parts.get("INTERVAL", "1")
    days, month_days = parts.get("BYDAY"), parts.get("BYMONTHDAY")
    if not re.fullmatch("[1-9][0-9]?", every) or not re.fullmatch(
        "[1-9][0-9]{0,3}", parts.get("COUNT", "1")
    ):
        raise _refusal("has an INTERVAL or COUNT that is not a number from 1.")
    if "UNTIL" in parts:
        if not re.fullmatch(r"[0-9]{8}(T[0-9]{6}Z?)?", parts["UNTIL"]) or "COUNT" in parts:
            raise _refusal("has an UNTIL that is not a date, or a COUNT beside it.")
        _moment(parts["UNTIL"].removesuffix("Z"))
    if parts.get("WKST", "MO") not in _WEEKDAYS:
        raise _refusal("has a WKST that is not a day of the week.")
    nth = "([1-5]|-[1-5])" if frequency == "MONTHLY" else ""
    if days and not all(re.fullmatch(nth + "(MO|TU|WE|TH|FR|SA|SU)", d) for d in days.split(",")):
        raise _refusal("has a BYDAY that cannot be said in plain words.")
    if month_days and not all(_is_month_day(day) for day in month_days.split(",")):
        raise _refusal("has a BYMONTHDAY that is not a day of a month.")
    allowed = {
        "DAILY": not days and not month_days,
        "WEEKLY": not month_days,
        "MONTHLY": not (days and month_days),
    }
    if not allowed.get(frequency, False):
        raise _refusal("is of a kind that cannot be said in plain words.")
    if start is None and (every != "1" or "COUNT" in parts or _needs_start(parts)):
        raise _refusal("needs a DTSTART to count from.")


def _needs_start(parts: dict[str, str]) -> bool:
    named = "BYDAY" in parts or "BYMONTHDAY" in parts
    return parts["FREQ"] != "DAILY" and not named


def _is_month_day(text: str) -> bool:
    return re.fullmatch(r"-?([1-9]|[12][0-9]|3[01])", text) is not None


def _daily(parts: dict[str, str], every: int, start: dt.datetime | None) -> str:
    return "every day" if every == 1 else f"every {_ordinal(every)} day"


def _weekly(parts: dict[str, str], every: int, start: dt.datetime | None) -> str:
    if "BYDAY" in parts:
        named = set(parts["BYDAY"].split(","))
        days = [day for key, day in _WEEKDAYS.items() if key in named]
    else:
        assert start is not None  # _check_sayable has made sure
        days = [list(_WEEKDAYS.values())[start.weekday()]]
    if every == 1:
        return "every day" if len(days) == 7 else f"every {join(days)}"
    if len(days) == 1:
        return f"every {_ordinal(every)} {days[0]}"
    return f"every {_ordinal(every)} week on {join(days)}"


def _monthly(parts: dict[str, str], every: int, start: dt.datetime | None) -> str:
    month = "every month" if every == 1 else f"every {_ordinal(every)} month"
    if "BYDAY" in parts:
        found = [
            (int(day[:-2]), _WEEKDAYS[day[-2:]]) for day in dict.fromkeys(parts["BYDAY"].split(","))
        ]
        return f"the {join([f'{_nth(n)} {day}' for n, day in found], 'the ')} of {month}"
    if "BYMONTHDAY" in parts:
        numbers = [int(day) for day in dict.fromkeys(parts["BYMONTHDAY"].split(","))]
    else:
        assert start is not None  # _check_sayable has made sure
        numbers = [start.day]
    return f"the {join([_month_day(n) for n in numbers], 'the ')} of {month}"


def _month_day(number: int) -> str:
    if number < 0:
        return f"{_nth(number)} day"
    ending = "th" if 10 < number < 14 else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def _nth(number: int) -> str:
    if number > 0:
        return _ordinal(number)
    return "last" if number == -1 else f"{_ordinal(-number)}-to-last"


def _ordinal(number: int) -> str:
    return _ORDINALS[number] if number < len(_ORDINALS) else _month_day(number)


def join(words: list[str], before: str = "") -> str:
    """`["a", "b", "c"]` → `a, b and c`; `before` is put to all but the first."""
    first, *rest = words
    rest = [before + word for word in rest]
    if not rest:
        return first
    return f"{', '.join([first, *rest[:-1]])} and {rest[-1]}"

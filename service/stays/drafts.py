"""A stay as someone entered it, and everything that is wrong with it, said at once."""

from __future__ import annotations

import datetime as dt
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from askhouse.knowledge.problems import Problem
from askhouse.values import House
from service.stays.phone_numbers import NumberError, to_e164

__all__ = ["Draft", "Place", "checked"]

# Far enough for any booking, and near enough that no time zone's arithmetic runs out of years.
FIRST_DAY, LAST_DAY = dt.date(1990, 1, 1), dt.date(2100, 1, 1)
MOST_NIGHTS = 731
MOST_GUESTS = MOST_PHONES = 30
MOST_CHARACTERS = 200
MOST_CODE_CHARACTERS = 32


@dataclass(frozen=True, slots=True)
class Place:
    """Where a draft was read, for its problems."""

    file: str
    line: int = 1

    def problem(self, field: str, what: str, mend: str) -> Problem:
        """A problem there."""
        return Problem(file=self.file, line=self.line, field=field, what=what, mend=mend)


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A stay as entered.

    Attributes:
        phones: As written; E.164 once checked.
        reference: The host's own name for the booking; the same one again changes the same stay.
            Made of the dates where there is none.
        release_from: Overrides the start of the release window; aware.
        release_until: Overrides its end; aware.
    """

    house: str
    arrival: dt.date
    departure: dt.date
    guests: tuple[str, ...] = ()
    phones: tuple[str, ...] = ()
    door_code: str | None = None
    reference: str | None = None
    release_from: dt.datetime | None = None
    release_until: dt.datetime | None = None

    @property
    def uid(self) -> str:
        """What names the stay within its house."""
        return self.reference or f"{self.arrival}/{self.departure}"


def checked(
    draft: Draft, houses: Mapping[str, House], place: Place
) -> tuple[Draft, tuple[Problem, ...]]:
    """The draft with its numbers in E.164 and its texts trimmed, and all its problems."""
    problems = [*_house(draft, houses, place), *_days(draft, place), *_texts(draft, place)]
    house = houses.get(draft.house)
    phones = []
    for index, phone in enumerate(draft.phones):
        try:
            phones.append(to_e164(phone, house.country if house else None))
        except NumberError as error:
            what, _, mend = str(error).partition("; ")
            problems.append(place.problem(f"phones[{index}]", what, f"{_sentence(mend)}."))
    code = (draft.door_code or "").strip() or None
    return (
        replace(
            draft,
            guests=tuple(dict.fromkeys(name.strip() for name in draft.guests if name.strip())),
            phones=tuple(dict.fromkeys(phones)),
            door_code=code,
            reference=(draft.reference or "").strip() or None,
        ),
        tuple(problems),
    )


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _house(draft: Draft, houses: Mapping[str, House], place: Place) -> Iterator[Problem]:
    if draft.house not in houses:
        yield place.problem("house", "is no house that is known", "Use a slug of your houses.")


def _days(draft: Draft, place: Place) -> Iterator[Problem]:
    for field, day in (("arrival", draft.arrival), ("departure", draft.departure)):
        if not FIRST_DAY <= day <= LAST_DAY:
            yield place.problem(field, "is no date of a booking", "Check the year.")
    if draft.departure <= draft.arrival:
        yield place.problem(
            "departure", "is not after arrival", "Give the day on which the guests leave."
        )
    elif (draft.departure - draft.arrival).days > MOST_NIGHTS:
        yield place.problem(
            "departure", f"is more than {MOST_NIGHTS} nights after arrival", "Check the year."
        )
    for field, time in (
        ("release_from", draft.release_from),
        ("release_until", draft.release_until),
    ):
        if time is None:
            continue
        if time.tzinfo is None:
            yield place.problem(field, "has no zone", "End it with Z, or an offset as +02:00.")
        elif not FIRST_DAY <= time.date() <= LAST_DAY:
            yield place.problem(field, "is no time of a booking", "Check the year.")


def _texts(draft: Draft, place: Place) -> Iterator[Problem]:
    if len(draft.guests) > MOST_GUESTS:
        yield place.problem("guests", f"are more than {MOST_GUESTS}", "Name the main guests.")
    if len(draft.phones) > MOST_PHONES:
        yield place.problem("phones", f"are more than {MOST_PHONES}", "Give those that write.")
    named = [(f"guests[{index}]", name, MOST_CHARACTERS) for index, name in enumerate(draft.guests)]
    named += [
        ("reference", draft.reference or "", MOST_CHARACTERS),
        ("door_code", draft.door_code or "", MOST_CODE_CHARACTERS),
    ]
    for field, text, most in named:
        if len(text) > most:
            yield place.problem(field, f"is longer than {most} characters", "Shorten it.")
        # Half a character or a NUL is no text that a database could keep.
        if any(unicodedata.category(character) in ("Cc", "Cs") for character in text):
            yield place.problem(field, "holds a control character", "Type it again.")

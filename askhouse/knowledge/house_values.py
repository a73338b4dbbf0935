"""The typed values of a house: each written once, named in braces in any text.

The third step of loading. A value is read for what it is (a time, a rule, an
amount), checked, and said the way the house's country says it; so that a
changed quiet hour changes every text that names it.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

import phonenumbers
from pydantic import ValidationError
from pydantic_core import PydanticCustomError

from askhouse.knowledge.checks import checked_time
from askhouse.knowledge.country_words import CountryWords
from askhouse.knowledge.explain import explain
from askhouse.knowledge.problems import Problem
from askhouse.knowledge.quantities import looks_like_amount, parsed_amount
from askhouse.knowledge.schema import HouseFile
from askhouse.knowledge.value_shapes import shape_of
from askhouse.knowledge.written import Place, Written

__all__ = ["HEADER_NAMES", "HouseValues", "read_values"]

HEADER_NAMES = ("check_in", "check_out", "emergency_number", "call_back", "name")
"""The fields of the house that texts can name as well."""


@dataclass(frozen=True, slots=True)
class HouseValues:
    """What can be named in braces, and what it says.

    Attributes:
        words: Name → text, such as `hot_tub.volume` → `400 US gal (1,514 L)`.
        broken: Names that are written but have a problem of their own; naming them is not
            another one.
    """

    words: Mapping[str, str] = field(default_factory=dict)
    broken: frozenset[str] = frozenset()

    def is_broken(self, name: str) -> bool:
        """Whether the name, or the group it belongs to, is written but has a problem."""
        steps = name.split(".")
        return any(".".join(steps[:n]) in self.broken for n in range(1, len(steps) + 1))


def read_values(
    raw: object, house: HouseFile | None, country: str, written: Written
) -> tuple[HouseValues, list[Problem]]:
    """The values of a house and all that is wrong with them.

    `house` is None where the header has problems; its names are then broken.
    """
    reading = _Reading(written, CountryWords(country))
    if isinstance(raw, dict):
        for name, value in raw.items():
            reading.value((str(name),), value)
    if house is None:
        reading.broken.update(HEADER_NAMES)
    else:
        reading.words.update(_header_words(house, reading.country))
    return HouseValues(reading.words, frozenset(reading.broken)), reading.problems


def _header_words(house: HouseFile, country: CountryWords) -> dict[str, str]:
    words = {
        "check_in": country.time(house.check_in),
        "check_out": country.time(house.check_out),
        "emergency_number": house.emergency_number,
        "name": house.name,
    }
    if house.call_back is not None:
        number = phonenumbers.parse(house.call_back, None)
        words["call_back"] = phonenumbers.format_number(
            number, phonenumbers.PhoneNumberFormat.INTERNATIONAL
        )
    return words


class _Reading:
    def __init__(self, written: Written, country: CountryWords) -> None:
        self.written = written
        self.country = country
        self.words: dict[str, str] = {}
        self.broken: set[str] = set()
        self.problems: list[Problem] = []

    def value(self, place: tuple[str, ...], value: object) -> None:
        name = ".".join(place)
        if not re.fullmatch("[a-z][a-z0-9_]*", place[-1]):
            self._refuse(
                place,
                "is not a name of lower-case letters, digits and underscores.",
                "Write it like quiet_hours.",
            )
        elif name in HEADER_NAMES:
            self._refuse(
                place, "is a field of the house, which texts can name already.", "Remove it here."
            )
        elif isinstance(value, str) and value.strip():
            self._plain(place, value.strip())
        elif isinstance(value, dict) and value:
            self._group(place, value)
        else:
            self._refuse(
                place,
                "must be a text, a number or a group of named values.",
                "Write it in double quotes, or remove the line.",
            )

    def _plain(self, place: tuple[str, ...], text: str) -> None:
        """A time, a date or an amount alone is said as the country does; else the text stays."""
        name = ".".join(place)
        try:
            if re.fullmatch("[0-9]{2}:[0-9]{2}", text):
                self.words[name] = self.country.time(checked_time(text))
            elif re.fullmatch("[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
                self.words[name] = self.country.date(dt.date.fromisoformat(text))
            elif looks_like_amount(text):
                self.words[name] = parsed_amount(text, self.country.country).words()
            else:
                self.words[name] = text
        except PydanticCustomError as error:
            context = error.context or {}
            self._refuse(place, context["what"], context["mend"])
        except ValueError:
            self._refuse(place, "is not a date.", "Write it as YYYY-MM-DD, such as 2026-03-14.")

    def _group(self, place: tuple[str, ...], value: dict[str, object]) -> None:
        model = shape_of(place, value)
        if model is None:
            for name, inner in value.items():
                self.value((*place, str(name)), inner)
            return
        at: Place = ("values", *place)
        try:
            shaped = model.model_validate(value, context={"country": self.country.country})
        except ValidationError as error:
            self.broken.add(".".join(place))
            self.problems += explain(error, model, self.written, at, thing="this value")
            return
        named = shaped.named(self.country)
        self.words.update({".".join(place) + ending: words for ending, words in named})

    def _refuse(self, place: tuple[str, ...], what: str, mend: str) -> None:
        self.broken.add(".".join(place))
        self.problems.append(self.written.problem(("values", *place), what, mend))

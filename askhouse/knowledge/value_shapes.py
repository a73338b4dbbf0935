"""The shapes a value of a house can have: a span of hours, a rule of days, a hot tub.

Each checks what the host wrote and says it in the words of the house's
country. A plain text, number, time, date or amount needs no shape;
`house_values.py` reads it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, TypeAlias

from pydantic import AfterValidator, Field, ValidationInfo
from pydantic import field_validator as validated

from askhouse.knowledge.checks import amiss, checked_time
from askhouse.knowledge.country_words import CountryWords
from askhouse.knowledge.quantities import (
    HOT_TUB_LIMIT_C,
    Amount,
    duration_words,
    heat_up_hours,
    parsed_amount,
)
from askhouse.knowledge.rules import parsed_rule
from askhouse.knowledge.schema import FileModel, Text

__all__ = ["CollectionFile", "HotTubFile", "SpanFile", "ValueFile", "shape_of"]

# Cold tap water, from which a freshly filled tub is heated, when the host does not say.
_FILL_F, _FILL_C = "60 degF", "15 degC"

_Named: TypeAlias = Iterator[tuple[str, str]]


class ValueFile(FileModel):
    """What all shapes can do."""

    def named(self, country: CountryWords) -> _Named:
        """What can be named in braces: the ending of the name, and what it says."""
        raise NotImplementedError


class SpanFile(ValueFile):
    """A time of day from one hour to another, such as quiet hours."""

    first: Text = Field(alias="from", description="When it begins.", examples=['"22:00"'])
    last: Text = Field(alias="to", description="When it ends.", examples=['"07:30"'])

    @validated("first", "last")
    @classmethod
    def _is_a_time(cls, text: str) -> str:
        checked_time(text)
        return text

    def named(self, country: CountryWords) -> _Named:
        """Itself: `22:00 to 07:30`."""
        yield "", country.span(checked_time(self.first), checked_time(self.last))


class CollectionFile(ValueFile):
    """What comes back on certain days, such as a waste collection."""

    what: Text | None = Field(
        None, description="What is collected, or happens.", examples=['"general rubbish"']
    )
    rule: Text = Field(
        description="When, as a rule of RFC 5545.",
        examples=['"DTSTART:20260106\\nRRULE:FREQ=WEEKLY;INTERVAL=2;BYDAY=TU"'],
    )

    @validated("rule")
    @classmethod
    def _can_be_said(cls, text: str) -> str:
        parsed_rule(text)
        return text

    def named(self, country: CountryWords) -> _Named:
        """Itself: `every second Tuesday (counting from 6 January 2026)`; and `what`."""
        yield "", parsed_rule(self.rule).words(country)
        if self.what is not None:
            yield ".what", self.what


def _amount_text(text: str, info: ValidationInfo) -> str:
    parsed_amount(text, _country(info))
    return text


def _country(info: ValidationInfo) -> str:
    return str((info.context or {}).get("country", ""))


AmountText = Annotated[Text, AfterValidator(_amount_text)]


class HotTubFile(ValueFile):
    """A hot tub: how much water, how strong a heater, how warm it is kept."""

    volume: AmountText | None = Field(None, description="Its water.", examples=["400 gallon"])
    heater: AmountText | None = Field(
        None, description="The power of its heater.", examples=["5.5 kW"]
    )
    set_point: AmountText | None = Field(
        None,
        description="How warm it is kept: never above 104 °F, 40 °C (UL 1563, CPSC).",
        examples=["102 degF"],
    )
    fill: AmountText | None = Field(
        None,
        description="How warm fresh water is; left out, 60 °F, or 15 °C where the set point is "
        "in °C.",
        examples=["55 degF"],
    )

    @validated("volume", "heater", "set_point", "fill")
    @classmethod
    def _measures_it(cls, text: str | None, info: ValidationInfo) -> str | None:
        if text is None:
            return None
        pint, example = {"volume": ("liter", "1500 litre"), "heater": ("kilowatt", "5.5 kW")}.get(
            info.field_name or "", ("degree_Celsius", "38 degC")
        )
        amount = parsed_amount(text, _country(info))
        if not amount.measures(pint):
            raise amiss("has a unit of another kind.", f'Write it like "{example}".')
        if pint == "degree_Celsius":
            # A hair above 40, since 104 °F are 40.00000000000006 °C in floating point.
            if amount.to(pint) > HOT_TUB_LIMIT_C + 1e-6:
                raise amiss(
                    "is above 104 °F (40 °C), the most that hot tub water may ever have.",
                    "Set the tub lower and write what it is set to (UL 1563, CPSC 79-071).",
                )
            if amount.to(pint) < 0:
                raise amiss("is below freezing.", f'Write it like "{example}".')
        elif amount.number <= 0:
            raise amiss("is not more than nothing.", f'Write it like "{example}".')
        return text

    def named(self, country: CountryWords) -> _Named:
        """Each field, and `heat_up`: `about 7 and a half hours from 60 °F (16 °C)`."""
        amounts = {
            name: parsed_amount(text, country.country)
            for name in ("volume", "heater", "set_point", "fill")
            if (text := getattr(self, name)) is not None
        }
        for name, amount in amounts.items():
            yield f".{name}", amount.words()
        heat_up = _heat_up(amounts)
        if heat_up is not None:
            yield ".heat_up", heat_up


def _heat_up(amounts: Mapping[str, Amount]) -> str | None:
    if not {"volume", "heater", "set_point"} <= amounts.keys():
        return None
    end = amounts["set_point"]
    start = amounts.get("fill") or parsed_amount(_FILL_F if end.unit.sign == "°F" else _FILL_C, "")
    if start.to("degree_Celsius") >= end.to("degree_Celsius"):
        return None
    hours = heat_up_hours(amounts["volume"], start, end, amounts["heater"])
    return f"{duration_words(hours)} from {start.words()}"


# The fields that tell what a group of values is. A group without any of them only
# holds others, as `collections` does.
_SHAPES: tuple[tuple[frozenset[str], type[ValueFile]], ...] = (
    (frozenset({"from", "to"}), SpanFile),
    (frozenset({"rule"}), CollectionFile),
    (frozenset({"volume", "heater", "set_point"}), HotTubFile),
)


def shape_of(place: tuple[str, ...], value: dict[str, object]) -> type[ValueFile] | None:
    """The shape that a group of values has, or None where it only holds others."""
    if place[-1] == "hot_tub":
        return HotTubFile
    return next((model for signs, model in _SHAPES if signs & value.keys()), None)

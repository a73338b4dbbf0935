"""Typed values: what each says in a text, and what is wrong with one."""

from __future__ import annotations

import datetime as dt

import pytest

from askhouse.knowledge.country_words import CountryWords
from askhouse.knowledge.fill import fill, names_in
from askhouse.knowledge.house_values import HouseValues, read_values
from askhouse.knowledge.problems import Problem
from askhouse.knowledge.written import read_yaml


def read(yaml: str, country: str = "GB") -> tuple[HouseValues, list[Problem]]:
    """The values of a house of that country; its header is left out."""
    written, syntax = read_yaml("house.yaml", "values:\n" + yaml)
    assert syntax == []
    assert isinstance(written.values, dict)
    return read_values(written.values["values"], None, country, written)


# The clock of a country by CLDR; 22:00 and 7:30 in the words of a house there.
@pytest.mark.parametrize(
    ("country", "words"),
    [
        ("GB", "22:00 to 07:30"),
        ("US", "10:00 PM to 7:30 AM"),
        ("DE", "22:00 to 07:30"),
        ("AU", "10:00 pm to 7:30 am"),
        ("FI", "22.00 to 7.30"),
        # no English of its own in CLDR: international English by the country's clock
        ("JP", "22:00 to 07:30"),
        ("GR", "10:00 pm to 7:30 am"),
    ],
)
def test_hours_are_said_by_the_country_s_clock(country: str, words: str) -> None:
    """
    A span of hours is on the twelve- or the twenty-four-hour clock of the house's country.
    """
    values, problems = read('  quiet_hours: {from: "22:00", to: "07:30"}\n', country)

    assert problems == []
    assert values.words["quiet_hours"] == words


@pytest.mark.parametrize(
    ("yaml", "name", "words"),
    [
        # what is a text stays as it is written
        ("  wifi_name: OrchardBarn\n", "wifi_name", "OrchardBarn"),
        ("  parking_spaces: 2\n", "parking_spaces", "2"),
        ('  key_safe_code: "0471"\n', "key_safe_code", "0471"),
        ("  rent: 1200.50\n", "rent", "1200.50"),
        # what is only a time, a date or an amount is said as in the country
        ('  last_bus: "23:10"\n', "last_bus", "23:10"),
        ("  opened_on: 2026-01-06\n", "opened_on", "6 January 2026"),
        ("  tank: 180 litre\n", "tank", "180 L (48 US gal)"),
        # groups
        ("  heating:\n    day: 21 degC\n", "heating.day", "21 °C (70 °F)"),
        (
            '  bins: {paper: {what: paper, rule: "RRULE:FREQ=MONTHLY;BYDAY=1WE"}}\n',
            "bins.paper",
            "the first Wednesday of every month",
        ),
        ('  bins: {what: paper, rule: "RRULE:FREQ=DAILY"}\n', "bins.what", "paper"),
    ],
)
def test_a_value_says_what_it_is(yaml: str, name: str, words: str) -> None:
    """
    Texts, numbers, times, dates, amounts and rules can be named, also in groups.
    """
    values, problems = read(yaml)

    assert problems == []
    assert values.words[name] == words


TUB = "  hot_tub: {volume: 400 US gallon, heater: 5.5 kW, set_point: %s}\n"


def test_a_hot_tub_says_how_long_it_takes() -> None:
    """
    From volume, heater and set point comes the heat-up time, with the temperature it begins at.
    """
    values, problems = read(TUB % "102 degF", "US")

    assert problems == []
    assert values.words["hot_tub.volume"] == "400 US gal (1,514 L)"
    assert values.words["hot_tub.heater"] == "5.5 kW"
    assert values.words["hot_tub.set_point"] == "102 °F (39 °C)"
    assert values.words["hot_tub.heat_up"] == "about 7 and a half hours from 60 °F (16 °C)"


# 1500 L from 10 to 38 °C with 6 kW: 4.2 · 1500 · 28 / 3600 = 49 kWh, 8.17 h
def test_a_hot_tub_can_say_how_cold_it_is_filled() -> None:
    """
    The host's own temperature of fresh water goes before the usual one.
    """
    values, _ = read("  hot_tub: {volume: 1500 L, heater: 6 kW, set_point: 38 °C, fill: 10 °C}\n")

    assert values.words["hot_tub.heat_up"] == "about 8 hours from 10 °C (50 °F)"


# UL 1563, 32.1 to 32.3, and CPSC release 79-071: at most 104 °F, 40 °C.
@pytest.mark.parametrize(
    ("set_point", "allowed"),
    [
        ("104 degF", True),
        ("40 degC", True),
        ("104.1 degF", False),
        ("105 degF", False),
        ("40.1 degC", False),
        ("41 degC", False),
        # a number in the wrong unit is not let through either
        ("104 degC", False),
    ],
)
def test_no_hot_tub_is_above_104_f(set_point: str, allowed: bool) -> None:
    """
    A set point at the limit of UL 1563 is taken, and any above it is a problem with its line.
    """
    values, problems = read(TUB % set_point, "US")

    assert ("hot_tub.set_point" in values.words) is allowed
    if not allowed:
        assert [(p.line, p.field) for p in problems] == [(2, "values.hot_tub.set_point")]
        assert "104 °F (40 °C)" in problems[0].what


@pytest.mark.parametrize(
    ("yaml", "field", "what"),
    [
        ("  quiet_hours: {from: '22:00'}\n", "values.quiet_hours.to", "is missing."),
        ("  quiet_hours: {from: '22:00', to: late}\n", "values.quiet_hours.to", "is not a time."),
        ("  wifi_name:\n", "values.wifi_name", "must be a text"),
        ("  open: true\n", "values.open", "must be a text"),
        ("  Wifi-Name: a\n", "values.Wifi-Name", "is not a name of lower-case"),
        ("  check_in: '16:00'\n", "values.check_in", "is a field of the house"),
        ("  opened_on: 2026-02-30\n", "values.opened_on", "is not a date."),
        ("  last_bus: '25:10'\n", "values.last_bus", "is not a time."),
        ("  tank: 50 gallon\n", "values.tank", "may be a US or an imperial gallon."),
        ("  hot_tub: {volume: 5 kW}\n", "values.hot_tub.volume", "has a unit of another kind."),
        ("  hot_tub: {heater: 0 kW}\n", "values.hot_tub.heater", "is not more than nothing."),
        ("  hot_tub: {fill: -5 degC}\n", "values.hot_tub.fill", "is below freezing."),
        ("  hot_tub: {volum: 5 L}\n", "values.hot_tub.volum", "is not a field of this value."),
        ("  bins: {rule: FREQ=YEARLY}\n", "values.bins.rule", "is of a kind that cannot be said"),
    ],
)
def test_a_wrong_value_is_told_with_its_place(yaml: str, field: str, what: str) -> None:
    """
    Each slip in a value is one problem that names its field, and naming it is not another.
    """
    values, problems = read(yaml)

    told = [(p.line, p.field, p.what[: len(what)]) for p in problems]
    assert told == [(2, field, what)]
    assert not values.words
    assert values.is_broken(field.removeprefix("values."))


def test_a_broken_group_answers_for_all_its_names() -> None:
    """
    Where a hot tub has a problem, a text that names its heat-up time has none of its own.
    """
    values, _ = read(TUB % "105 degF", "US")

    assert values.is_broken("hot_tub.heat_up")
    assert not values.is_broken("quiet_hours")


def test_dates_are_in_the_order_of_the_country() -> None:
    """
    Month first in the United States, day first in the United Kingdom.
    """
    day = dt.date(2026, 1, 6)

    assert CountryWords("US").date(day) == "January 6, 2026"
    assert CountryWords("GB").date(day) == "6 January 2026"


@pytest.mark.parametrize(
    ("text", "filled", "unknown", "alone"),
    [
        ("Quiet from {quiet_hours}.", "Quiet from 22:00 to 07:30.", (), False),
        ("{a.b} {a.b}", "{a.b} {a.b}", ("a.b",), False),
        ("Press {{menu}}.", "Press {menu}.", (), False),
        ("A { alone", "A { alone", (), True),
        ("no names", "no names", (), False),
        ("{}", "{}", ("",), False),
        # a value is not filled in a second time
        ("{braces}", "{quiet_hours}", (), False),
    ],
)
def test_names_in_braces_are_filled_in(
    text: str, filled: str, unknown: tuple[str, ...], alone: bool
) -> None:
    """
    A name becomes its value, a doubled brace one brace, and what is unknown stays and is told.
    """
    words = {"quiet_hours": "22:00 to 07:30", "braces": "{quiet_hours}"}

    filling = fill(text, words)

    assert (filling.text, filling.unknown, filling.alone) == (filled, unknown, alone)


def test_only_well_formed_names_are_names() -> None:
    """
    What stands in braces and could be no value's name is not taken for one.
    """
    assert names_in("{a} {b.c} {D} {4471} {{e}} {f g}") == ("a", "b.c")

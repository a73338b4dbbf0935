"""Amounts with a unit, said in the host's own unit first, and what follows from them.

Pint does the arithmetic. The units are a short list on purpose: a gallon must
be a US or an imperial one, and a temperature must never be taken for a
difference of temperatures.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Any

from askhouse.knowledge.checks import amiss
from askhouse.knowledge.country_words import number_words

__all__ = [
    "HOT_TUB_LIMIT_C",
    "Amount",
    "duration_words",
    "heat_up_hours",
    "looks_like_amount",
    "parsed_amount",
]

# 40 °C = 104 °F. UL 1563, 32.1 to 32.3: the control of a hot tub has a set point of at most
# this and no mark above it. CPSC release 79-071 (31 December 1979) gives the same limit.
HOT_TUB_LIMIT_C = 40.0


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit a host may write: its pint name, its sign, and the unit said beside it, if any."""

    pint: str
    sign: str
    beside: str = ""


UNITS: dict[str, Unit] = {
    unit.pint: unit
    for unit in (
        Unit("gallon", "US gal", "liter"),
        Unit("imperial_gallon", "imperial gal", "liter"),
        Unit("liter", "L", "gallon"),
        Unit("kilowatt", "kW"),
        Unit("watt", "W"),
        Unit("Btu / hour", "BTU/h", "kilowatt"),
        Unit("degree_Fahrenheit", "°F", "degree_Celsius"),
        Unit("degree_Celsius", "°C", "degree_Fahrenheit"),
        Unit("meter", "m", "foot"),
        Unit("centimeter", "cm", "inch"),
        Unit("kilometer", "km", "mile"),
        Unit("foot", "ft", "meter"),
        Unit("inch", "in", "centimeter"),
        Unit("mile", "mi", "kilometer"),
        Unit("kilogram", "kg", "pound"),
        Unit("pound", "lb", "kilogram"),
        Unit("bar", "bar", "psi"),
        Unit("psi", "psi", "bar"),
    )
}
_WRITTEN: dict[str, str] = {
    written: pint
    for pint, words in {
        "gallon": "us gallon, us gallons, us gal, us_gallon, gallon, gallons, gal",
        "imperial_gallon": "imperial gallon, imperial gallons, imperial gal, imperial_gallon",
        "liter": "l, litre, litres, liter, liters",
        "kilowatt": "kw, kilowatt, kilowatts",
        "watt": "w, watt, watts",
        "Btu / hour": "btu/h, btu/hr, btu per hour",
        "degree_Fahrenheit": "degf, °f, f, fahrenheit",
        "degree_Celsius": "degc, °c, c, celsius",
        "meter": "m, metre, metres, meter, meters",
        "centimeter": "cm, centimetre, centimetres, centimeter, centimeters",
        "kilometer": "km, kilometre, kilometres, kilometer, kilometers",
        "foot": "ft, foot, feet",
        "inch": "in, inch, inches",
        "mile": "mi, mile, miles",
        "kilogram": "kg, kilogram, kilograms",
        "pound": "lb, lbs, pound, pounds",
        "bar": "bar",
        "psi": "psi",
    }.items()
    for written in words.split(", ")
}
_AMBIGUOUS = frozenset({"gallon", "gallons", "gal"})
# Where a gallon has been, or still is, an imperial one.
_IMPERIAL_GALLON = frozenset({"AU", "CA", "GB", "GG", "IE", "IM", "IN", "JE", "NZ", "ZA"})


# Exact by definition (NIST SP 811, appendix B), but for the Btu, 1055.056 J (International Table).
# Pint's own list has a thousand units more and takes twenty times as long to read.
_DEFINITIONS = """
meter = [length] = m
kilogram = [mass] = kg
second = [time] = s
kelvin = [temperature] = K
degree_Celsius = kelvin; offset: 273.15
degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9
centimeter = 0.01 * meter
kilometer = 1000 * meter
inch = 0.0254 * meter
foot = 12 * inch
mile = 5280 * foot
liter = 0.001 * meter ** 3
gallon = 231 * inch ** 3
imperial_gallon = 4.54609 * liter
pound = 0.45359237 * kilogram
hour = 3600 * second
watt = kilogram * meter ** 2 / second ** 3
kilowatt = 1000 * watt
Btu = 1055.056 * watt * second
pascal = kilogram / (meter * second ** 2)
bar = 100000 * pascal
psi = 4.4482216152605 * kilogram * meter / second ** 2 / inch ** 2
"""


@cache
def _registry() -> Any:
    # Here, since importing pint takes long and most houses have no amounts.
    import pint  # noqa: PLC0415

    registry: Any = pint.UnitRegistry(None)
    registry.load_definitions(_DEFINITIONS.splitlines())
    return registry


@dataclass(frozen=True, slots=True)
class Amount:
    """A number with a unit, such as 400 US gallons."""

    number: float
    unit: Unit

    def to(self, pint_unit: str) -> float:
        """The number in another unit of the same kind."""
        return float(_registry().Quantity(self.number, self.unit.pint).to(pint_unit).magnitude)

    def measures(self, pint_unit: str) -> bool:
        """Whether it is of the same kind as that unit."""
        registry = _registry()
        return bool(registry.Unit(self.unit.pint).is_compatible_with(registry.Unit(pint_unit)))

    def words(self) -> str:
        """`400 US gal (1,514 L)`, `5.5 kW`, `102 °F (39 °C)`."""
        own = f"{number_words(self.number, places=3)} {self.unit.sign}"
        if not self.unit.beside:
            return own
        other = UNITS[self.unit.beside]
        number = self.to(other.pint)
        temperature = other.sign.startswith("°")
        places = 0 if temperature or abs(number) >= 10 else 1
        return f"{own} ({number_words(number, places=places)} {other.sign})"


_AMOUNT = re.compile(r"(-?[0-9]{1,7}(?:\.[0-9]{1,4})?) *([A-Za-z°/_ ]+)")


def looks_like_amount(text: str) -> bool:
    """Whether the text is a number with a unit of the list and nothing else."""
    found = _AMOUNT.fullmatch(text)
    return found is not None and _unit_word(found[2]) in _WRITTEN


def _unit_word(written: str) -> str:
    return " ".join(written.split()).lower()


def parsed_amount(text: str, country: str) -> Amount:
    """`400 gallon` in the US → 400 US gallons.

    Raises:
        PydanticCustomError: No number, no unit that is known, or a gallon that may be either.
    """
    found = _AMOUNT.fullmatch(text.strip())
    word = _unit_word(found[2]) if found else ""
    if found is None or word not in _WRITTEN:
        signs = ", ".join(unit.sign for unit in UNITS.values())
        raise amiss("is not a number with a unit.", f'Write it like "5.5 kW". Units: {signs}.')
    if word in _AMBIGUOUS and country in _IMPERIAL_GALLON:
        raise amiss(
            "may be a US or an imperial gallon.", "Write US gallon, imperial gallon or litre."
        )
    return Amount(float(found[1]), UNITS[_WRITTEN[word]])


def heat_up_hours(volume: Amount, start: Amount, end: Amount, heater: Amount) -> float:
    """How long a heater needs for the water, in hours, when nothing is lost.

    kWh = 4.2 · litres · ΔT / 3600 and hours = kWh / kW, with 4.2 kJ/(kg·°C) for water and a
    kilogram a litre. Source: sciencing.com, "How to calculate the time to heat water"
    (article 8028611): 20 L from 20 to 100 °C with 3.6 kW take 1.867 kWh, 0.52 hours.
    A real tub loses heat to the air, so that this is the least it takes.
    """
    rise_c = end.to("degree_Celsius") - start.to("degree_Celsius")
    energy_kwh = 4.2 * volume.to("liter") * rise_c / 3600
    return energy_kwh / heater.to("kilowatt")


def duration_words(hours: float) -> str:
    """7.47 → `about 7 and a half hours`, 0.117 → `about 7 minutes`."""
    if hours < 0.75:
        minutes = max(1, round(hours * 60))
        if 28 <= minutes <= 32:
            return "about half an hour"
        return "about a minute" if minutes == 1 else f"about {minutes} minutes"
    halves = round(hours * 2)
    whole, half = divmod(halves, 2)
    if half:
        return f"about {whole} and a half hours"
    return "about an hour" if whole == 1 else f"about {whole} hours"

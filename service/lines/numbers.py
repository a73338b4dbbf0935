"""Who wrote: a number as E.164, "withheld", or the raw text where it is no number."""

from __future__ import annotations

import re
import unicodedata

import phonenumbers
from phonenumbers import NumberParseException, PhoneNumber, PhoneNumberFormat

from service.lines.arrived import WITHHELD

__all__ = ["e164", "sender_of"]

LONGEST = 64  # characters kept of a sender that is no number
# What networks and gateways write for a hidden number: common practice, no source; the digits are
# "anonymous" on a keypad.
_HIDDEN = frozenset(
    (
        *("anonymous", "unknown", "restricted", "withheld", "private", "unavailable", "blocked"),
        *("hidden", "none", "null", "0", "no-caller-id", "number-withheld"),
        *("266696687", "+266696687"),
    )
)
_MOST_SHORT = 6  # digits of a short code that might pass for a number somewhere
# A `tel:` whose context is a network's name is good inside that network only (RFC 3966, 5.1.5).
_SHAPE = re.compile(r"(tel:)?[+0-9().\-/\s]+(;phone-context=\+[0-9.\-]+)?", re.IGNORECASE)


def sender_of(raw: str, country: str) -> str:
    """What stands for the sender; equal for two ways of writing the same number."""
    shown = _visible(raw)
    if not shown or shown.lower().replace(" ", "-") in _HIDDEN:
        return WITHHELD
    return e164(shown, country) or shown[:LONGEST]


def e164(raw: str, country: str) -> str | None:
    """The number in E.164 (ITU-T E.164: at most 15 digits), or None for what is no number.

    Args:
        raw: As a person or a gateway writes it; `tel:` of RFC 3966 too. Without a plus it is
            read as one of the country, or as one with a country code, whichever exists.
        country: ISO 3166, two capitals.
    """
    shown = _visible(raw)
    if not _SHAPE.fullmatch(shown):
        return None
    readings = [_parsed(shown, country)]
    digits = shown.lstrip("0") if shown.isdecimal() else ""
    if digits == shown:
        readings.append(_parsed(f"+{digits}", None))
    found = [number for number in readings if number and phonenumbers.is_possible_number(number)]
    exact = [number for number in found if phonenumbers.is_valid_number(number)]
    if not exact and shown.isdecimal() and len(shown) <= _MOST_SHORT:
        return None
    for number in exact or found:
        return phonenumbers.format_number(number, PhoneNumberFormat.E164)
    return None


def _parsed(text: str, country: str | None) -> PhoneNumber | None:
    try:
        return phonenumbers.parse(text, country)
    except NumberParseException:
        return None


def _visible(raw: str) -> str:
    """Without the marks of direction that addresses copied from a telephone carry."""
    kept = "".join(c for c in raw if unicodedata.category(c) not in ("Cf", "Cc", "Cs"))
    return unicodedata.normalize("NFKC", kept).strip()

"""Telephone numbers: E.164 out of what people write, and what cannot be a guest's telephone.

A text message's sender is only what its network says it is. What no telephone of a guest could
send from is told apart here, and is never matched with a stay.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from enum import StrEnum

import phonenumbers
from phonenumbers import NumberParseException, PhoneNumber, PhoneNumberFormat, PhoneNumberType

__all__ = ["WITHHELD", "Look", "NumberError", "country_of", "look", "numbers_in", "to_e164"]

WITHHELD = "withheld"  # what the line says for a sender who hides the number

_LETTER = re.compile(r"[^\W\d_]")
# Nobody travels with one of these; a reply to the first two costs whoever sends it.
_NOBODYS = frozenset(
    (PhoneNumberType.PREMIUM_RATE, PhoneNumberType.SHARED_COST, PhoneNumberType.VOICEMAIL)
)
_SHORT_CODE_DIGITS = range(3, 9)  # common practice, no source: 3 to 8 digits in any country


class NumberError(ValueError):
    """A text is no telephone number; says why, and never repeats it."""


class Look(StrEnum):
    """What a sender looks like; only a TELEPHONE is ever matched with a stay."""

    TELEPHONE = "telephone"
    WITHHELD = "withheld"
    NAME = "name"  # letters: anyone may send under any name
    SHORT_CODE = "short-code"
    EMERGENCY = "emergency"
    OWN = "own"  # the line's own number: a loop, or a forgery
    COSTLY = "costly"  # premium rate, shared cost, a mailbox
    IMPOSSIBLE = "impossible"  # not in its country's number plan


def to_e164(text: str, country: str | None) -> str:
    """The number in E.164; one without a country code is read as `country` dials it.

    `to_e164("0171 3920017", "DE")` → `"+491713920017"`. RFC 3966 URIs (`tel:…`) are read too.

    Raises:
        NumberError: It is no number that its country's plan holds, or has an extension, which
            no text message comes from.
    """
    number = _parsed(text, country)
    if number is None:
        hint = "" if country else ", with + and the country's code"
        raise NumberError(f"is no telephone number; write it in digits{hint}, as +44 20 7946 0018")
    if number.extension:
        raise NumberError("has an extension, which cannot send a text message; leave it out")
    if not phonenumbers.is_valid_number(number):
        raise NumberError(
            "is in no country's number plan; check its digits, and begin with + and the "
            "country's code where it is from abroad"
        )
    if phonenumbers.number_type(number) in _NOBODYS:
        raise NumberError("is a premium-rate, shared-cost or mailbox number; give the guest's own")
    return phonenumbers.format_number(number, PhoneNumberFormat.E164)


def look(sender: str, own: str | None, countries: Iterable[str]) -> Look:
    """What a sender looks like.

    Args:
        sender: E.164, `WITHHELD`, or whatever the gateway said.
        own: The line's own number, E.164.
        countries: Of the houses that the line serves; their emergency numbers are known.
    """
    if sender == WITHHELD or not sender.strip():
        return Look.WITHHELD
    if _LETTER.search(sender):
        return Look.NAME
    if sender == own:
        return Look.OWN
    digits = re.sub(r"\D", "", sender)
    if not sender.startswith("+"):
        if any(phonenumbers.is_emergency_number(digits, country) for country in countries):
            return Look.EMERGENCY
        return Look.SHORT_CODE if len(digits) in _SHORT_CODE_DIGITS else Look.IMPOSSIBLE
    number = _parsed(sender, None)
    if number is None or not phonenumbers.is_valid_number(number):
        return Look.IMPOSSIBLE
    if phonenumbers.number_type(number) in _NOBODYS:
        return Look.COSTLY
    return Look.TELEPHONE


def country_of(number: str) -> str | None:
    """The ISO 3166-1 alpha-2 code of an E.164 number's country; None where it has none."""
    parsed = _parsed(number, None)
    return phonenumbers.region_code_for_number(parsed) if parsed else None


def numbers_in(text: str, country: str | None) -> tuple[str, ...]:
    """The telephone numbers in a running text, E.164, in its order, each once."""
    found = []
    for match in phonenumbers.PhoneNumberMatcher(text, country or "ZZ"):
        try:
            found.append(to_e164(match.raw_string, country))
        except NumberError:
            continue  # a booking number that reads like a telephone's, or one with an extension
    return tuple(dict.fromkeys(found))


def _parsed(text: str, country: str | None) -> PhoneNumber | None:
    # The library reads letters as the digits of their keys ("1-800-…"): no guest has such a number.
    written = text.strip().removeprefix("tel:").split(";")[0]
    if _LETTER.search(written):
        return None
    try:
        return phonenumbers.parse(text.strip(), country)
    except NumberParseException:
        return None

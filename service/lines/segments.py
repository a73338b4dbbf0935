"""What a text message costs: segments counted as the network counts them, and kept few.

3GPP TS 23.040, 9.2.3.16 and 9.2.3.24.1: a message holds 140 octets. That is 160 septets of the
default alphabet or 70 UTF-16 units; where several are joined, a header takes 6 octets of each,
which leaves 153 septets or 67 units. An escape and the character it stands before are never
parted (9.2.3.24.1), nor are the two halves of a surrogate pair (common practice, no source).
"""

from __future__ import annotations

import unicodedata
from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import partial
from types import MappingProxyType

from gsm0338.charset import (
    BASIC_CHARACTER_SET,
    BASIC_CHARACTER_SET_EXTENSION,
)

from service.lines.cuts import character_ends, sentence_ends, word_ends
from service.lines.typography import typewritten
from service.lines.words import offer

__all__ = ["Encoding", "Segments", "count", "fit", "plain", "split"]


class Encoding(StrEnum):
    """How a whole message is written on the air; one character decides for all."""

    GSM_7 = "GSM-7"
    UCS_2 = "UCS-2"


@dataclass(frozen=True, slots=True, kw_only=True)
class Segments:
    """What a text costs.

    Attributes:
        units: Septets in GSM-7, an escape being one; 16-bit units in UCS-2.
        segments: Messages that are paid for; an empty text is one.
    """

    encoding: Encoding
    units: int
    segments: int


# Units of a message on its own, and of one of several.
_ROOM: Mapping[Encoding, tuple[int, int]] = MappingProxyType(
    {Encoding.GSM_7: (160, 153), Encoding.UCS_2: (70, 67)}
)
# 3GPP TS 23.038, 6.2.1 and 6.2.1.1. The escape itself is no character that one could write.
_SEPTETS: Mapping[str, int] = MappingProxyType(
    {unicodedata.lookup(name): 1 for name in BASIC_CHARACTER_SET.values() if name != "ESCAPE"}
    | {unicodedata.lookup(name): 2 for name in BASIC_CHARACTER_SET_EXTENSION.values()}
)


def count(text: str) -> Segments:
    """How many segments the text takes."""
    encoding, sizes = _sizes(text)
    return Segments(
        encoding=encoding, units=sum(sizes), segments=len(_lengths(sizes, *_ROOM[encoding]))
    )


def split(text: str) -> list[str]:
    """The text of each segment, in order."""
    encoding, sizes = _sizes(text)
    parts = []
    start = 0
    for length in _lengths(sizes, *_ROOM[encoding]):
        parts.append(text[start : start + length])
        start += length
    return parts


def plain(text: str) -> str:
    """The text with typographic characters written plainly, where that costs no more.

    One “ or – would make the network send the whole message in UCS-2, at less than half the room.
    Letters stay as they are: "está" and "esta" are two words.
    """
    composed = unicodedata.normalize("NFC", text)
    typed = typewritten(composed)
    written = [composed, text]
    if count(typed).encoding is Encoding.GSM_7:
        written.insert(0, typed)
    return min(written, key=lambda way: count(way).segments)  # the first of the cheapest


def fit(text: str, most_segments: int, language: str = "en") -> tuple[str, str]:
    """The text in at most so many segments, and what is left of it for "reply MORE".

    It is cut at the end of a sentence, or of a word where the first sentence is too long, never
    inside a web address, a number or a code; then the offer of the rest follows on a line of its
    own. Only an address or a code that alone is longer than all the room goes out whole and
    costs more: half of one is of no use.

    Args:
        text: The whole reply, or what was left of it before.
        most_segments: 1 or more.
        language: ISO 639-1, of the offer.

    Returns:
        What is sent, written plainly, and the rest as it was given; "" where all of it is sent.
    """
    text = text.strip()
    whole = plain(text)
    if count(whole).segments <= most_segments:
        return whole, ""

    closing = f"\n{offer(language)}"

    def start(mark: str, place: int) -> str:
        return plain(text[:place].rstrip() + mark + closing)

    def cost(mark: str, place: int) -> int:
        return count(start(mark, place)).segments

    for places, mark in (
        (sentence_ends(text), ""),
        (word_ends(text), "..."),
        (character_ends(text), "..."),
    ):
        # A longer start never costs less, so that those that fit stand first.
        fitting = bisect_left(places, most_segments + 1, key=partial(cost, mark))
        if fitting:
            place = places[fitting - 1]
            return start(mark, place), text[place:].lstrip()

    place = min([*word_ends(text)[:1], *character_ends(text)[:1]], default=len(text))
    return (start("", place), text[place:].lstrip()) if place < len(text) else (whole, "")


def _sizes(text: str) -> tuple[Encoding, list[int]]:
    """The units of each character, in the encoding that the whole text needs."""
    septets = [_SEPTETS.get(character, 0) for character in text]
    if all(septets):
        return Encoding.GSM_7, septets
    return Encoding.UCS_2, [2 if character > "\uffff" else 1 for character in text]


def _lengths(sizes: list[int], alone: int, joined: int) -> list[int]:
    """How many characters each segment holds; every character stays whole."""
    if sum(sizes) <= alone:
        return [len(sizes)]
    lengths = [0]
    room = joined
    for size in sizes:
        if size > room:
            lengths.append(0)
            room = joined
        lengths[-1] += 1
        room -= size
    return lengths

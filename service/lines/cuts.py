"""Where a text may be cut in two: at a sentence's end, a word's, or, if need be, a character's.

No place lies inside a web address, an address of e-mail, a number, or a code of several groups.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator

__all__ = ["character_ends", "sentence_ends", "word_ends"]

# After the mark and what closes with it. Not after an initial ("z. B."), a shortened word, or a
# number of one or two digits, which is a step of a list or, in some languages, a day ("3. Mai").
_SHORTENED = (
    *("No", "Nr", "St", "Dr", "Mr", "Mrs", "Ms", "Sr", "Sra", "Mme", "Str", "Av", "Tel"),
    *("approx", "ca", "bzw", "etc", "vs", "incl", "max", "min"),
)
_NO_END = "".join(rf"(?<!\b{word}\.)" for word in _SHORTENED)
# A run of marks is taken whole or not at all, so that a message of nothing but dots costs no time.
_SENTENCE_END = re.compile(
    rf"""
    (?:
        (?<![!?…])[!?…]++
        | (?<!\.) (?<!\b[^\W\d]) (?<!\s\d) (?<!\s\d\d) (?<!^\d) (?<!^\d\d) \.++ {_NO_END}
    )
    ["”’'»)\]]*+ (?=\s)
    | (?<![。！？])[。！？]++ [」』”)）]*+
    | (?=\n)
    """,
    re.VERBOSE | re.MULTILINE | re.IGNORECASE,
)
_TOKEN = re.compile(r"[!-~£€]+")
_ADDRESS = re.compile(r"://|^www\.|@|[a-z]\.[a-z]{2,}(/|$)", re.IGNORECASE)
_DIGIT = re.compile(r"\d")
_SPACE = re.compile(r"\s+")


def sentence_ends(text: str) -> list[int]:
    """Where a sentence or a line ends and more follows, from the start."""
    ends = {match.end() for match in _SENTENCE_END.finditer(text)}
    return _allowed(text, (end for end in sorted(ends) if not _continues(text, end)))


def word_ends(text: str) -> list[int]:
    """Where a word ends, from the start; not between a number and what it counts.

    Scripts of wide characters have no spaces: there each character is a place.
    """
    spaces = [match.start() for match in _SPACE.finditer(text)]
    ends = [end for end in spaces if end and not text[end - 1].isdigit()]
    wide = [_is_wide(character) for character in text]
    ends += [at for at in range(1, len(text)) if wide[at - 1] and wide[at]]
    return _allowed(text, sorted(ends))


def character_ends(text: str) -> list[int]:
    """Where one visible character ends and another begins, from the start."""
    return _allowed(text, (at for at in range(1, len(text)) if not _joined(text[at - 1], text[at])))


def _continues(text: str, end: int) -> bool:
    """Whether what follows goes on in small letters, so that no sentence ended."""
    following = text[end:].lstrip(" ")[:1]
    return following.islower() and text[end - 1 : end] not in "!?"


def _allowed(text: str, places: Iterator[int] | list[int]) -> list[int]:
    """The places inside the text that lie in no protected span."""
    kept = []
    spans = iter(_protected(text))
    start, end = next(spans, (len(text), len(text)))
    for place in places:
        while end <= place < len(text) and (start, end) != (len(text), len(text)):
            start, end = next(spans, (len(text), len(text)))
        if 0 < place < len(text) and not start < place < end:
            kept.append(place)
    return kept


def _protected(text: str) -> Iterator[tuple[int, int]]:
    """Addresses, numbers and codes; groups of digits one space apart are one."""
    open_span: tuple[int, int] | None = None
    for match in _TOKEN.finditer(text):
        token, (start, end) = match.group(), match.span()
        counts = bool(_DIGIT.search(token))
        if open_span and not (counts and start == open_span[1] + 1 and text[start - 1] in " \xa0"):
            yield open_span
            open_span = None
        if counts and token[-1] not in ".,;:!?":
            open_span = (open_span or (start, end))[0], end
        elif open_span:
            yield open_span[0], end
            open_span = None
        elif counts or _ADDRESS.search(token):
            yield start, end
    if open_span:
        yield open_span


def _is_wide(character: str) -> bool:
    return character.isalpha() and unicodedata.east_asian_width(character) in "WF"


def _joined(left: str, right: str) -> bool:
    """Whether the two are shown as one: an accent, the pieces of an emoji, the two of a flag."""
    return (
        unicodedata.category(right) in ("Mn", "Mc", "Me")
        or "\u200d" in (left, right)
        or "\U0001f3fb" <= right <= "\U0001f3ff"
        or ("\U0001f1e6" <= left <= "\U0001f1ff" and "\U0001f1e6" <= right <= "\U0001f1ff")
    )

"""Typographic characters as a typewriter would write them, with the default alphabet in mind."""

from __future__ import annotations

import re
from types import MappingProxyType

__all__ = ["typewritten"]

# Which characters are worth mapping is common practice, no source; that none of them is in the
# default alphabet, and what they are mapped to is: 3GPP TS 23.038, 6.2.1.
_TYPED = {
    **dict.fromkeys("‘’‚‛′‹›`´", "'"),
    **dict.fromkeys("“”„‟″«»", '"'),
    **dict.fromkeys("‐‑‒–—―−•‣◦⁃∙", "-"),
    **dict.fromkeys("\t\xa0\u2007\u2009\u200a\u202f\u205f\u3000", " "),
    **dict.fromkeys(map(chr, range(0x2000, 0x2007)), " "),
    # Seen by nobody: soft hyphen, zero-width space, word joiner, byte order mark, directions.
    **dict.fromkeys("\xad\u200b\u2060\ufeff\u200e\u200f", ""),
    **{"…": "...", "×": "x", "→": "->", "←": "<-", "≤": "<=", "≥": ">=", "⁄": "/"},
    **{"\u2028": "\n", "\u2029": "\n"},
}
_TABLE = str.maketrans(_TYPED)
_FRACTIONS = MappingProxyType({"½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3"})
_FRACTION = re.compile(r"(\d?)\s?([½¼¾⅓⅔])")
_INNER_SPACE = re.compile("(?<=«)[\xa0\u202f]|[\xa0\u202f](?=»)")  # French puts them there
_DEGREES = re.compile(r"°(?=[CF]\b)")
_SQUARE = re.compile(r"(?<=m)[²³]")


def typewritten(text: str) -> str:
    """The text with quotes, dashes, spaces and signs written plainly; letters are left alone."""
    text = _INNER_SPACE.sub("", text)
    text = _DEGREES.sub("", text)
    text = _SQUARE.sub(lambda sign: "2" if sign.group() == "²" else "3", text)
    text = _FRACTION.sub(_fraction, text)
    return text.translate(_TABLE)


def _fraction(match: re.Match[str]) -> str:
    """A fraction after a number stands apart from it: 1½ is 1 1/2, not 11/2."""
    whole, sign = match.groups()
    return f"{whole} {_FRACTIONS[sign]}" if whole else match.group()[:-1] + _FRACTIONS[sign]

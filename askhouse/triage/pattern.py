"""Patterns of the guidance file, read in two steps: RE2 says which may match, `re` which do.

RE2 knows no lookaround, but reads a pattern in a hundredth of the time and a text in linear
time. Without its lookarounds a pattern can only match more, so that what RE2 does not find
`re` would not either; the few patterns that are left are compiled when a message asks for them.
"""

from __future__ import annotations

import re
from functools import cache

import re2

__all__ = ["Pattern", "loosened"]

_LOOKAROUND = re.compile(r"\(\?<?[=!]")
_BEYOND_ASCII = re.compile(r"[^\x00-\x7f]")
_QUIETLY = re2.Options()
_QUIETLY.log_errors = False


class Pattern:
    """A regular expression as Python's `re` has it, for texts as `wordlist.plain` writes them.

    Raises:
        ValueError: It cannot be read.
    """

    def __init__(self, pattern: str) -> None:
        self.text = pattern
        try:
            self._may_match = re2.compile(loosened(pattern), _QUIETLY)
        except re2.error as error:
            raise ValueError(f"{pattern!r} is no pattern: {error}") from error

    def found_in(self, text: str) -> bool:
        """Whether it matches anywhere in the text."""
        return bool(self._may_match.search(_ascii(text))) and bool(_exact(self.text).search(text))


def loosened(pattern: str) -> str:
    """The pattern without what it looks for ahead and behind: `gas(?! station)` -> `gas`."""
    kept, at = "", 0
    while found := _LOOKAROUND.search(pattern, at):
        if _escaped(pattern, found.start()):
            kept, at = kept + pattern[at : found.end()], found.end()
            continue
        kept += pattern[at : found.start()]
        at = _closing(pattern, found.start()) + 1
    return kept + pattern[at:]


def _escaped(pattern: str, at: int) -> bool:
    before = pattern[:at]
    return (len(before) - len(before.rstrip("\\"))) % 2 == 1


def _closing(pattern: str, at: int) -> int:
    """The place of the bracket that closes the one at `at`."""
    depth, in_class = 0, False
    while at < len(pattern):
        character = pattern[at]
        if character == "\\":
            at += 1
        elif in_class:
            in_class = character != "]"
        elif character == "[":
            in_class = True
        elif character == "(":
            depth += 1
        elif character == ")":
            depth -= 1
            if depth == 0:
                return at
        at += 1
    raise ValueError(f"{pattern!r} is no pattern: a bracket is not closed")


def _ascii(text: str) -> str:
    # RE2's \w and \b know ASCII alone; any other letter must be a letter to it, too.
    if text.isascii():
        return text
    return _BEYOND_ASCII.sub(lambda found: "x" if found[0].isalnum() else " ", text)


@cache
def _exact(pattern: str) -> re.Pattern[str]:
    # Case counts, since `plain` leaves no capital: ignoring it takes twice as long to match.
    return re.compile(pattern)

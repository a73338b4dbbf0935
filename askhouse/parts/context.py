"""A part read with what was said before it: "and the password?" needs the thread."""

from __future__ import annotations

import re
from collections.abc import Sequence

from askhouse.parts.clean import readable
from askhouse.values import Turn
from askhouse.words import words

__all__ = ["leans_back", "points_back", "reading", "with_before"]

_OPENING = re.compile(
    r"^(?:ok(?:ay)?[\s,]+|great[\s,]+|thanks?[\s,]+)*(?:and\b(?! also)|what about|how about|which one|"
    r"y (?:el|la|los|las)\b|et (?:le|la|les)\b|und (?:das|der|die)\b|e (?:il|la|i|le|o|a|os|as)\b|"
    r"en (?:de|het)\b)",
    re.IGNORECASE,
)
_POINTS_BACK = frozenset(
    "it its that this one ones them they those these there both either same he she".split()  # noqa: SIM905
)
_FEW = 7  # words; a longer part says itself what it is about
_THINGS = frozenset("it one ones them that those these some".split())  # noqa: SIM905
_SHORT = 12  # words, in which such a thing can be the one that was asked about
_LOOK_BACK = 300  # characters; the encoder reads 128 tokens, and the part's own words come last
_BARE = frozenset(
    """how do does did i we you to is are was can could what which where when why who turn switch
    on off use work works get a an the and or of in at for with long much many far open close shut
    go so then ok be been my our your up down out any time day please""".split()  # noqa: SIM905
)


def leans_back(part: str) -> bool:
    """Whether a part can only be understood with what came before it."""
    own = words(part)
    if not own:
        return False
    if _OPENING.match(part) and len(own) <= _FEW:
        return True
    topical = [word for word in own if word not in _BARE and word not in _POINTS_BACK]
    return not topical and any(word in _POINTS_BACK for word in own)


def points_back(part: str) -> bool:
    """Whether a short part speaks of a thing that it does not name ("she has eaten one")."""
    own = words(part)
    return len(own) <= _SHORT and any(word in _THINGS for word in own)


def reading(part: str, before: Sequence[str], thread: Sequence[Turn]) -> str:
    """What triage and search read for a part.

    Args:
        part: The guest's words.
        before: The earlier parts of the same message.
        thread: The earlier messages, oldest first.
    """
    if not leans_back(part):
        return part
    if before:
        return f"{_end_of(before[-1])} {part}".strip()
    if thread:
        return with_before(part, thread)
    return part


def with_before(part: str, thread: Sequence[Turn]) -> str:
    """The part behind the end of the message before it."""
    return f"{_end_of(readable(thread[-1].text))} {part}".strip()


def _end_of(text: str) -> str:
    """The last words of a text, whole, in at most `_LOOK_BACK` characters."""
    if len(text) <= _LOOK_BACK:
        return text
    return text[-_LOOK_BACK:].partition(" ")[2]

"""A message as received -> text that can be worked on, or a clear error."""

from __future__ import annotations

import re
import unicodedata

from askhouse.errors import MessageError

__all__ = ["MAX_CHARACTERS", "clean", "readable"]

# More than sixty text messages in one; beyond that it is not a guest's question.
MAX_CHARACTERS = 10_000
_SPACES = re.compile(r"[^\S\n]+")
_BLANK_LINES = re.compile(r"\s*\n\s*")
# Kept although Unicode files them under "format": they join emoji and some scripts.
_JOINERS = "\u200c\u200d"


def clean(text: str) -> str:
    """The text without control characters and needless white space, in NFC.

    Raises:
        MessageError: The text is too long, or holds nothing at all.
    """
    if len(text) > MAX_CHARACTERS:
        raise MessageError(
            f"the message has {len(text)} characters, at most {MAX_CHARACTERS} can be read: "
            "send the question alone"
        )
    kept = readable(text)
    if not kept.strip(_JOINERS + " \n"):
        raise MessageError("the message is empty: send what the guest wrote")
    return kept


def readable(text: str) -> str:
    """The same for any text, of any length, without an error."""
    kept = "".join(character for character in text if _can_be_read(character))
    return _BLANK_LINES.sub("\n", _SPACES.sub(" ", unicodedata.normalize("NFC", kept))).strip()


def _can_be_read(character: str) -> bool:
    # A vertical tab or a lone carriage return is a control character, and parts two words.
    if character.isspace() or character in _JOINERS:
        return True
    return unicodedata.category(character) not in _UNREADABLE


_UNREADABLE = frozenset({"Cc", "Cf", "Cs", "Co", "Cn"})

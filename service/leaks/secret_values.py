"""What must not be found, and how it is looked for."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from askhouse.answer.guard import tellable
from askhouse.values import Fact, House
from service.blots import BLOT, guest_words

__all__ = ["Finder", "kept_back", "secrets_of", "strings"]

_SQUEEZED = 6  # characters from which on a secret is also looked for without what separates them
_APART = re.compile(r"[^0-9a-z]+")


def kept_back(house: House) -> list[Fact]:
    """The facts that the guard keeps from a sender who is not verified."""
    told = set(tellable(house.facts, verified=False))
    return [fact for fact in house.facts if fact not in told]


def secrets_of(house: House, fact: Fact) -> list[str]:
    """The codes and passwords of such a fact: the words of it that are blotted in what is kept."""
    words = (word.strip(".,;:!?\"'") for word in fact.text.split())
    return [word for word in dict.fromkeys(words) if guest_words(word, house) == BLOT]


class Finder:
    """Looks for secrets in a text: as words in any case, long ones also with anything between."""

    def __init__(self, secrets: Iterable[str]) -> None:
        self._words = {
            secret: re.compile(rf"(?<!\w){re.escape(secret)}(?!\w)", re.IGNORECASE)
            for secret in sorted(set(secrets))
        }
        squeezed = {secret: _APART.sub("", secret.lower()) for secret in self._words}
        self._squeezed = {s: text for s, text in squeezed.items() if len(text) >= _SQUEEZED}

    def __call__(self, text: str) -> list[str]:
        """The secrets that stand in the text."""
        found = [secret for secret, word in self._words.items() if word.search(text)]
        close = _APART.sub("", text.lower())
        return found + [s for s, text in self._squeezed.items() if s not in found and text in close]


def strings(content: Any) -> Iterator[str]:
    """All strings of a JSON value; numbers are left out, since 0.638 is not the code 638."""
    if isinstance(content, str):
        yield content
    elif isinstance(content, Mapping):
        yield from (s for key, value in content.items() for s in (str(key), *strings(value)))
    elif isinstance(content, list | tuple):
        yield from (s for value in content for s in strings(value))

"""Secrets taken out of a text that is kept: what a guest was told can be read, the code cannot.

How a secret is found in a fact's text is `askhouse.search.views.without_secrets`, which keeps it
out of the index too: whatever is missing from the text it leaves is taken for a secret.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from askhouse.answer.length import sentences
from askhouse.search.views import without_secrets
from askhouse.values import Fact, House
from service.lines.segments import plain

__all__ = ["BLOT", "blotted", "guest_words"]

BLOT = "•••"
_EDGES = " \t\n.,;:!?\"'“”‘’„«»()[]"
# What a guest may repeat: 4719, C903, heron-lantern. A shorter one is more often a number of
# people, and a plain word of a fact, such as "porch", is no secret in a guest's mouth.
_TELLING = re.compile(r"(?=.{3,})(?!^[^\W\d_]+$).+")


def blotted(text: str, facts: Iterable[Fact], *also: str | None) -> str:
    """The text with every secret of the sensitive ones of these facts blotted out.

    Args:
        text: What was said from the facts, in full or cut.
        facts: The facts it was said from; one that is not sensitive has no secret.
        also: Further secrets, such as a stay's own door code.
    """
    for fact in facts:
        if fact.sensitive:
            text = _without_sentences(text, fact.text)
            text = _without(text, _secrets(fact))
    return _without(text, filter(None, also))


def guest_words(text: str, house: House, *also: str | None) -> str:
    """A guest's words without any secret of the house, should they repeat one."""
    secrets = {secret for fact in house.facts if fact.sensitive for secret in _secrets(fact)}
    telling = [secret for secret in secrets if _TELLING.fullmatch(secret)]
    return _without(text, [*telling, *filter(None, also)])


def _without_sentences(text: str, said: str) -> str:
    # Whole sentences first: a secret of common words is then gone with its order.
    for piece in (said, *sentences(said)):
        kept = without_secrets(piece).replace("…", BLOT)
        for written in (piece, plain(piece)):
            text = text.replace(written, kept)
    return text


def _secrets(fact: Fact) -> list[str]:
    """The words of a sensitive fact that may not be kept."""
    kept = {word.strip(_EDGES) for word in without_secrets(fact.text).split()}
    words = [word.strip(_EDGES) for word in fact.text.split()]
    return [word for word in dict.fromkeys(words) if word and word not in kept]


def _without(text: str, secrets: Iterable[str]) -> str:
    for secret in sorted(secrets, key=len, reverse=True):
        text = re.sub(rf"(?<!\w){re.escape(secret)}(?!\w)", BLOT, text, flags=re.IGNORECASE)
    return text

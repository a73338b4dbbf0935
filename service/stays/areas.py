"""Which house a guest means by the area they name; never said to them the other way round."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from rapidfuzz import fuzz
from rapidfuzz.utils import default_process

from service.stays.settings import StayRules, rules_of

__all__ = ["area_named"]

# A letter wrong in eight still counts ("habour"); "north" is not taken for "south" (60).
ENOUGH = 86.0
# The second house must be this much less like it, or the answer could mean either.
APART = 8.0
# Shorter ones would be found by chance in any message.
_LEAST_LETTERS = 3
_SMALL_WORDS = frozenset(["a", "an", "the", "in", "at", "by", "near", "on", "of", "to"])


def area_named(
    text: str, houses_of_line: Iterable[str], rules: Mapping[str, StayRules]
) -> str | None:
    """The slug of the one house whose area the text names; None if it names none, or could be two.

    `area_named("we're in the one by the harbor", …)` → `"harbour-flat"`, where that house's area
    is "harbour". A house without an area cannot be named.
    """
    said = _words(text)
    scores = sorted(
        ((_likeness(said, rules_of(slug, rules)), slug) for slug in houses_of_line), reverse=True
    )
    if not scores or scores[0][0] < ENOUGH:
        return None
    if len(scores) > 1 and scores[0][0] - scores[1][0] < APART:
        return None
    return scores[0][1]


def _likeness(said: list[str], rules: StayRules) -> float:
    """How much like an area's name the likest words of the text are, 0 to 100."""
    names = [_words(name) for name in (rules.area, *rules.also_called) if name]
    return max((_best(said, name) for name in names), default=0.0)


def _words(text: str) -> list[str]:
    return [word for word in default_process(text).split() if word not in _SMALL_WORDS]


def _best(words: list[str], name: list[str]) -> float:
    """The likest run of as many words as the name has, or one more or less ("sea side")."""
    target, length = "".join(name), len(name)
    if len(target) < _LEAST_LETTERS:
        return 0.0
    runs = [
        "".join(words[start : start + size])
        for size in {max(length - 1, 1), length, length + 1}
        for start in range(len(words) - size + 1)
    ]
    return max((fuzz.ratio(run, target) for run in runs), default=0.0)

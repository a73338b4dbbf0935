"""A part and its hits -> the numbers that decide whether a fact answers it."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from askhouse.kinds import Scores
from askhouse.values import Hit
from askhouse.words import stems, words

__all__ = ["SIGNALS", "hit_signals"]

_ASKS = {
    "asks_where": re.compile(r"\b(?:wher\w*|dove|dónde|donde|où|wo|waar|onde)\b", re.I),
    "asks_when": re.compile(
        r"\b(?:when\w*|what time|what day|until|till|how late|wann|quand|cuándo)\b", re.I
    ),
    "asks_how": re.compile(
        r"\b(?:how (?:do|does|to|can|u|d)|hw|working?|comment|cómo|wie|hoe)\b", re.I
    ),
    "asks_may": re.compile(
        r"\b(?:can (?:we|i|u|you)|may|allowed|ok (?:to|if|for)|is it ok|fine to|possible|permitted)\b",
        re.I,
    ),
    "asks_is_there": re.compile(
        r"\b(?:is there|are there|any|do you have|have you|got (?:a|any)|do we (?:get|have))\b|^\W*\w+\W*\?+\W*$",
        re.I,
    ),
    "asks_amount": re.compile(
        r"\b(?:how (?:much|many|long|far|big|deep|hot|cold|old|fast)|cost|price|size)\b", re.I
    ),
}

SIGNALS = (
    "similarity",
    "whole",
    "wording",
    "covered",
    "ahead",  # how far the best hit's fused score is above the next one's
    "behind",  # how far this hit is behind the best
    "best",  # 1 for the best hit
    "answers",  # the reader's logit; 0 where it was not asked
    "missing",  # share of topical words that no fact of the hits holds
    "length",
    *_ASKS,
    "kind_safety",
    "kind_lockout",
    "kind_damage",
    "kind_request",
    "kind_complaint",
    "kind_chat",
    "sensitive",
)
"""The names of the signals, in the order of the numbers."""


def hit_signals(text: str, hits: Sequence[Hit], kinds: Scores) -> NDArray[np.float64]:
    """The signals of every hit, `(len(hits), len(SIGNALS))`.

    Args:
        text: The part as it was searched.
        hits: Best first, at least one.
        kinds: The kind head's probabilities for the part.
    """
    ahead = hits[0].fused - hits[1].fused if len(hits) > 1 else 0.0
    asked = set(stems(text))
    missing = 1.0 - max((hit.covered for hit in hits), default=0.0) if asked else 0.0
    asks = [float(bool(pattern.search(text))) for pattern in _ASKS.values()]
    length = min(len(words(text)), 60) / 20
    kind = [
        _logit(kinds.get(name.removeprefix("kind_"), 0.0))
        for name in SIGNALS
        if name.startswith("kind_")
    ]
    return np.array(
        [
            [
                hit.similarity,
                hit.whole,
                hit.wording / (hit.wording + 4.0),
                hit.covered,
                ahead,
                hits[0].fused - hit.fused,
                float(hit.rank == 1),
                _logit(hit.answers) if hit.answers is not None else 0.0,
                missing,
                length,
                *asks,
                *kind,
                float(hit.fact.sensitive),
            ]
            for hit in hits
        ]
    )


def _logit(probability: float) -> float:
    bounded = min(max(probability, 1e-4), 1 - 1e-4)
    return float(np.log(bounded / (1 - bounded)))

"""A part and its hits -> the numbers that decide whether a fact answers it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from askhouse.kinds import Scores
from askhouse.search.views import without_secrets
from askhouse.topics import Topics
from askhouse.values import Fact, Hit
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
        r"\b(?:is there|are there|any|do you have|have you|got (?:a|any)|do we (?:get|have))\b|^\W*\w+[^\w?]*\?\W*$",
        re.I,
    ),
    "asks_amount": re.compile(
        r"\b(?:how (?:much|many|long|far|big|deep|hot|cold|old|fast)|cost|price|size)\b", re.I
    ),
}

_KIND_SIGNALS = ("safety", "lockout", "damage", "request", "complaint", "chat")

SIGNALS = (
    "similarity",
    "whole",
    "wording",
    "covered",
    "ahead",  # how far the best hit's fused score is above the next one's
    "behind",  # how far this hit is behind the best
    "best",  # 1 for the best hit
    "answers",  # the reader's logit; 0 where it was not asked
    "answers_ahead",  # how far this hit's logit is above the best of the others
    "topic_named",  # 1 if the part names a topic of the trade catalogue
    "topic_shared",  # 1 if this fact is about one of those topics
    "topic_held",  # 1 if any hit is
    "missing",  # share of topical words that no fact of the hits holds
    "length",
    *_ASKS,
    *(f"kind_{name}" for name in _KIND_SIGNALS),
    "sensitive",
)
"""The names of the signals, in the order of the numbers."""


def hit_signals(
    text: str, hits: Sequence[Hit], kinds: Scores, catalogue: Topics
) -> NDArray[np.float64]:
    """The signals of every hit, `(len(hits), len(SIGNALS))`.

    Args:
        text: The part as it was searched.
        hits: Best first, at least one.
        kinds: The kind head's probabilities for the part.
        catalogue: The topics of the trade.
    """
    ahead = hits[0].fused - hits[1].fused if len(hits) > 1 else 0.0
    missing = 1.0 - max(hit.covered for hit in hits) if stems(text) else 0.0
    asks = [float(bool(pattern.search(text))) for pattern in _ASKS.values()]
    length = min(len(words(text)), 60) / 20
    kind = [_logit(kinds.get(name, 0.0)) for name in _KIND_SIGNALS]
    asked = catalogue.of(text)
    shared = [bool(asked & _fact_topics(hit.fact, catalogue)) for hit in hits]
    answers = [_logit(hit.answers) if hit.answers is not None else 0.0 for hit in hits]
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
                answers[place],
                answers[place] - max([a for i, a in enumerate(answers) if i != place], default=0.0),
                float(bool(asked)),
                float(shared[place]),
                float(any(shared)),
                missing,
                length,
                *asks,
                *kind,
                float(hit.fact.sensitive),
            ]
            for place, hit in enumerate(hits)
        ]
    )


def _fact_topics(fact: Fact, catalogue: Topics) -> frozenset[str]:
    """The topics of a fact; kept, since a fact is asked about again and again."""
    return _topics_of(fact.title, fact.asks, fact.text, catalogue)


@lru_cache(maxsize=4096)
def _topics_of(title: str, asks: tuple[str, ...], text: str, catalogue: Topics) -> frozenset[str]:
    # By its words rather than by the fact: a fact's hash reads every field each time.
    return catalogue.of(f"{title}. {' '.join(asks)}. {without_secrets(text)}")


def _logit(probability: float) -> float:
    bounded = min(max(probability, 1e-4), 1 - 1e-4)
    return float(np.log(bounded / (1 - bounded)))

"""Where the parts of a labelled message begin.

For most messages the corpus says how many parts they have and what answers each, not
where one ends. So each place where a part may begin is tried, and that cut is taken whose
pieces are nearest to what their labels name.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import combinations, pairwise
from math import comb

import numpy as np
from numpy.typing import NDArray

from askhouse.encoder import Encoded, Encoder, Vectors
from askhouse.kinds import Kinds
from askhouse.search.views import views_of
from askhouse.training.corpus import Label, Line
from askhouse.values import House

__all__ = ["Cutter"]

_MOST_PARTS = 3
_MOST_CHOICES = 120  # of places to cut; what has more of them would take too long
_STOP = 0.20  # what a full stop, question mark or comma before a place adds
_JOIN = 0.15  # what a joiner or the opening of a question behind it adds
_UNKNOWN = 0.45  # the likeness of a piece to a gap that comes close to no fact
_KIND = 1.2  # a sure kind weighs as much as a near fact
_OPENING = re.compile(
    r"(?:and|also|plus|und|auch|et|aussi|y|e|en|ook|oh|&|what|whats|where|wheres|when|how|is|are|can|"
    r"do|does|wo|wie|wann|gibt|où|quand|dónde|donde|cuándo|come|dove|quando|waar|hoe|onde|como|any|"
    r"hay|c'è|è|which|who)\b",
    re.IGNORECASE,
)


class Cutter:
    """Finds the starts of parts.

    Args:
        encoder: Tells how near a piece is to a fact.
        kinds: Tells how much a piece sounds like a kind.
    """

    def __init__(self, encoder: Encoder, kinds: Kinds) -> None:
        self._encoder = encoder
        self._kinds = kinds
        self._vectors: dict[tuple[str, str], Vectors] = {}

    def starts(self, line: Line, house: House) -> tuple[int, ...] | None:
        """The characters at which the second and later parts begin; None where it cannot tell."""
        if line.starts is not None:
            return line.starts
        count = len(line.labels)
        words = [match.start() for match in re.finditer(r"\S+", line.text)]
        ease = {place: gain for place in words[1:] if (gain := _ease(line.text, place))}
        if count > _MOST_PARTS or len(ease) < count - 1:
            return None
        if comb(len(ease), count - 1) > _MOST_CHOICES:
            return None
        choices = list(combinations(ease, count - 1))
        spans = sorted({span for choice in choices for span in _spans(choice, line.text)})
        encoded = self._encoder.encode_words([line.text[a:b].strip() for a, b in spans])
        scores = [
            dict(zip(spans, self._likeness(label, house, encoded), strict=True))
            for label in line.labels
        ]
        return max(
            choices,
            key=lambda choice: (
                sum(ease[place] for place in choice)
                + sum(
                    score[span]
                    for score, span in zip(scores, _spans(choice, line.text), strict=True)
                )
            ),
        )

    def _likeness(self, label: Label, house: House, pieces: Sequence[Encoded]) -> list[float]:
        if label.kind != "question":
            return [_KIND * self._kinds.read("", piece)[0][label.kind] for piece in pieces]
        facts = [*label.needed, *label.also, *label.near]
        if not facts:
            return [_UNKNOWN] * len(pieces)
        views: NDArray[np.float32] = np.concatenate([self._views(house, fact) for fact in facts])
        return [float((views @ piece.vector).max()) for piece in pieces]

    def _views(self, house: House, name: str) -> Vectors:
        key = (house.slug, name)
        if key not in self._vectors:
            fact = next(fact for fact in house.facts if fact.id == name)
            self._vectors[key] = self._encoder.encode(list(views_of(fact)))
        return self._vectors[key]


def _ease(text: str, place: int) -> float:
    """How much a part may begin there, by what stands before and behind."""
    stopped = text[:place].rstrip()[-1:] in {*".?!,;"} or "\n" in text[place - 1 : place]
    return _STOP * stopped + _JOIN * bool(_OPENING.match(text[place:]))


def _spans(starts: Sequence[int], text: str) -> list[tuple[int, int]]:
    return list(pairwise((0, *starts, len(text))))

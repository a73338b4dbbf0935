"""Stand-ins: real implementations, so simple that their numbers can be worked out in the head.

They are held to the same contracts (`contracts.py`) as what they stand in for. When the engine's
wiring changes, this is the one place in the tests that changes with it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from askhouse.assistant import Assistant
from askhouse.decision.calibration import Calibration, Network, Promise
from askhouse.decision.signals import SIGNALS
from askhouse.encoder import Encoded, Vectors, WordStates
from askhouse.kinds import KINDS, Kinds
from askhouse.search.search import HouseSearch
from askhouse.search.store import VectorStore
from askhouse.topics import topics
from askhouse.triage.guidance import guidance
from askhouse.values import Hazard, House
from askhouse.words import words

__all__ = [
    "WORDS",
    "CountingEncoder",
    "LengthReader",
    "ReadingEncoder",
    "WordEncoder",
    "make_assistant",
    "make_calibration",
    "make_kinds",
]

WORDS = (
    # what the facts of tests/house are about
    *("password", "door", "code", "bins", "recycling", "parking", "park", "cars", "heating"),
    *("thermostat", "turn", "leaving", "leave", "checkout", "stove", "levers", "logs", "log"),
    *("lighter", "kindling", "fire", "going", "boat", "oars"),
    # what none of them is about
    *("sauna", "iron"),
    # what the heads made by hand listen to
    *("gas", "smoke", "locked", "broken", "refund", "dirty", "lovely"),
)
"""The words that the encoder knows: an axis each."""


class WordEncoder:
    """Counts the known words, and scales the counts to length one.

    "bins, bins and the boat" has the counts bins 2, boat 1, so its cosine with "bins" is 2/√5.
    A text without a known word points along an axis of its own, the last.
    """

    name = "stand-in:words"
    size = len(WORDS) + 1
    width = 0  # it has no reader

    def encode(self, texts: Sequence[str]) -> Vectors:
        vectors = np.zeros((len(texts), self.size), dtype=np.float32)
        for place, text in enumerate(texts):
            said = words(text)
            counts = [said.count(word) for word in WORDS]
            counts.append(0 if any(counts) else 1)
            vectors[place] = np.array(counts) / math.sqrt(sum(n * n for n in counts))
        return vectors

    def encode_words(self, texts: Sequence[str]) -> list[Encoded]:
        return [Encoded(vector) for vector in self.encode(texts)]


class CountingEncoder(WordEncoder):
    """A `WordEncoder` that remembers which texts it was asked for."""

    def __init__(self, name: str = WordEncoder.name) -> None:
        self.name = name
        self.asked: list[str] = []

    def encode(self, texts: Sequence[str]) -> Vectors:
        self.asked += texts
        return super().encode(texts)


class ReadingEncoder(CountingEncoder):
    """A `WordEncoder` with a state for each word: the word's length, and its place in the text."""

    width = 2

    def encode_words(self, texts: Sequence[str]) -> list[Encoded]:
        return [
            Encoded(vector, np.array(_states(text), dtype=np.float16).reshape(-1, self.width))
            for text, vector in zip(texts, self.encode(texts), strict=True)
        ]


def _states(text: str) -> list[tuple[int, int]]:
    return [(len(word), place) for place, word in enumerate(words(text))]


class LengthReader:
    """A reader to whom a fact answers the better, the more words it has: n words, n / (n + 1)."""

    def answers(
        self, asked: WordStates, facts: Sequence[WordStates], cosines: NDArray[np.float32]
    ) -> NDArray[np.float64]:
        assert len(facts) == len(cosines)
        return np.array([len(fact) / (len(fact) + 1) for fact in facts])


LOUD = 12.0  # one word in a part of four is still surer than 0.9
QUESTION = 3.0  # without such a word, a part is a question

_KIND_WORDS = {
    "safety": ("gas", "smoke"),
    "lockout": ("locked",),
    "damage": ("broken",),
    "request": ("refund",),
    "complaint": ("dirty",),
    "chat": ("lovely",),
}
_HAZARD_WORDS = {Hazard.GAS: ("gas",), Hazard.FIRE: ("smoke",), Hazard.UNCLEAR: ()}


def make_kinds(folder: Path, encoder: WordEncoder) -> Kinds:
    """Heads that listen to single words; written to a file and opened like the trained ones."""
    path = folder / "heads-stand-in.npz"
    np.savez(
        path,
        encoder=np.array(encoder.name),
        kind_classes=np.array(KINDS),
        kind_weights=_listening(_KIND_WORDS.get(kind, ()) for kind in KINDS),
        kind_bias=np.array([QUESTION * (kind == "question") for kind in KINDS], dtype=np.float32),
        hazard_classes=np.array([str(hazard) for hazard in _HAZARD_WORDS]),
        hazard_weights=_listening(_HAZARD_WORDS.values()),
        hazard_bias=np.array(
            [QUESTION * (hazard is Hazard.UNCLEAR) for hazard in _HAZARD_WORDS], dtype=np.float32
        ),
    )
    return Kinds(path, encoder)


def _listening(heard: Iterable[Sequence[str]]) -> Vectors:
    rows = [[LOUD * (word in own) for word in WORDS] + [0.0] for own in heard]
    return np.array(rows, dtype=np.float32)


def make_calibration(encoder: WordEncoder, *, also: float = 0.99) -> Calibration:
    """A fact answers when the cosine of its nearest view is 0.8 or more, whatever else is.

    A further fact is given from the chance `also` on.
    """
    return Calibration(
        encoder=encoder.name,
        reader="",
        network=Network(
            mean=np.zeros(len(SIGNALS)),
            spread=np.ones(len(SIGNALS)),
            # One hidden unit, which passes on the similarity (never below 0 for counts of words).
            hidden=np.array([[float(name == "similarity")] for name in SIGNALS]),
            hidden_bias=np.zeros(1),
            weights=np.array([30.0]),
            bias=-24.0,
        ),
        threshold=0.5,
        also=also,
        safety=0.9,
        lockout=0.9,
        promise=Promise(risk=0.05, confidence=0.95, messages=1, houses=1),
    )


def make_assistant(houses: Iterable[House], folder: Path, *, also: float = 0.99) -> Assistant:
    """The engine with the real guidance, and stand-ins for all that is learned."""
    encoder = WordEncoder()
    store = VectorStore(None, encoder)
    return Assistant(
        {house.slug: HouseSearch(house, store, known=frozenset(WORDS)) for house in houses},
        encoder,
        make_kinds(folder, encoder),
        make_calibration(encoder, also=also),
        guidance(),
        topics(),
    )

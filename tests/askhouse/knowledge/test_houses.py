"""The houses of this repository load as they are."""

from __future__ import annotations

from pathlib import Path

import pytest

from askhouse.knowledge import load_houses
from askhouse.knowledge.problems import listing

KNOWLEDGE = Path(__file__).parents[3] / "knowledge"


def test_the_demo_houses_have_no_problem() -> None:
    """
    What a newcomer is shown first is right in every line.
    """
    library = load_houses(KNOWLEDGE / "houses")

    assert listing(library.problems) == ""
    assert set(library.houses) == {"orchard-barn", "harbour-flat", "forest-cabin"}


@pytest.mark.skipif(not (KNOWLEDGE / "corpus" / "houses").is_dir(), reason="no corpus is there")
def test_the_houses_of_the_corpus_load() -> None:
    """
    Every house the models learn from loads; a warning is allowed, since it is only learned from.
    """
    folder = KNOWLEDGE / "corpus" / "houses"

    library = load_houses(folder)

    assert listing(library.errors) == ""
    assert len(library.houses) == len(list(folder.glob("*.yaml")))

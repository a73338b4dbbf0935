"""The corpus is what its README says, and holds nothing of the set it is measured on."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from askhouse.kinds import KINDS
from askhouse.training.corpus import Corpus, read_corpus
from askhouse.values import Hazard
from tests.nearness import nearly_the_same

ROOT = Path(__file__).parents[3]
# A labelled set lies beside the checkout where the team works; elsewhere the test is skipped.
EVALUATION = Path(os.environ.get("ASKHOUSE_LABELLED_SET", ROOT.parent / "shared" / "evaluation"))
SAME = 85  # per cent of equal letters from which two texts are one; "wifi pw" and "wifi pw?"


@pytest.fixture(scope="module")
def corpus() -> Corpus:
    return read_corpus(ROOT / "knowledge" / "corpus")


def test_every_label_names_what_is_there(corpus: Corpus) -> None:
    """
    Each fact in a label is a fact of the house, each kind a kind, each hazard a hazard.
    """
    for line in (*corpus.lines, *corpus.borrowed):
        facts = {fact.id for fact in corpus.houses[line.house].facts}
        for label in line.labels:
            assert label.kind in KINDS, line
            assert {*label.needed, *label.also, *label.near} <= facts, line
    for entry in corpus.triage:
        assert entry.kind in KINDS, entry
        assert entry.hazard is None or Hazard(entry.hazard), entry


def test_there_is_as_much_as_the_card_says(corpus: Corpus) -> None:
    """
    At least 40 houses of 40 facts, 8000 answered messages, 2000 near misses, 5000 for triage.
    """
    assert len(corpus.houses) >= 40
    assert min(len(house.facts) for house in corpus.houses.values()) >= 40
    labels = [label for line in corpus.lines for label in line.labels]
    assert sum(bool(label.needed) for label in labels) >= 8000
    assert sum(label.is_gap for label in labels) >= 2000
    assert len(corpus.triage) >= 5000
    languages = [line.language for line in corpus.lines] + [t.language for t in corpus.triage]
    assert sum(language != "en" for language in languages) >= len(languages) / 5


def test_marked_parts_begin_behind_their_mark(tmp_path: Path) -> None:
    """
    The mark is no part of the text; the starts are those of the text without it.
    """
    house = next((ROOT / "knowledge" / "corpus" / "houses").glob("*.yaml"))
    for folder in ("houses", "messages"):
        (tmp_path / folder).mkdir()
    (tmp_path / "houses" / house.name).write_bytes(house.read_bytes())
    rows = "~ ; !request|en|a boat? ¦ and send one\n~|en|a boat?\n"
    (tmp_path / "messages" / f"{house.stem}.psv").write_text(rows, encoding="utf-8")
    marked, plain = read_corpus(tmp_path).lines
    assert marked.text == "a boat? and send one"
    assert marked.starts is not None
    assert [marked.text[start:] for start in marked.starts] == ["and send one"]
    assert (plain.text, plain.starts) == ("a boat?", None)


@pytest.mark.skipif(not EVALUATION.is_dir(), reason="no labelled set beside the checkout")
def test_nothing_of_the_labelled_set_is_learned_from(corpus: Corpus) -> None:
    """
    No text of the corpus is a near-duplicate of a message or fact that models are measured on.
    """
    lines = (EVALUATION / "messages.jsonl").read_text(encoding="utf-8").splitlines()
    measured = [json.loads(line)["message"].lower() for line in lines]
    learned = [line.text.lower() for line in (*corpus.lines, *corpus.borrowed)]
    learned += [entry.text.lower() for entry in corpus.triage]
    learned += [fact.text.lower() for house in corpus.houses.values() for fact in house.facts]
    assert any(measured)
    assert not nearly_the_same(learned, measured, SAME)

"""A batch says of its texts what the training set says of them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tokenizers import Tokenizer, models, pre_tokenizers

from askhouse.training.batches import Batch, Batches, Plan, made_beside
from askhouse.training.examples import HAZARDS, KINDS, Asked, Several, Told, TrainingSet
from askhouse.training.tokens import Tokens

PLAN = replace(Plan(), epochs=2, houses=2, messages=3, told=2, several=1, joined=0)
WORDS = ["wifi", "bins", "when", "where", "lamp", "oven", "is", "it", "help", "smoke", "and", "the"]


@pytest.fixture
def tokens(tmp_path: Path) -> Tokens:
    """One id a word, in the order of `WORDS`; 0 for all others."""
    vocabulary = {word: i for i, word in enumerate(["?", *WORDS])}
    tokenizer = Tokenizer(models.WordLevel(vocabulary, unk_token="?"))
    tokenizer.pre_tokenizer = pre_tokenizers.Whitespace()
    tokenizer.save(str(tmp_path / "tokenizer.json"))
    return Tokens(str(tmp_path), 96)


@pytest.fixture
def data() -> TrainingSet:
    asked = (
        Asked("a", "when bins", "en", (0,), (1,), "question"),
        Asked("a", "where lamp", "en", (), (), "question"),
        Asked("b", "the oven", "en", (1, 2), (), "question"),
        Asked("b", "help", "en", (), (), "lockout"),
    )
    return TrainingSet(
        {"a": [["bins"], ["wifi", "the wifi"]], "b": [["lamp"], ["oven"], ["oven is"]]},
        asked,
        (Several("a", "wifi and bins", 2, (5,)), Several("b", "it is", 2, None)),
        (Told("smoke", "safety", "fire"), Told("where is it", "question", None)),
    )


def texts_of(batch: Batch) -> list[str]:
    ends = np.cumsum(batch.lengths)[:-1]
    return [" ".join(["?", *WORDS][i] for i in row) for row in np.split(batch.ids, ends)]


def test_a_batch_holds_messages_and_all_facts_of_their_houses(
    tokens: Tokens, data: TrainingSet, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("askhouse.training.batches.mistyped", lambda text, _: text)
    batch = Batches(data, tokens, PLAN)[0]
    texts = texts_of(batch)
    assert batch.counts == (4, 2, 1, 5)
    assert texts[6:12] == ["wifi and bins", "bins", "wifi", "lamp", "oven", "oven is"]
    row = {text: batch.answers[i].tolist() for i, text in enumerate(texts[:4])}
    assert row["when bins"] == pytest.approx([1, 0.7, 0, 0, 0])
    assert row["the oven"] == [0, 0, 0, 1, 1]
    assert row["help"] == row["where lamp"] == [0] * 5
    own = {text: batch.own[i].tolist() for i, text in enumerate(texts[:4])}
    assert own["where lamp"] == [True, True, False, False, False]
    kinds = dict(zip(texts[:6], batch.kinds.tolist(), strict=True))
    assert KINDS[kinds["help"]] == "lockout"
    assert KINDS[kinds["smoke"]] == "safety"
    hazards = dict(zip(texts[4:6], batch.hazards.tolist(), strict=True))
    assert HAZARDS[hazards["smoke"]] == "fire"
    assert hazards["where is it"] == -1


def test_only_the_starts_of_parts_are_cuts(
    tokens: Tokens, data: TrainingSet, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("askhouse.training.batches.mistyped", lambda text, _: text)
    batch = Batches(data, tokens, PLAN)[0]
    found = {
        (["?", *WORDS][batch.ids[at]], bool(cut))
        for at, cut in zip(batch.words.tolist(), batch.cuts.tolist(), strict=True)
    }
    assert found == {("bins", False), ("lamp", False), ("oven", False), ("and", True)}


def test_each_epoch_has_every_message_once(tokens: Tokens, data: TrainingSet) -> None:
    plan = replace(PLAN, houses=1, messages=1)
    batches = Batches(data, tokens, plan)
    assert len(batches) == 2 * batches.each == 8
    for epoch in range(2):
        asked = [batches[epoch * 4 + i].answers[0].sum() for i in range(4)]
        assert sorted(asked) == pytest.approx([0, 0, 1.7, 2])


def test_other_processes_make_the_same_batches(tokens: Tokens, data: TrainingSet) -> None:
    here = list(made_beside(Batches(data, tokens, PLAN), 0))
    beside = list(made_beside(Batches(data, tokens, PLAN), 2))
    assert len(here) == len(beside) == 2
    for one, other in zip(here, beside, strict=True):
        assert np.array_equal(one.ids, other.ids)
        assert np.array_equal(one.answers, other.answers)

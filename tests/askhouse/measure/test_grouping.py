"""The measure of grouping, its labelled set, and the promise that is measured with it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from rapidfuzz import fuzz, process
from sklearn.metrics import adjusted_rand_score

from askhouse.encoder import TrainedEncoder
from askhouse.errors import KnowledgeError
from askhouse.gaps import Meaning, grouped
from askhouse.measure.grouping import (
    Question,
    agreement,
    best_threshold,
    in_turn,
    interval,
    plain,
    read_questions,
    weighted,
)
from askhouse.topics import catalogue

ROOT = Path(__file__).parents[3]
GAP_GROUPS = ROOT / "knowledge" / "gap-groups"
TOO_ALIKE = 92


def questions(*groups: str) -> list[Question]:
    return [Question(group, "barn", "en", f"question {n}") for n, group in enumerate(groups)]


def test_agreement_of_worked_examples() -> None:
    """
    The adjusted Rand index of scikit-learn's own documentation (sklearn.metrics,
    adjusted_rand_score): 0.57 where one group is split, and 0 for all apart in groups of two.
    """
    assert agreement(questions("a", "a", "b", "c"), [0, 0, 1, 1]) == pytest.approx(0.57, abs=5e-3)
    assert agreement(questions("a", "a", "b", "b"), [0, 1, 2, 3]) == pytest.approx(0.0)
    assert agreement(questions("a", "a", "b", "b"), [1, 1, 0, 0]) == 1.0


def test_weights_of_one_are_the_index_itself() -> None:
    """
    Counted once each, the groups give scikit-learn's index; a group left out, that of the rest.
    """
    chance = np.random.default_rng(3)
    true, found = chance.integers(0, 9, 80), chance.integers(0, 9, 80)
    found[:50] = true[:50]
    both = np.zeros((9, 9))
    np.add.at(both, (true, found), 1)

    assert weighted(both, np.ones(9, int)) == pytest.approx(adjusted_rand_score(true, found))
    without = np.array([0, 1, 1, 1, 1, 1, 1, 1, 1])
    kept = true != 0
    assert weighted(both, without) == pytest.approx(adjusted_rand_score(true[kept], found[kept]))


def test_a_group_drawn_twice_counts_twice() -> None:
    """
    Worked by hand: groups of 2 and 1, found as {both and the single} together. Counted 2 and 1,
    the true pairs are 2, the found pairs 2 + 2·1·2 = 6, of 6 in all; expected 2·6/6 = 2, so that
    the index is (2 - 2) / (4 - 2) = 0. Found right, it is 1.
    """
    together, right = np.array([[2.0], [1.0]]), np.array([[2.0, 0.0], [0.0, 1.0]])

    assert weighted(together, np.array([2, 1])) == pytest.approx(0.0)
    assert weighted(right, np.array([2, 1])) == pytest.approx(1.0)


def test_the_interval_is_around_the_figure() -> None:
    """
    With errors in few of many groups, the interval holds the figure and is not a point.
    """
    given = questions(*(f"g{n // 4}" for n in range(80)))
    found = [n // 4 for n in range(80)]
    found[:8] = [0] * 8

    low, high = interval(given, found)

    assert low < agreement(given, found) <= high <= 1.0
    assert high - low > 0.02


def test_in_turn_and_plain_find_what_is_plain() -> None:
    """
    Two bundles of vectors, far from each other, are two groups in either way.
    """
    turns = np.radians([0, 5, 10, 90, 95, 100])
    vectors = np.stack([np.cos(turns), np.sin(turns)], axis=1).astype(np.float32)

    assert in_turn(vectors) == [0, 0, 0, 1, 1, 1]
    assert adjusted_rand_score(plain(vectors, 0.5), [0, 0, 0, 1, 1, 1]) == 1


def test_a_wrong_line_is_named(tmp_path: Path) -> None:
    """
    A line with too few cells, and a missing file, are errors that say where.
    """
    path = tmp_path / "report.psv"
    path.write_text("# group|house|language|text\ncot|barn|en|a cot?\ncot|barn|en\n", "utf-8")

    with pytest.raises(KnowledgeError, match=r"report\.psv:3: write group\|house"):
        read_questions(path)
    with pytest.raises(KnowledgeError, match="cannot be read"):
        read_questions(tmp_path / "none.psv")


def test_singles_are_groups_of_their_own(tmp_path: Path) -> None:
    """
    Two lines with a dash are two groups.
    """
    path = tmp_path / "report.psv"
    path.write_text("-|barn|en|one\n-|barn|en|two\ncot|barn|en|three\n", "utf-8")

    assert len({question.group for question in read_questions(path)}) == 3


@pytest.fixture(scope="module")
def chosen() -> list[Question]:
    return read_questions(GAP_GROUPS / "choose.psv")


@pytest.fixture(scope="module")
def reported() -> list[Question]:
    return read_questions(GAP_GROUPS / "report.psv")


def test_the_set_is_large_enough(chosen: list[Question], reported: list[Question]) -> None:
    """
    What is reported on has 200 questions in 60 groups, in several languages and at three houses,
    and shares no group with what is chosen on.
    """
    assert len(reported) >= 200
    assert len({question.group for question in reported}) >= 60
    assert len({question.house for question in reported}) == 3
    assert len({question.language for question in reported}) >= 5

    def named(some: list[Question]) -> set[str]:
        return {question.group for question in some if not question.group.startswith("single")}

    assert named(chosen) & named(reported) == set()


def test_no_question_is_known_already(chosen: list[Question], reported: list[Question]) -> None:
    """
    None is nearly a phrasing of the catalogue or a message of the corpus, from which the encoder
    has learned, and none nearly stands twice.
    """
    lines = [
        line.split("|", 2)[2]
        for path in sorted((ROOT / "knowledge" / "corpus" / "messages").glob("*.psv"))
        for line in path.read_text(encoding="utf-8").splitlines()
        if line and not line.startswith("#")
    ]
    known = {text.lower() for text in lines} | {a.lower() for t in catalogue() for a in t.asks}
    own = [question.text.lower() for question in (*chosen, *reported)]
    alike = process.cdist(own, sorted(known), scorer=fuzz.ratio, score_cutoff=TOO_ALIKE)
    twice = process.cdist(own, own, scorer=fuzz.ratio, score_cutoff=TOO_ALIKE)

    assert [own[place] for place in np.flatnonzero(alike.max(axis=1))] == []
    assert int((twice > 0).sum()) == len(own)


def test_gaps_are_grouped_as_people_would(
    reported: list[Question], trained_encoder: TrainedEncoder
) -> None:
    """
    The adjusted Rand index is at least 0.75 on the reporting set, all at once and one by one, and
    above that of cosines alone at the threshold that is best on the choosing set.
    """
    texts = [question.text for question in reported]
    vectors = Meaning(trained_encoder, catalogue()).of(texts)
    chosen = read_questions(GAP_GROUPS / "choose.psv")
    threshold = best_threshold(chosen, trained_encoder.encode([one.text for one in chosen]))
    alone = agreement(reported, plain(trained_encoder.encode(texts), threshold))

    assert agreement(reported, grouped(vectors)) >= 0.75
    assert agreement(reported, in_turn(vectors)) >= 0.75
    assert agreement(reported, grouped(vectors)) > alone

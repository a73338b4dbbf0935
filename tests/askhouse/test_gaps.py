"""Grouping by meaning, with vectors whose inner products one can work out in the head."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from scipy.cluster.hierarchy import fcluster, linkage
from sklearn.metrics import adjusted_rand_score

from askhouse.gaps import (
    TOGETHER,
    TOPIC_SHARE,
    Centre,
    Meaning,
    grouped,
    most_central,
    nearest,
)
from askhouse.topics import Topic, catalogue
from tests.standins import CountingEncoder, WordEncoder

SAUNA = Topic.model_validate(
    {"id": "sauna", "title": "Sauna", "asks": ["sauna"] * 6, "words": ["sauna", "steam room"]}
)
IRON = Topic.model_validate(
    {"id": "iron", "title": "Iron", "asks": ["iron"] * 6, "words": ["iron", "creased shirt"]}
)


@pytest.fixture
def meaning() -> Meaning:
    return Meaning(WordEncoder(), [SAUNA, IRON])


def test_a_vector_is_topics_and_words_together(meaning: Meaning) -> None:
    """
    Of the inner product, three quarters are the topics' and one quarter the words': with one
    topic and the same words it is 1, with one topic and cosine 1/√2 it is 3/4 + 1/4√2, and with
    neither it is next to 0.
    """
    same, again, also, other = meaning.of(["sauna", "the sauna?", "sauna gas", "iron"])

    assert same @ again == pytest.approx(1)
    assert same @ also == pytest.approx(TOPIC_SHARE + (1 - TOPIC_SHARE) / math.sqrt(2), abs=1e-3)
    assert same @ other == pytest.approx(0, abs=1e-3)
    assert np.linalg.norm([same, also, other], axis=1) == pytest.approx(1)


def test_a_topic_is_known_by_its_words_too(meaning: Meaning) -> None:
    """
    A question that the encoder knows nothing of finds its topic by a word of the catalogue: the
    topic is e² times as likely as the other, 0.88, and one without such a word has none.
    """
    steam, nothing = meaning.of(["is there a steam room", "hello there"])

    assert np.square(steam[:2]) / TOPIC_SHARE == pytest.approx(
        [math.e**2 / (1 + math.e**2), 1 / (1 + math.e**2)], abs=1e-4
    )
    assert meaning.topic(steam) == "sauna"
    assert meaning.title("sauna") == "Sauna"
    assert np.square(nothing[:2]) / TOPIC_SHARE == pytest.approx([0.5, 0.5])


def test_no_topic_names_what_lies_between_many() -> None:
    """
    With four topics equally likely none is known.
    """
    topics = [SAUNA.model_copy(update={"id": f"t{n}", "words": ("x", "y")}) for n in range(4)]

    assert Meaning(WordEncoder(), topics).topic(np.full(32, 0.25, dtype=np.float32)) is None


def test_the_name_tells_which_vectors_can_be_compared() -> None:
    """
    Another encoder or another catalogue has another name.
    """
    names = {
        Meaning(CountingEncoder("a"), [SAUNA, IRON]).name,
        Meaning(CountingEncoder("b"), [SAUNA, IRON]).name,
        Meaning(CountingEncoder("a"), [SAUNA]).name,
    }

    assert len(names) == 3
    assert Meaning(CountingEncoder("a"), [SAUNA, IRON]).name in names


def test_phrasings_are_encoded_once() -> None:
    """
    The catalogue's phrasings are asked for when first needed, and not again.
    """
    encoder = CountingEncoder()
    meaning = Meaning(encoder, [SAUNA, IRON])
    assert encoder.asked == []

    meaning.of(["sauna"])
    meaning.of(["iron"])

    assert sorted(encoder.asked) == sorted([*SAUNA.asks, *IRON.asks, "sauna", "iron"])


def turned(*degrees: float) -> np.ndarray[tuple[int, int], np.dtype[np.float32]]:
    """Unit vectors in a plane."""
    turns = np.radians(degrees)
    return np.stack([np.cos(turns), np.sin(turns)], axis=1).astype(np.float32)


def test_groups_by_average_linkage() -> None:
    """
    0° and 30° are together (cosine 0.87). 80° is near enough to 30° (0.64), but not to both on
    average (0.41); 75° is (0.48).
    """
    assert adjusted_rand_score(grouped(turned(0, 30, 80)), [0, 0, 1]) == 1
    assert adjusted_rand_score(grouped(turned(0, 30, 75)), [0, 0, 0]) == 1
    assert grouped(turned(0)) == [0]
    assert grouped(turned()) == []


def test_groups_as_another_implementation_makes_them() -> None:
    """
    SciPy's average linkage, cut at the same distance, gives the same groups.
    """
    chance = np.random.default_rng(7)
    vectors = chance.normal(size=(60, 6)).astype(np.float32)
    vectors /= np.linalg.norm(vectors, axis=1, keepdims=True)
    cut = fcluster(linkage(vectors, "average", metric="cosine"), 1 - TOGETHER, "distance")
    ours = grouped(vectors)

    assert 1 < len(set(ours)) < 30
    assert adjusted_rand_score(cut, ours) == 1


def test_a_middle_is_the_mean_of_all(meaning: Meaning) -> None:
    """
    A middle's product with a vector is the mean of that vector's products with its questions,
    however it came about.
    """
    vectors = turned(0, 30, 90)
    one_by_one = Centre(vectors[0], 1)
    for vector in vectors[1:]:
        one_by_one = one_by_one.with_more(Centre(vector, 1))
    halves = Centre(vectors[:2].mean(axis=0), 2).with_more(Centre(vectors[2], 1))

    expected = np.mean([math.cos(math.radians(turn)) for turn in (20, 10, 70)])
    assert one_by_one.count == halves.count == 3
    for centre in (one_by_one, halves):
        assert float(turned(20)[0] @ centre.mean) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("degrees", "place"),
    [
        (10, 0),
        (50, 1),  # 0.64 to the first, 0.77 to the second
        (-60, 0),  # cosine 0.5 is near enough
        (-70, None),  # 0.34 is not
    ],
)
def test_a_new_question_finds_the_nearest_group(degrees: float, place: int | None) -> None:
    """
    It joins the group with the greatest mean product, if that is great enough.
    """
    centres = [Centre(vector, 1) for vector in turned(0, 90)]

    assert nearest(turned(degrees)[0], centres) == place
    assert nearest(turned(degrees)[0], []) is None


def test_the_most_central_question_is_between_the_others() -> None:
    """
    Of 0°, 20° and 60°, 20° is nearest to all.
    """
    assert most_central(turned(0, 20, 60)) == 1


def ids_of(topics: Sequence[Topic]) -> list[str]:
    return [topic.id for topic in topics]


def test_the_catalogue_is_the_trades() -> None:
    """
    It has its topics with their phrasings, each id once.
    """
    topics = catalogue()

    assert len(set(ids_of(topics))) == len(topics) > 250
    assert {"ev-charging", "hairdryer", "early-check-in"} <= set(ids_of(topics))

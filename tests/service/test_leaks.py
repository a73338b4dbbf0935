"""No code and no password reaches anyone who may not be told, by any way through the service.

A sample of what `python -m service.leak_check` does with all ways of asking; the houses are the
demo houses, whose codes are invented.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from askhouse.assistant import Assistant
from askhouse.values import House
from service.database import Database
from service.leaks.check import look_for_leaks
from service.leaks.secret_values import Finder, kept_back, secrets_of, strings

SAMPLE = 96  # every sender twice


@pytest.fixture(scope="session")
def index(
    demo_assistant: Assistant, pytestconfig: pytest.Config, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """The index file that the assistant of the demo houses was opened with."""
    cache: pytest.Cache | None = getattr(pytestconfig, "cache", None)
    return (cache.mkdir("askhouse") if cache else tmp_path_factory.mktemp("index")) / "index.npz"


def test_who_may_not_be_told_finds_nothing_anywhere(
    database: Database, demo_assistant: Assistant, index: Path
) -> None:
    """
    Strangers, early, late and opted-out guests ask in all ways: no reply, alert, log, metric,
    index, export, error, page of the host or stored text holds a code of a house or of a stay.
    """
    tried = look_for_leaks(database, demo_assistant, index, SAMPLE)

    assert {place: n for place, n in tried.leaks.found.items() if n} == {}
    assert min(tried.kinds.values()) >= SAMPLE // 24
    assert tried.sent > SAMPLE // 3
    assert tried.alerts > 0
    places = {"replies", "alerts", "logs", "metrics", "index", "exports", "errors", "pages"}
    assert places <= set(tried.leaks.searched)
    assert tried.leaks.searched["pages"] > len(tried.kinds)
    assert tried.leaks.searched["errors"] > SAMPLE


def test_guests_who_may_be_told_are(
    database: Database, demo_assistant: Assistant, index: Path
) -> None:
    """
    The test above can fail: to guests inside their window the same questions do tell codes; but
    they stand in no log, metric, export, alert, and two hours later nowhere in the database.
    """
    tried = look_for_leaks(database, demo_assistant, index, 40, guests=True)

    assert tried.leaks.found["replies"] > 5
    assert {place: n for place, n in tried.leaks.found.items() if n and place != "replies"} == {}


def test_secrets_are_those_of_the_files(demo_houses: Mapping[str, House]) -> None:
    """
    What is looked for are the codes and passwords as the demo houses' files name them.
    """
    looked_for = {
        slug: sorted(s for fact in kept_back(house) for s in secrets_of(house, fact))
        for slug, house in demo_houses.items()
    }

    assert looked_for == {
        "forest-cabin": ["1598", "20-6-31", "442", "7734", "8103", "pinecone-kettle-86"],
        "harbour-flat": ["1846Y", "417", "5270", "C903", "moorleine-blau-318"],
        "orchard-barn": ["2305", "4719", "638", "9052", "russet-ladder-47"],
    }


@pytest.mark.parametrize(
    ("text", "found"),
    [
        # as a word, in any case
        ("the code is 638.", ["638"]),
        ("C903", ["C903"]),
        ("c903!", ["C903"]),
        # inside a longer number it is none
        ("at 16:38 on the 1638th day, 6380 or 0.6381", []),
        # a long one also with anything between
        ("russet ladder 47", ["russet-ladder-47"]),
        ("r-u-s-s-e-t l a d d e r 4 7", ["russet-ladder-47"]),
        ("russet ladder 74", []),
    ],
)
def test_secret_is_found_as_a_word(text: str, found: list[str]) -> None:
    """
    A code is found where it stands by itself, a long password also where it is pulled apart.
    """
    assert Finder(["638", "C903", "russet-ladder-47"])(text) == found


def test_numbers_of_json_are_no_codes() -> None:
    """
    Keys and values that are strings are searched, however deep; counts are not.
    """
    assert list(strings({"a": [638, {"b": "x"}], "638": None})) == ["a", "b", "x", "638"]

"""Which statement belongs to which question."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from askhouse.parts.join import Group, grouped, joined, neighbours
from askhouse.parts.split import MAX_PARTS, clauses


def groups(message: str) -> list[str]:
    return [group.text for group in grouped(clauses(message))]


def joins(message: str, *reports: str) -> list[str]:
    """The parts of a message in which these statements report something."""
    found = grouped(clauses(message))
    assert set(reports) <= {group.text for group in found}
    return list(joined(found, [group.text in reports for group in found]))


def test_statements_in_a_row_are_one_group() -> None:
    """
    Questions stand by themselves, what is told between them together, and greetings nowhere.
    """
    message = "Hi! We are late. It is dark. Where is the key? And the gate? Thanks!"

    assert groups(message) == ["We are late. It is dark.", "Where is the key?", "And the gate?"]


def test_a_new_matter_is_a_group_of_its_own() -> None:
    """
    "also" opens a new matter, whatever it says.
    """
    message = "The lamp is out. Also the tap drips. It is cold."

    assert groups(message) == ["The lamp is out.", "Also the tap drips. It is cold."]
    assert [group.apart for group in grouped(clauses(message))] == [False, True]


@pytest.mark.parametrize(
    ("message", "reports", "parts"),
    [
        # A statement leads up to the question behind it, or belongs to the one before.
        ("It is dark. Where is the switch?", [], ["It is dark. Where is the switch?"]),
        ("Where is the switch? It is dark.", [], ["Where is the switch? It is dark."]),
        ("It is dark.", [], ["It is dark."]),
        # One that reports something of its own is a part.
        (
            "We broke a mug. Where is the hoover?",
            ["We broke a mug."],
            ["We broke a mug.", "Where is the hoover?"],
        ),
        (
            "Where is the hoover? We broke a mug.",
            ["We broke a mug."],
            ["Where is the hoover?", "We broke a mug."],
        ),
        ("We broke a mug.", ["We broke a mug."], ["We broke a mug."]),
        # What follows a report and only points back belongs to it.
        (
            "The eggs smelled odd. Could it be them?",
            ["The eggs smelled odd."],
            ["The eggs smelled odd. Could it be them?"],
        ),
        # A report between two questions parts them.
        (
            "Where are the bins? We broke a mug. Where can we park?",
            ["We broke a mug."],
            ["Where are the bins?", "We broke a mug.", "Where can we park?"],
        ),
    ],
)
def test_statements_find_their_question(message: str, reports: list[str], parts: list[str]) -> None:
    """
    Each statement is read with its question, or alone where it reports something.
    """
    assert joins(message, *reports) == parts


MADE = st.lists(
    st.tuples(
        st.sampled_from(["where is it?", "we are late.", "also this.", "could it be that?"]),
        st.booleans(),
        st.booleans(),
        st.booleans(),
    ),
    min_size=1,
    max_size=40,
).map(
    lambda rows: [
        (Group(f"{text} {n}", asks, apart), reports and not asks)
        for n, (text, asks, apart, reports) in enumerate(rows)
    ]
)


@given(MADE)
def test_nothing_is_lost_or_moved(made: list[tuple[Group, bool]]) -> None:
    """
    Whatever reports and asks, the parts read one after the other are the groups, at most twelve.
    """
    parts = joined([group for group, _ in made], [reports for _, reports in made])

    assert " ".join(parts) == " ".join(group.text for group, _ in made)
    assert 1 <= len(parts) <= MAX_PARTS
    assert all(parts)


@given(MADE)
def test_a_neighbour_is_the_text_with_its_question(made: list[tuple[Group, bool]]) -> None:
    """
    A question has no neighbour; a statement's holds the statement and at most one other group.
    """
    found = [group for group, _ in made]

    for place, (group, both) in enumerate(zip(found, neighbours(found), strict=True)):
        assert (both is None) is group.asks
        if both is not None:
            around = [other.text for other in found[max(place - 1, 0) : place + 2]]
            assert group.text in both
            assert both in {
                *(f"{a} {b}" for a, b in itertools.pairwise(around)),
                group.text,
            }

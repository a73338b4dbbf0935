"""Where the parts of labelled messages begin, told by an encoder that counts words."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from askhouse.training.corpus import Label, Line
from askhouse.training.cuts import Cutter
from tests.factories import make_fact, make_house
from tests.standins import WordEncoder, make_kinds

HOUSE = make_house(
    make_fact("bins", "bins and recycling"),
    make_fact("boat", "the boat has oars"),
    make_fact("heating", "heating by thermostat"),
)


def make_cutter(folder: Path) -> Cutter:
    encoder = WordEncoder()
    return Cutter(encoder, make_kinds(folder, encoder))


def question(*facts: str) -> Label:
    return Label("question", needed=facts)


@pytest.mark.parametrize(
    ("text", "labels", "parts"),
    [
        (
            "bins and recycling and the boat",
            (question("bins"), question("boat")),
            ["bins and recycling", "and the boat"],
        ),
        (
            "thermostat, heating, then oars",
            (question("heating"), question("boat")),
            ["thermostat, heating,", "then oars"],
        ),
        (
            "bins? boat? thermostat?",
            (question("bins"), question("boat"), question("heating")),
            ["bins?", "boat?", "thermostat?"],
        ),
        ("boat? smells of gas", (question("boat"), Label("safety")), ["boat?", "smells of gas"]),
        (
            "sauna? where is the boat",
            (Label("question"), question("boat")),
            ["sauna?", "where is the boat"],
        ),
    ],
)
def test_a_part_begins_where_its_words_turn_to_what_its_label_names(
    tmp_path: Path, text: str, labels: tuple[Label, ...], parts: list[str]
) -> None:
    """
    Each piece is nearest to its own label; a gap that comes close to nothing takes the rest.
    """
    starts = make_cutter(tmp_path).starts(Line(HOUSE.slug, text, "en", labels), HOUSE)
    assert starts is not None
    assert [text[a:b].strip() for a, b in pairwise((0, *starts, len(text)))] == parts


def test_without_a_joiner_or_stop_it_cannot_tell(tmp_path: Path) -> None:
    """
    "bins boat" has two parts, and no place that a part is known to begin at.
    """
    line = Line(HOUSE.slug, "bins boat", "en", (question("bins"), question("boat")))
    assert make_cutter(tmp_path).starts(line, HOUSE) is None


def test_a_marked_start_needs_no_guess(tmp_path: Path) -> None:
    """
    Where the writer marked the parts, they are kept, joiner or not.
    """
    labels = (question("bins"), question("boat"))
    line = Line(HOUSE.slug, "bins boat", "en", labels, starts=(5,))
    assert make_cutter(tmp_path).starts(line, HOUSE) == (5,)

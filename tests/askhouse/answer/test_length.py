"""Full or short: a text cut at sentence ends."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from askhouse.answer.length import SHORT_CHARACTERS, fitted, sentences


@pytest.mark.parametrize(
    ("text", "pieces"),
    [
        ("One. Two! Three? Four", ["One.", "Two!", "Three?", "Four"]),
        # A number's point, a time and an abbreviation end nothing.
        ("It is 1.5 m deep. Mind it.", ["It is 1.5 m deep.", "Mind it."]),
        ("Open until 10.30 p.m. every day.", ["Open until 10.30 p.m. every day."]),
        ("It is box No. 7 on the left.", ["It is box No. 7 on the left."]),
        (
            "Ask Dr. Lumm or St. Orrin's, e.g. A or B.",
            ["Ask Dr. Lumm or St. Orrin's, e.g. A or B."],
        ),
        # Lines end too; a numbered step is one piece with its number, however many sentences.
        (
            "Stay with it.\n1. Open both levers. They stick.\n12. Close the door.",
            ["Stay with it.", "1. Open both levers. They stick.", "12. Close the door."],
        ),
        ("Laying the fire\n\nLight it.", ["Laying the fire", "Light it."]),
        ("", []),
        ("  \n ", []),
    ],
)
def test_a_text_has_its_sentences(text: str, pieces: list[str]) -> None:
    """
    Sentences come in order; a step is never parted from its number.
    """
    assert sentences(text) == pieces


@given(st.text(max_size=300))
def test_sentences_lose_nothing(text: str) -> None:
    """
    Put together again, the sentences are the text but for white space.
    """
    assert "".join("".join(sentences(text)).split()) == "".join(text.split())


def test_short_is_two_text_messages() -> None:
    """
    Two joined text messages hold 2 × 153 characters of the GSM alphabet (3GPP TS 23.040).
    """
    assert SHORT_CHARACTERS == 2 * 153


def test_as_many_pieces_as_fit() -> None:
    """
    "One. Two." has nine characters: it fits into nine, and into eight only as "One. …".
    """
    assert fitted(["One.", "Two."], 9) == "One. Two."
    assert fitted(["One.", "Two."], 8) == "One. …"
    assert fitted(["One.", "Two.", "Three."], 11) == "One. Two. …"
    assert fitted(["One.", "Two.", "Three."], 10) == "One. …"


def test_the_first_piece_is_always_said() -> None:
    """
    Too little room cuts nothing inside a sentence.
    """
    assert fitted(["A sentence that is longer."], 3) == "A sentence that is longer."
    assert fitted([], 10) == ""


PIECES = st.lists(
    st.text(st.characters(categories=["L", "N"]), min_size=1, max_size=40), min_size=1, max_size=12
)


@given(PIECES, st.integers(0, 400))
def test_a_cut_is_shown_and_fits(pieces: list[str], room: int) -> None:
    """
    What is said are the first pieces, whole; an ellipsis shows that there is more; all of it fits.
    """
    said = fitted(pieces, room)

    if said.endswith(" …"):
        said_pieces = said.removesuffix(" …").split(" ")
        assert said_pieces == pieces[: len(said_pieces)]
        assert len(said_pieces) < len(pieces)
        assert len(said) <= room or len(said_pieces) == 1
        longer = " ".join(pieces[: len(said_pieces) + 1])
        assert len(longer) + 2 * (len(said_pieces) + 1 < len(pieces)) > room
    else:
        assert said == " ".join(pieces)
        assert len(said) <= room or len(pieces) == 1

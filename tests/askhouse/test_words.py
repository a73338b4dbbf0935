"""Words and stems, as search and decision count them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from askhouse.words import stems, words


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("What's the Wi-Fi?", ["whats", "the", "wi", "fi"]),
        ("it’s 20°C, box_7", ["its", "20", "c", "box", "7"]),
        ("Où est la clé ?", ["où", "est", "la", "clé"]),
        ("", []),
        ("?! 🔑", []),
    ],
)
def test_words_are_letters_and_digits_in_lower_case(text: str, found: list[str]) -> None:
    """
    Marks part words, an apostrophe does not, and is left out.
    """
    assert words(text) == found


def test_stems_leave_out_what_carries_no_topic() -> None:
    """
    "where are the boats" is about boats alone; endings are cut as Porter's English stemmer does.
    """
    assert stems("where are the boats, please?") == ["boat"]
    assert stems("parking cars") == stems("parked car") == ["park", "car"]
    assert stems("where is it") == []


@given(st.text(max_size=200))
def test_any_text_has_words(text: str) -> None:
    """
    There are never more stems than words, and no word is empty or holds a space.
    """
    assert len(stems(text)) <= len(words(text))
    assert all(word and not any(c.isspace() for c in word) for word in words(text))

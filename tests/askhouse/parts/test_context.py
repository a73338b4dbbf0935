"""A part read with what was said before it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from askhouse.parts.context import leans_back, reading
from askhouse.values import Turn


@pytest.mark.parametrize(
    "part",
    [
        # It opens like a sentence's second half, and is short.
        *("and the password?", "And when?", "ok and the key", "what about the boat", "which one?"),
        *("y la contraseña?", "und das passwort?", "et le mot de passe ?"),
        # It points back and names nothing.
        *("how do I turn it on", "is that one open", "where is it?", "can we use them"),
    ],
)
def test_a_follow_up_leans_back(part: str) -> None:
    """
    A part that names no thing of its own needs what was said before.
    """
    assert leans_back(part)


@pytest.mark.parametrize(
    "part",
    [
        # It names its thing.
        *("where are the bins", "what is the wifi password", "is it ok to use the boat"),
        # It opens like a second half, but is long enough to stand alone.
        "and could you tell us where we can leave the car over night",
        # It points nowhere.
        *("hello", "", "👍", "when do we leave"),
    ],
)
def test_a_part_with_a_thing_of_its_own_stands_alone(part: str) -> None:
    """
    What says itself what it is about is read as it stands.
    """
    assert not leans_back(part)


def test_the_part_before_goes_before_the_thread() -> None:
    """
    "is it far?" is about the question in front of it, and only without one about the thread.
    """
    thread = (Turn("where are the bins"), Turn("can we use the boat"))

    assert reading("is it far?", ("where is the shop",), thread) == "where is the shop is it far?"
    assert reading("is it far?", (), thread) == "can we use the boat is it far?"
    assert reading("is it far?", (), ()) == "is it far?"


def test_a_part_that_stands_alone_is_not_touched() -> None:
    """
    The thread changes nothing in a part that says itself what it is about.
    """
    assert reading("where are the bins", ("hello",), (Turn("the boat"),)) == "where are the bins"


def test_of_a_long_message_only_the_end_is_read() -> None:
    """
    What came before is cut to whole words, so that the follow-up stands among the first words.

    The encoder reads a hundred and twenty-eight tokens; a follow-up behind five hundred words
    would not be read at all.
    """
    long = "we had a lovely day at the lake and " * 200 + "where is the wifi box?"

    found = reading("and the password?", (), (Turn(long),))

    assert found.endswith("where is the wifi box? and the password?")
    assert len(found) < 330
    assert not found.startswith((" ", "ovely"))


@pytest.mark.parametrize("earlier", ["\ud83d", "\x00\x00", "", "bins\ud800?", "a" * 20_000])
def test_any_earlier_message_can_be_read(earlier: str) -> None:
    """
    An earlier message may hold what `clean` would have refused; the reading is text all the same.
    """
    found = reading("and the password?", (), (Turn(earlier),))

    assert found.encode()
    assert found.endswith("and the password?")
    assert found == found.strip()


@given(st.text(max_size=80), st.lists(st.text(max_size=80), max_size=3))
def test_a_reading_ends_with_the_part(part: str, before: list[str]) -> None:
    """
    Whatever came before, the guest's own words come last and whole.
    """
    assert reading(part, before, ()).endswith(part.strip())

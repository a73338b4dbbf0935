"""A message as received -> text that can be worked on."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from askhouse.errors import MessageError
from askhouse.parts.clean import MAX_CHARACTERS, clean, readable


@pytest.mark.parametrize(
    ("received", "cleaned"),
    [
        # White space at the ends and in rows says nothing.
        ("  where are the bins?  ", "where are the bins?"),
        ("where   are\tthe bins", "where are the bins"),
        ("two words", "two words"),
        # Line ends stay, since guests end a thought with them; blank lines do not.
        ("hello\n\n \n bins?", "hello\nbins?"),
        ("hello\r\nbins?", "hello\nbins?"),
        # What parts words keeps them apart, also where it counts as a control character.
        ("hello\x0bbins", "hello bins"),
        ("hello\rbins", "hello bins"),
        ("hello\x85bins\u2028boat", "hello bins boat"),
        # What cannot be seen goes: control characters, direction marks, half surrogates.
        ("bi\x00ns\x07?", "bins?"),
        ("\u202ebins\u202c", "bins"),
        ("\ufeffbins", "bins"),
        ("bins \ud83d?", "bins ?"),
        # Letters and accents become one character, also where something unseen stood between.
        ("cafe\u0301", "café"),
        ("cafe\u200b\u0301", "café"),
        # Emoji stay whole, joined ones too.
        ("bins 🗑️ 👨‍👩‍👧?", "bins 🗑️ 👨‍👩‍👧?"),
    ],
)
def test_only_what_can_be_read_stays(received: str, cleaned: str) -> None:
    """
    The text loses what nobody sees, and nothing else.
    """
    assert clean(received) == cleaned


@pytest.mark.parametrize("received", ["", " ", "\n\t \r\n", "\x00\x01", "\u200d", "\u200c \u200d"])
def test_nothing_is_an_error(received: str) -> None:
    """
    A message without a character that can be seen is refused with a sentence.
    """
    with pytest.raises(MessageError, match="the message is empty"):
        clean(received)


def test_the_longest_message_is_read() -> None:
    """
    Ten thousand characters are read, one more is refused, and the error says both numbers.
    """
    assert len(clean("a" * MAX_CHARACTERS)) == MAX_CHARACTERS == 10_000

    with pytest.raises(MessageError, match=r"10001 characters, at most 10000"):
        clean("a" * (MAX_CHARACTERS + 1))


def test_the_error_does_not_repeat_the_message() -> None:
    """
    A guest's words are in no error, since errors go to logs.
    """
    with pytest.raises(MessageError) as raised:
        clean("my-secret " * 2000)

    assert "my-secret" not in str(raised.value)


@given(st.text(max_size=300))
def test_clean_text_is_clean(text: str) -> None:
    """
    Any text is either refused, or clean: in NFC, visible, without space at its ends; and stays so.
    """
    try:
        cleaned = clean(text)
    except MessageError:
        assert not any(unicodedata.category(c)[0] in "LNPS" for c in text)
        return

    assert clean(cleaned) == cleaned == readable(text)
    assert unicodedata.is_normalized("NFC", cleaned)
    assert cleaned == cleaned.strip()
    assert not any(unicodedata.category(c) in ("Cs", "Co", "Cn") for c in cleaned)
    assert cleaned.encode()


@given(st.text(alphabet=st.characters(categories=["L", "N", "P", "S"]), min_size=1, max_size=100))
def test_no_letter_digit_mark_or_symbol_is_lost(text: str) -> None:
    """
    Every letter, digit, mark and symbol that a guest typed is still there, in order.
    """
    assert clean(text) == unicodedata.normalize("NFC", text)

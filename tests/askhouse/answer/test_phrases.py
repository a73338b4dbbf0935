"""Askhouse's own few sentences."""

from __future__ import annotations

import re
import string

import pytest

from askhouse.answer.phrases import phrase, phrases
from askhouse.parts.language import READ


@pytest.mark.parametrize("name", sorted(phrases()))
def test_every_language_has_the_same_gaps(name: str) -> None:
    """
    A phrase has English at least, and each language fills in the same names.
    """
    forms = phrases()[name]

    def gaps(form: str) -> set[str]:
        return {field for _, field, _, _ in string.Formatter().parse(form) if field}

    assert set(forms) <= set(READ)
    assert all(gaps(form) == gaps(forms["en"]) for form in forms.values() if form)


def test_a_language_without_the_phrase_gets_english() -> None:
    """
    Where there is no such sentence in the guest's language, the English one is said.
    """
    assert phrase("caution", "pt", text="Hot.") == phrase("caution", "en", text="Hot.")
    assert phrase("gap", "de") != phrase("gap", "en")


def test_the_guests_words_are_no_pattern() -> None:
    """
    Braces in what a guest wrote are said as they stand.
    """
    assert "{secret} {0}" in phrase("gap_about", "en", part="{secret} {0}")


def test_no_phrase_says_anything_of_a_house() -> None:
    """
    No number stands in any phrase: numbers come from facts alone.
    """
    assert not any(c.isdigit() for forms in phrases().values() for f in forms.values() for c in f)


def test_an_unread_language_is_told_whom_to_call() -> None:
    """
    Danger may stand in what cannot be read, so the emergency number is in the reply.
    """
    text = phrase("unread_language", "en", language="Polish", number="112")

    assert "If anyone is in danger, call 112" in text


@pytest.mark.parametrize("name", ["gap", "damage", "request", "complaint", "stranger"])
def test_an_acknowledgement_promises_nothing(name: str) -> None:
    """
    That it was passed on is true; that the host will answer is not ours to say.
    """
    promised = r"get back|respond|répondr|meldet|rispond|terugkomt|contact|soon|pronto|bald"
    assert not any(re.search(promised, form) for form in phrases()[name].values())

"""Patterns: read in two steps, and never less found than `re` finds."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from askhouse.triage.guidance import guidance
from askhouse.triage.pattern import Pattern, loosened
from askhouse.triage.wordlist import plain

CORPUS = Path(__file__).parents[3] / "knowledge" / "corpus" / "triage"


@pytest.mark.parametrize(
    ("pattern", "without"),
    [
        ("gas", "gas"),
        # what is looked for ahead or behind falls away, wherever it stands
        (r"\bgas\b(?! station)", r"\bgas\b"),
        (r"^(?!.*\b(?:toast|bacon)\b).*smoke", r"^.*smoke"),
        (r"(?<!since )(?<!the )monday|(?=.*a)b", "monday|b"),
        # brackets inside it, in a class or escaped, do not end it
        (r"a(?!\)|[)]|(x))b", "ab"),
        # an escaped bracket opens nothing
        (r"a\(?!b", r"a\(?!b"),
    ],
)
def test_lookarounds_fall_away(pattern: str, without: str) -> None:
    """
    The loosened pattern is the pattern without its lookarounds.
    """
    assert loosened(pattern) == without


@pytest.mark.parametrize("broken", ["(smell", "a(?!b", "[a", "*"])
def test_a_broken_pattern_is_refused(broken: str) -> None:
    """
    A pattern that cannot be read is named.
    """
    with pytest.raises(ValueError, match="is no pattern"):
        Pattern(broken)


def test_every_pattern_is_one_for_re_too() -> None:
    """
    What is compiled only when a message asks for it can be compiled.
    """
    file = guidance()
    signals = [s for entry in file.hazards.values() for s in entry.signals]
    for pattern in [s.pattern for s in (*signals, *file.lockout.signals)]:
        re.compile(pattern.text)
    re.compile(file.not_now_pattern.text)
    re.compile(file.still_now_pattern.text)


def _every_pattern() -> list[Pattern]:
    file = guidance()
    signals = [*(s for e in file.hazards.values() for s in e.signals), *file.lockout.signals]
    return [*(s.pattern for s in signals), file.not_now_pattern, file.still_now_pattern]


def test_the_two_steps_find_what_re_finds_on_the_corpus() -> None:
    """
    Reference: Python's `re` on the whole pattern, over every tenth triage message of the corpus.
    """
    lines = [
        line.split("|", 2)[2]
        for path in sorted(CORPUS.glob("*.psv"))
        for line in path.read_text(encoding="utf-8").splitlines()
        if line and not line.startswith("#")
    ][::10]
    patterns = [(pattern, re.compile(pattern.text)) for pattern in _every_pattern()]

    for text in map(plain, lines):
        for pattern, reference in patterns:
            assert pattern.found_in(text) == bool(reference.search(text)), (pattern.text, text)


@given(st.text(alphabet="abgs ßжλ中١²😀-,.?", max_size=40))
def test_letters_beyond_ascii_are_letters(text: str) -> None:
    """
    A letter of any script is a letter to \\w and \\b, as `re` has it.
    """
    for pattern in (r"\bgas\b", r"\w+ gas", r"(?:\w+ ){0,2}s\b", r"a.{0,3}b"):
        text = plain(text)
        assert Pattern(pattern).found_in(text) == bool(re.search(pattern, text))

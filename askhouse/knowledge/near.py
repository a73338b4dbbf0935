"""The word that was probably meant, for problems that can say "did you mean"."""

from __future__ import annotations

from collections.abc import Iterable

from rapidfuzz import fuzz, process

__all__ = ["did_you_mean", "nearest"]

# Out of 100. At 75 one slip in a word of four letters is still recognised
# (`txt` for `text` is 86), and `host` is not taken for `notes` (67).
_ALIKE = 75.0


def nearest(word: str, choices: Iterable[str]) -> str | None:
    """The choice most like the word, or None when none is much like it."""
    found = process.extractOne(
        word, list(choices), scorer=fuzz.ratio, processor=str.lower, score_cutoff=_ALIKE
    )
    return None if found is None else str(found[0])


def did_you_mean(word: str, choices: Iterable[str]) -> str:
    """`Did you mean "text"? `, with a space after it, or nothing."""
    found = nearest(word, choices)
    return "" if found is None else f'Did you mean "{found}"? '

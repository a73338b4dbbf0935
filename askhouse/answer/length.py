"""Full or short: a text cut at sentence ends, never inside a number or a step."""

from __future__ import annotations

import re
from collections.abc import Sequence

__all__ = ["SHORT_CHARACTERS", "fitted", "sentences"]

SHORT_CHARACTERS = 306  # two joined text messages of 153 characters (3GPP TS 23.040)
_END = re.compile(
    r"(?<=[.!?])(?<!\bNo\.)(?<!\bNr\.)(?<!\bSt\.)(?<!\bDr\.)(?<!\bMr\.)(?<!\bMrs\.)(?<!\bapprox\.)"
    r"(?<!\be\.g\.)(?<!\bi\.e\.)\s+(?=[A-Z0-9\"“'(])"
)
_STEP = re.compile(r"\d+\. ")


def sentences(text: str) -> list[str]:
    """The sentences of a fact's text, in order; a numbered step is one, with its number."""
    return [
        piece.strip()
        for line in text.splitlines()
        for piece in ([line] if _STEP.match(line) else _END.split(line))
        if piece.strip()
    ]


def fitted(pieces: Sequence[str], room: int) -> str:
    """As many whole pieces, in order, as fit into `room` characters; always the first.

    A cut is shown by an ellipsis, so that nobody takes half an answer for the whole.
    """
    kept = ""
    for place, piece in enumerate(pieces):
        longer = f"{kept} {piece}".strip()
        left_over = place < len(pieces) - 1
        if kept and len(longer) + 2 * left_over > room:
            return kept + " …"
        kept = longer
    return kept

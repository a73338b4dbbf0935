"""Full or short: a text cut at sentence ends, never inside a number or a step."""

from __future__ import annotations

import re
from collections.abc import Sequence

__all__ = ["SHORT_CHARACTERS", "fitted", "sentences"]

SHORT_CHARACTERS = 306  # two joined text messages of 153 characters (3GPP TS 23.040)
_END = re.compile(r"(?<=[.!?])\s+(?=[A-Z0-9\"“'(])")


def sentences(text: str) -> list[str]:
    """The sentences of a fact's text, in order."""
    return [
        piece.strip() for line in text.splitlines() for piece in _END.split(line) if piece.strip()
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

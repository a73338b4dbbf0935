"""The names in braces of a text, filled in from the house's values."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["Filling", "fill", "names_in"]

_PIECE = re.compile(r"\{\{|\}\}|\{([^{}\n]*)\}|[{}]")
_NAME = re.compile(r"[a-z][a-z0-9_]*(\.[a-z][a-z0-9_]*)*")


@dataclass(frozen=True, slots=True)
class Filling:
    """A text with its names filled in.

    Attributes:
        text: What a guest reads.
        unknown: Names that no value has, in order; they stay in the text.
        alone: A brace that opens or closes nothing was met.
    """

    text: str
    unknown: tuple[str, ...] = ()
    alone: bool = False


def fill(text: str, words: Mapping[str, str]) -> Filling:
    """`Quiet from {quiet_hours}.` → `Quiet from 22:00 to 07:30.`; `{{` → `{`."""
    unknown: list[str] = []
    alone = False

    def said(piece: re.Match[str]) -> str:
        nonlocal alone
        whole, name = piece[0], piece[1]
        if whole in ("{{", "}}"):
            return whole[0]
        if name is None:
            alone = True
        elif name in words:
            return words[name]
        else:
            unknown.append(name)
        return whole

    filled = _PIECE.sub(said, text)
    return Filling(filled, tuple(dict.fromkeys(unknown)), alone)


def names_in(text: str) -> tuple[str, ...]:
    """The well-formed names that stand in braces."""
    return tuple(
        piece[1]
        for piece in _PIECE.finditer(text)
        if piece[1] is not None and _NAME.fullmatch(piece[1])
    )

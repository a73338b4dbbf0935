"""The corpus read: invented houses, and what their guests wrote, with labels."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from askhouse.knowledge.load import load_houses
from askhouse.values import House

__all__ = ["Corpus", "Label", "Line", "TriageLine", "read_corpus"]

_MARK = "¦"  # before the second and later parts of a message, in the text


@dataclass(frozen=True, slots=True)
class Label:
    """What one part of a message is.

    Attributes:
        kind: A name of `askhouse.kinds.KINDS`; "question" for both answers and gaps.
        needed: Facts that answer it; empty for a gap.
        also: Facts about the same thing, which may be given too.
        near: For a gap, the fact that comes close and must not be given.
    """

    kind: str
    needed: tuple[str, ...] = ()
    also: tuple[str, ...] = ()
    near: tuple[str, ...] = ()

    @property
    def is_gap(self) -> bool:
        return self.kind == "question" and not self.needed


@dataclass(frozen=True, slots=True)
class Line:
    """One message to one house.

    Attributes:
        starts: Characters at which the second and later parts begin, where the writer marked
            them; else None.
        round: Which round of writing it is of, where a comment above it tells; else "".
    """

    house: str
    text: str
    language: str
    labels: tuple[Label, ...]
    starts: tuple[int, ...] | None = None
    round: str = ""


@dataclass(frozen=True, slots=True)
class TriageLine:
    """One message read without a house; `label` as the corpus README lists them."""

    text: str
    language: str
    label: str

    @property
    def kind(self) -> str:
        """The name of `askhouse.kinds.KINDS` that the label stands for."""
        first, _, second = self.label.partition("/")
        if first == "none":
            # News and things past want nothing; the rest are questions for the facts.
            return "chat" if second in {"past", "news"} else "question"
        return first

    @property
    def hazard(self) -> str | None:
        parts = self.label.split("/")
        return parts[1] if parts[0] == "safety" else None


@dataclass(frozen=True, slots=True)
class Corpus:
    """All of it.

    Attributes:
        lines: What each house's own guests wrote.
        borrowed: Messages of other houses' guests, put to this house and labelled anew.
            They were picked because an earlier model was unsure, so that they teach
            more than they weigh: nothing is measured on them.
    """

    houses: dict[str, House]
    lines: tuple[Line, ...]
    borrowed: tuple[Line, ...]
    triage: tuple[TriageLine, ...]


def read_corpus(folder: Path) -> Corpus:
    """The corpus of a folder; lines that are comments or blank are left out."""
    library = load_houses(folder / "houses")
    lines, borrowed = (
        tuple(
            _line(path.stem, text, language, label, written)
            for path in sorted((folder / name).glob("*.psv"))
            for label, language, text, written in _rows(path)
            if path.stem in library.houses
        )
        for name in ("messages", "borrowed")
    )
    triage = tuple(
        TriageLine(text, language, label)
        for path in sorted((folder / "triage").glob("*.psv"))
        for label, language, text, _ in _rows(path)
    )
    return Corpus(dict(library.houses), lines, borrowed, triage)


def _rows(path: Path) -> Iterator[tuple[str, str, str, str]]:
    written = ""
    with path.open(encoding="utf-8", newline="") as file:
        for row in csv.reader(file, delimiter="|", quoting=csv.QUOTE_NONE):
            if row and row[0].startswith("#"):
                written = row[0].removeprefix("#").strip()
            elif row:
                label, language, text = (cell.strip() for cell in row)
                yield label, language, text, written


def _line(house: str, marked: str, language: str, label: str, written: str) -> Line:
    first, *others = (piece.strip() for piece in marked.split(_MARK))
    text, starts = first, []
    for piece in others:
        starts.append(len(text) + 1)
        text += f" {piece}"
    labels = tuple(_label(part) for part in label.split(";"))
    return Line(house, text, language, labels, tuple(starts) or None, written)


def _label(text: str) -> Label:
    text = text.strip()
    if text.startswith("!"):
        return Label(text[1:])
    if text.startswith("~"):
        return Label("question", near=tuple(f for f in re.split(r"[/+]", text[1:]) if f))
    first, *also = text.split("/")
    return Label(
        "question",
        needed=tuple(first.split("+")),
        also=tuple(fact for group in also for fact in group.split("+")),
    )

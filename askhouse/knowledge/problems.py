"""What is wrong in the house files, said so that a host can mend it.

The first thing a host meets when a file is not right: each problem names the
file, the line, what is wrong there and what to do about it, and all of them
come at once. None holds a text of a sensitive fact.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

__all__ = ["Problem", "Severity", "has_error", "in_order", "listing"]


class Severity(StrEnum):
    """Whether a house can be used in spite of the problem."""

    ERROR = "error"
    WARNING = "warning"


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing to mend.

    Attributes:
        file: As the host knows it, below the folder that was loaded.
        line: From 1.
        field: Where in the file, such as `facts[3].text`; empty for the file as a whole.
        what: What is wrong, as the rest of a sentence that begins with the field.
        mend: What to do about it, a sentence.
        severity: An error leaves the house out; a warning keeps it.
    """

    file: str
    line: int
    field: str
    what: str
    mend: str
    severity: Severity = Severity.ERROR

    def __str__(self) -> str:
        sign = "warning: " if self.severity is Severity.WARNING else ""
        sentence = f"{self.field} {self.what}" if self.field else self.what
        return f"{self.file}:{self.line}: {sign}{sentence}\n  {self.mend}"


def has_error(problems: Iterable[Problem]) -> bool:
    """Whether any of them leaves a house out."""
    return any(problem.severity is Severity.ERROR for problem in problems)


def in_order(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """The problems by file and line, as a host works through them, each once."""
    return tuple(
        sorted(dict.fromkeys(problems), key=lambda p: (p.file, p.line, p.field, p.severity, p.what))
    )


def listing(problems: Iterable[Problem], folder: str = "") -> str:
    """All problems as a host reads them, with the count at the end; empty for none.

    `folder` is put before each file, so that an editor finds it: the folder that was loaded, as
    the host named it.
    """
    ordered = in_order(problems)
    if folder:
        ordered = tuple(replace(p, file=f"{folder.rstrip('/')}/{p.file}") for p in ordered)
    if not ordered:
        return ""
    errors = sum(problem.severity is Severity.ERROR for problem in ordered)
    counts = [_count(errors, "error"), _count(len(ordered) - errors, "warning")]
    lines = [str(problem) for problem in ordered]
    return "\n".join([*lines, " and ".join(count for count in counts if count) + "."]) + "\n"


def _count(number: int, noun: str) -> str:
    if number == 0:
        return ""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"

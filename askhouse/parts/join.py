"""Clauses -> parts: which statement belongs to which question.

A statement mostly leads up to the question behind it ("the hall is dark. where
is the switch?") and is read with it. But one that reports something of its own
("we broke a mug. also where is the hoover?") is a part for itself.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from askhouse.parts.context import leans_back
from askhouse.parts.split import Clause, ClauseKind, at_most

__all__ = ["Group", "grouped", "joined", "neighbours"]

_NEW_MATTER = re.compile(
    r"^(?:and |oh |but )*(?:also|plus|another thing|one more thing|btw|by the way|ps|p\.s\.|"
    r"además|también|aussi|außerdem|ausserdem|auch|inoltre|anche|ook|verder|também|além disso)\b",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class Group:
    """A question, or the statements between two questions; greetings are left out.

    Attributes:
        asks: Whether it is a question.
        apart: It opens with "also": a new matter, whatever it says.
    """

    text: str
    asks: bool
    apart: bool


def grouped(clauses: Sequence[Clause]) -> tuple[Group, ...]:
    """Every ask by itself, and statements that follow each other together."""
    groups: list[Group] = []
    for clause in clauses:
        if clause.kind is ClauseKind.TALK:
            continue
        asks = clause.kind is ClauseKind.ASK
        apart = bool(_NEW_MATTER.match(clause.text))
        last = groups[-1] if groups else None
        if last is not None and not asks and not last.asks and not apart:
            groups[-1] = Group(f"{last.text} {clause.text}", asks=False, apart=last.apart)
        else:
            groups.append(Group(clause.text, asks, apart))
    return tuple(groups)


def joined(groups: Sequence[Group], reports: Sequence[bool]) -> tuple[str, ...]:
    """The parts of a message, in the guest's order.

    Args:
        groups: As `grouped` gives them.
        reports: For each group, whether it is a statement that reports something of
            its own (harm, a breakage, a wish, a complaint).
    """
    parts: list[list[str]] = []
    waiting: list[str] = []
    reported = False  # the last part is a report
    for group, reports_something in zip(groups, reports, strict=True):
        if reports_something:
            parts += [waiting] * bool(waiting) + [[group.text]]
            waiting, reported = [], True
        elif not group.asks:
            waiting.append(group.text)
        elif reported and not group.apart and not waiting and leans_back(group.text):
            parts[-1].append(group.text)  # "could it be the mussels?" belongs to the report
        else:
            parts.append([*waiting, group.text])
            waiting, reported = [], False
    if waiting:
        parts[-1:] = [[*parts[-1], *waiting]] if parts else [waiting]
    return at_most([" ".join(part) for part in parts])


def neighbours(groups: Sequence[Group]) -> tuple[str | None, ...]:
    """For each statement, it and the question it would be read with; None for questions.

    A statement is read with the question behind it, or, at the end, with the one before.
    """
    found: list[str | None] = []
    for place, group in enumerate(groups):
        behind = groups[place + 1] if place + 1 < len(groups) else None
        if group.asks:
            found.append(None)
        elif behind is not None and behind.asks:
            found.append(f"{group.text} {behind.text}")
        else:
            found.append(f"{groups[place - 1].text} {group.text}" if place else group.text)
    return tuple(found)

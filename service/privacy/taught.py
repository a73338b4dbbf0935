"""A guest's words that a lesson made a way of asking: found, and taken out of the house's file.

Only what a lesson wrote is touched: the change that it made is kept with its time. What the host
wrote alike before, or another guest asked in the same words, stays; what was edited since has to be
looked for by the host.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.errors import KnowledgeError
from askhouse.knowledge.write import FactChange, read_fact, write_fact
from service.tables import Change, Lesson

__all__ = ["Place", "Taught", "forget_changes", "take_out", "taught_by"]

_NO_WORD = re.compile(r"\W+")


@dataclass(frozen=True, slots=True)
class Taught:
    """Words that became a way of asking for a fact; `change_id` is of the change that did it."""

    house: str
    fact: str
    words: str
    change_id: int


@dataclass(frozen=True, slots=True)
class Place:
    """Where such words stood, and whether they are gone."""

    file: str
    line: int
    gone: bool


def taught_by(session: Session, lessons: Sequence[Lesson]) -> tuple[Taught, ...]:
    """The words of these lessons that stand in house files since, and are nobody else's."""
    found = []
    mine = [each.id for each in lessons]
    for lesson in lessons:
        if lesson.verdict != "answered-by" or not lesson.fact or not lesson.text:
            continue
        change = session.scalar(
            select(Change.id).where(
                Change.house == lesson.house, Change.fact == lesson.fact, Change.at == lesson.at
            )
        )
        others = session.scalars(
            select(Lesson.text).where(
                Lesson.house == lesson.house, Lesson.fact == lesson.fact, Lesson.id.not_in(mine)
            )
        )
        if change is not None and not any(_same(text, lesson.text) for text in others):
            found.append(Taught(lesson.house, lesson.fact, lesson.text, change))
    return tuple(found)


def forget_changes(session: Session, taught: Iterable[Taught]) -> None:
    """Takes the changes away in which the words stand; they cannot be undone any more."""
    for one in taught:
        changes = session.scalars(
            select(Change).where(
                Change.house == one.house, Change.fact == one.fact, Change.id >= one.change_id
            )
        )
        for change in changes:
            if _bare(one.words) in _bare(f"{change.before or ''} {change.after or ''}"):
                session.delete(change)
    session.flush()


def take_out(folder: Path, taught: Taught) -> Place | None:
    """Takes the words out of the fact's file, and leaves every other byte of it as it was.

    Returns:
        None where the fact is not there any more; a place where they are not gone if they were
        edited since, or the file cannot be edited safely.
    """
    try:
        fact = read_fact(folder, taught.house, taught.fact)
    except KnowledgeError:
        return None
    asks = fact.fields.get("asks")
    listed = [str(ask) for ask in asks] if isinstance(asks, list | tuple) else []
    kept = [ask for ask in listed if not _same(ask, taught.words)]
    gone = len(kept) < len(listed)
    if gone:
        change = FactChange(fields={"asks": kept or None})
        try:
            write_fact(folder, taught.house, taught.fact, change, fact.lines_hash)
        except KnowledgeError:
            gone = False
    return Place(fact.file, fact.line, gone)


def _same(text: str, words: str) -> bool:
    return bool(_bare(text)) and _bare(text) == _bare(words)


def _bare(text: str) -> str:
    """Letters and digits alone: a file may quote and fold words in its own way."""
    return _NO_WORD.sub("", text.casefold())

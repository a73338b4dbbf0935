"""A fact changed from a page: checked, written to its file, kept with what stood before.

The files stay the source; this keeps the history beside them, and tells the service that a house
is another now.
"""

from __future__ import annotations

import datetime as dt
import re
import unicodedata
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sqlalchemy.orm import Session

from askhouse.errors import KnowledgeError
from askhouse.knowledge.load import LoadedHouse
from askhouse.knowledge.problems import Problem, Severity
from askhouse.knowledge.scalars import Value
from askhouse.knowledge.standing import files_of, find_fact, sha256
from askhouse.knowledge.write import (
    EditConflictError,
    EditRefusedError,
    FactAsWritten,
    FactChange,
    FactWritten,
    draft_fact,
    put_back,
    remove_fact,
    write_fact,
)
from askhouse.values import Fact, House
from service.console.draft import segments
from service.console.house_views import (
    FactForm,
    NewFact,
    Preview,
    ProblemRow,
)
from service.console.noting import note
from service.console.page import EffectsOf, NotHereError, NotThisError, Visit
from service.drafting import OWN_CODE
from service.gaps.preview import Effects, past_questions
from service.tables import Change

__all__ = [
    "Typed",
    "as_it_stands",
    "as_typed",
    "change_of",
    "change_of_new",
    "form_of",
    "looking",
    "new_id",
    "preview",
    "preview_as_written",
    "preview_of",
    "remove",
    "save",
    "topic_choices",
    "topic_words",
    "undo",
]

_LONGEST_ID = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """What a person typed into the form of a fact.

    Attributes:
        sensitive: They say that it holds a code. What is marked so stays marked: a form that
            says nothing of it must not open a code to everyone.
        checked: They say that it is true today.
    """

    title: str = ""
    text: str = ""
    asks: str = ""
    cautions: str = ""
    sensitive: bool = False
    checked: bool = False


def as_it_stands(folder: Path, house: str, fact_id: str) -> FactAsWritten:
    """A fact in its file, without its content hash: for that the whole house would be loaded.

    Raises:
        KnowledgeError: There is no such house or fact.
    """
    stands = find_fact(files_of(folder, house), fact_id)
    if stands is None:
        raise KnowledgeError(f'{house}: no fact or note is called "{fact_id}"')
    lines = stands.lines
    return FactAsWritten(
        id=fact_id,
        file=stands.file,
        line=stands.line,
        fields=stands.fields,
        lines=lines,
        content_hash=None,
        lines_hash=sha256(lines),
    )


def as_typed(fact: FactAsWritten) -> Typed:
    """A fact as its form shows it: the words of the file, lists with a line each."""
    fields: Any = fact.fields
    return Typed(
        title=str(fields.get("title") or ""),
        text=str(fields.get("text") or ""),
        asks="\n".join(fields.get("asks") or ()),
        cautions="\n".join(_cautions(fields)),
    )


def form_of(fact: FactAsWritten, typed: Typed) -> FactForm:
    """The form, with what was typed in it."""
    return FactForm(
        id=fact.id,
        title=typed.title,
        text=typed.text,
        asks=typed.asks,
        cautions=typed.cautions,
        written=f"{fact.file}:{fact.line}",
        hash=fact.lines_hash,
    )


def change_of(fact: FactAsWritten, typed: Typed, today: dt.date) -> FactChange:
    """Only the fields that are other than in the file, so that no other byte is touched."""
    stands = as_typed(fact)
    fields: dict[str, Value | None] = {}
    if _flat(typed.title) != _flat(stands.title):
        fields["title"] = typed.title.strip() or None
    if _flat(typed.text) != _flat(stands.text):
        fields["text"] = typed.text.strip()
    if _lines(typed.asks) != _lines(stands.asks):
        fields["asks"] = _lines(typed.asks) or None
    if _lines(typed.cautions) != _lines(stands.cautions):
        fields["cautions"] = _lines(typed.cautions) or None
        if "caution" in fact.fields:
            fields["caution"] = None
    if typed.sensitive and fact.fields.get("sensitive") is not True:
        fields["sensitive"] = True
    if typed.checked:
        fields["verified_on"] = today
    return FactChange(fields)


def change_of_new(typed: NewFact, topics: Collection[str], today: dt.date) -> FactChange:
    """A fact or note that is not there yet, made sure of today by whoever writes it.

    Args:
        typed: What was typed; a topic as a page shows it, or one that is new.
        topics: Those that the house has.
        today: At the house.
    """
    known = {topic_words(topic).lower(): topic for topic in topics}
    topic = " ".join(typed.topic.split())
    fields: dict[str, Value | None] = {
        "topic": known.get(topic.lower(), topic) or "house",
        "title": typed.title.strip(),
        "text": typed.text.strip(),
    }
    if _lines(typed.asks):
        fields["asks"] = _lines(typed.asks)
    if _lines(typed.cautions):
        fields["cautions"] = _lines(typed.cautions)
    if typed.sensitive:
        fields["sensitive"] = True
    return FactChange(fields | {"verified_on": today}, new=True, note=typed.note)


def topic_words(topic: str) -> str:
    """A topic of a house as a page shows it: `hot-tub` → `Hot tub`."""
    words = topic.replace("-", " ")
    return words[:1].upper() + words[1:]


def topic_choices(facts: Iterable[Fact]) -> tuple[str, ...]:
    """The topics of these facts in words, each once."""
    return tuple(dict.fromkeys(topic_words(fact.topic) for fact in facts))


Look = Callable[[House], Effects | None]
"""Asks a house as it would be what guests asked before."""


def preview(
    folder: Path, house: str, fact_id: str, change: FactChange, look: Look | None = None
) -> Preview:
    """What the guest would get, and what is wrong; nothing is written."""
    try:
        loaded = draft_fact(folder, house, fact_id, change)
    except (EditConflictError, EditRefusedError) as error:
        return Preview(said="", segments=0, refused=str(error))
    found = _preview(loaded, fact_id)
    if look is None or loaded.house is None:
        return found
    return replace(found, effects=look(loaded.house))


def looking(seen: Visit, house: str, fact_id: str) -> Look:
    """What a change of a fact would do to past questions, where the service can tell."""

    def look(then: House) -> Effects | None:
        effects: EffectsOf | None = seen.request.app.state.effects
        if effects is None:
            return None
        with seen.database.reading() as session:
            questions = past_questions(session, house)
        return effects(then, fact_id, questions)

    return look


def preview_as_written(folder: Path, house: str, fact_id: str) -> Preview:
    """What the guest gets once the house is open with what stands in the file now."""
    return preview(folder, house, fact_id, FactChange({}))


def preview_of(fact: Fact | None) -> Preview:
    """What the guest gets today."""
    said = _said(fact) if fact else ""
    return Preview(said=said, segments=segments(said) if said else 0)


def save(
    session: Session,
    seen: Visit,
    house: str,
    fact_id: str,
    change: FactChange,
    expected_hash: str | None,
) -> FactWritten:
    """Writes the file, and keeps what stood there before.

    Raises:
        EditConflictError: Someone else changed the fact meanwhile.
        EditRefusedError: The house could not be used any more.
    """
    written = write_fact(seen.knowledge, house, fact_id, change, expected_hash)
    _keep(session, seen, house, fact_id, written, None)
    return written


def remove(session: Session, seen: Visit, house: str, fact_id: str, expected_hash: str) -> None:
    """Takes a fact out of its file, or a note's file away; undoing it brings it back.

    Raises:
        EditConflictError: Someone else changed the fact meanwhile.
        EditRefusedError: The house could not be used any more.
    """
    written = remove_fact(seen.knowledge, house, fact_id, expected_hash)
    _keep(session, seen, house, fact_id, written, None)


def undo(session: Session, seen: Visit, house: str, change_id: int) -> Change:
    """Puts back what stood before a change, which is a change of its own.

    Raises:
        EditConflictError: The fact was changed again since.
    """
    done = session.get(Change, change_id)
    if done is None or done.house != house:
        raise NotHereError
    if done.before is None and done.after is None:
        raise NotThisError("There is nothing to put back.")
    written = put_back(
        seen.knowledge,
        house,
        done.fact,
        file=done.file,
        before=done.before,
        after=done.after,
    )
    _keep(session, seen, house, done.fact, written, done.id)
    return done


def new_id(folder: Path, house: str, title: str) -> str:
    """An id made of a title: lower case, digits and hyphens, and no other fact's in the files.

    Raises:
        KnowledgeError: There is no such house.
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    made = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_LONGEST_ID].strip("-") or "fact"
    files = files_of(folder, house)
    each, number = made, 1
    while find_fact(files, each) is not None:
        number += 1
        each = f"{made}-{number}"
    return each


def _keep(
    session: Session,
    seen: Visit,
    house: str,
    fact_id: str,
    written: FactWritten,
    undoes: int | None,
) -> None:
    session.add(
        Change(
            house=house,
            file=written.file,
            fact=fact_id,
            before=written.before,
            after=written.after,
            old_hash=written.old_hash,
            new_hash=written.new_hash,
            person=seen.caller.who,
            at=seen.now,
            undoes=undoes,
        )
    )
    note(session, seen, "fact.undo" if undoes else "fact.write", f"fact:{house}/{fact_id}")


def _preview(loaded: LoadedHouse, fact_id: str) -> Preview:
    facts = loaded.house.facts if loaded.house else ()
    fact = next((each for each in facts if each.id == fact_id), None)
    # Errors are all told, since with one the house is closed; warnings only of this fact.
    told = [
        problem
        for problem in loaded.problems
        if (problem.severity is Severity.ERROR if fact is None else _is_about(problem, fact, facts))
    ]
    return replace(preview_of(fact), problems=tuple(map(_row, told)))


def _is_about(problem: Problem, fact: Fact, facts: Iterable[Fact]) -> bool:
    """Whether a problem lies in the fact's own lines, which end where the next fact begins."""
    if problem.file != fact.source.file:
        return False
    begin = [other.source.line for other in facts if other.source.file == problem.file]
    return max((line for line in begin if line <= problem.line), default=0) == fact.source.line


def _row(problem: Problem) -> ProblemRow:
    words = f"{problem.field} {problem.what}" if problem.field else problem.what
    return ProblemRow(words=words, mend=problem.mend, warning=problem.severity is Severity.WARNING)


def _said(fact: Fact) -> str:
    lines = [fact.text, *(f"Careful: {caution}" for caution in fact.cautions)]
    said = "\n".join([*lines, *([str(fact.media)] if fact.media else [])])
    return said.replace(OWN_CODE, "(the door code of the guest's stay)")


def _cautions(fields: Any) -> list[str]:
    several = fields.get("cautions") or ()
    return [*several, *([fields["caution"]] if fields.get("caution") else [])]


def _lines(text: str) -> list[str]:
    return [line.strip() for line in text.splitlines() if line.strip()]


def _flat(text: str) -> str:
    """The text as the file gives it: a form's line breaks are CR LF."""
    return text.replace("\r\n", "\n").strip()

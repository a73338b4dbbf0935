"""Facts and notes as they are read from their files, before names are filled in.

The fourth step of loading. A draft keeps the file it came from, so that every
later problem can name the line.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from pydantic import ValidationError
from pydantic_core import PydanticCustomError

from askhouse.knowledge.checks import checked_id
from askhouse.knowledge.explain import explain
from askhouse.knowledge.notes import Block, blocks_of, split_note
from askhouse.knowledge.problems import Problem
from askhouse.knowledge.schema import FactFile, NoteHead
from askhouse.knowledge.written import Place, Written, read_yaml

__all__ = ["Draft", "Drafts", "read_facts", "read_note"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """One fact or note, read and checked for itself.

    Attributes:
        head: Its fields.
        blocks: The body of a note; empty for a fact.
        written: The file.
        at: Where in the file it stands.
    """

    id: str
    head: FactFile | NoteHead
    blocks: tuple[Block, ...] = ()
    written: Written
    at: Place


@dataclass(frozen=True, slots=True)
class Drafts:
    """What one file gave.

    Attributes:
        drafts: The facts and notes, as far as they are right; with an error among the problems,
            only for finding more problems.
        ids: Every id the file names, also of a fact that has problems, with its place.
    """

    written: Written
    drafts: tuple[Draft, ...]
    ids: tuple[tuple[str, Place], ...]
    problems: tuple[Problem, ...]


def read_facts(written: Written, listed: object, at: Place, topic: str | None) -> Drafts:
    """The facts of a list; `topic` is for those that name none."""
    if not isinstance(listed, list):
        what = "must be a list of facts." if at else "The file must be a list of facts."
        problem = written.problem(at, what, "Begin each fact with `- id: its-name`.")
        return Drafts(written, (), (), (problem,))
    drafts, ids, problems = [], [], []  # type: list[Draft], list[tuple[str, Place]], list[Problem]
    for number, item in enumerate(listed):
        place = (*at, number)
        fact_id = _id_of(item)
        if fact_id is not None:
            ids.append((fact_id, (*place, "id")))
        given = {"topic": topic, **item} if topic and isinstance(item, dict) else item
        try:
            head = FactFile.model_validate(given)
            drafts.append(Draft(id=head.id, head=head, written=written, at=place))
        except ValidationError as error:
            problems += explain(error, FactFile, written, place, thing="a fact", name=fact_id)
            rest = _without_refused(FactFile, given, error, fact_id or _UNNAMED)
            if rest is not None:
                drafts.append(Draft(id=rest.id, head=rest, written=written, at=place))
    return Drafts(written, tuple(drafts), tuple(ids), tuple(problems))


def read_note(file: str, text: str, note_id: str) -> Drafts:
    """The note of a Markdown file; its id is the file's name."""
    nothing = Written(file=file, text=text)
    problems = list(_id_problems(nothing, note_id))
    ids: tuple[tuple[str, Place], ...] = () if problems else ((note_id, ()),)
    split = split_note(file, text)
    if isinstance(split, Problem):
        return Drafts(nothing, (), ids, (*problems, split))
    front, body, body_line = split
    # The front matter begins on the second line, after the dashes.
    head_written, syntax = read_yaml(file, front, first_line=2)
    # A note as a whole is the whole file, from its first line.
    lines = {**head_written.lines, (): 1}
    written = Written(file=file, text=text, values=head_written.values, lines=lines)
    blocks = blocks_of(body, body_line)
    problems += syntax
    if not blocks:
        mend = "Write it below the second ---."
        problems.append(written.problem((), "The note has no text.", mend, line=body_line - 1))
    head = None if syntax else _head(written, note_id, problems)
    if head is None:
        return Drafts(written, (), ids, tuple(problems))
    draft = Draft(id=note_id, head=head, blocks=blocks, written=written, at=())
    return Drafts(written, (draft,), ids, tuple(problems))


def _head(written: Written, note_id: str, problems: list[Problem]) -> NoteHead | None:
    values: Any = {} if written.values is None else written.values
    try:
        return NoteHead.model_validate(values)
    except ValidationError as error:
        problems += explain(error, NoteHead, written, (), thing="a note", name=note_id)
        return _without_refused(NoteHead, values, error, note_id)


_Head = TypeVar("_Head", FactFile, NoteHead)
_UNNAMED = "unnamed"


def _without_refused(
    model: type[_Head], given: Any, error: ValidationError, name: str
) -> _Head | None:
    """What is left of a refused fact, so that the problems of its texts come at once as well.

    It never becomes a fact, since the house has an error. It counts as sensitive: the refused
    field may have been the one that says so.
    """
    if not isinstance(given, dict):
        return None
    refused = {one["loc"][0] for one in error.errors() if one["loc"]}
    stand_ins = {"id": name, "topic": "-", "text": "-", "title": "-"}
    rest = {key: stand_ins[key] for key in stand_ins if key in model.model_fields}
    rest |= {key: value for key, value in given.items() if key not in refused}
    try:
        return model.model_validate({**rest, "sensitive": True})
    except ValidationError:
        return None


def _id_of(item: object) -> str | None:
    """The id of a fact as it stands, if it is one that can be shown and looked for."""
    found = item.get("id") if isinstance(item, Mapping) else None
    return found if isinstance(found, str) and not list(_id_faults(found)) else None


def _id_faults(name: str) -> Iterator[str]:
    try:
        checked_id(name)
    except PydanticCustomError as error:
        yield error.message()


def _id_problems(written: Written, note_id: str) -> Iterator[Problem]:
    for fault in _id_faults(note_id):
        yield written.problem(
            (), f"The file's name {fault}", "Rename the file, such as light-the-stove.md."
        )

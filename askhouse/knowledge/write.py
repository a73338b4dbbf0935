"""One fact changed in its file, and every other byte left as it was.

The way back from a gap to the files. Nothing is replaced before the project's own
loader has read the house as it would be; what it refuses is not written. Two people
who change the same fact are told, and each change gives what it takes to undo it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from askhouse.errors import KnowledgeError
from askhouse.knowledge.drafting import (
    added,
    added_note,
    altered,
    given_back,
    has_folder,
    removed,
)
from askhouse.knowledge.edit_check import CannotEditError
from askhouse.knowledge.folders import HouseFiles
from askhouse.knowledge.house import read_house
from askhouse.knowledge.load import LoadedHouse
from askhouse.knowledge.near import did_you_mean
from askhouse.knowledge.problems import Problem, has_error, in_order, listing
from askhouse.knowledge.replacing import FileChangedError, alone, replace_file
from askhouse.knowledge.scalars import Value
from askhouse.knowledge.standing import (
    Draft,
    DraftedFiles,
    Standing,
    files_of,
    find_fact,
    sha256,
)

__all__ = [
    "EditConflictError",
    "EditRefusedError",
    "FactAsWritten",
    "FactChange",
    "FactWritten",
    "draft_fact",
    "put_back",
    "read_fact",
    "remove_fact",
    "takes_notes",
    "write_fact",
]


class EditRefusedError(KnowledgeError):
    """The change cannot be written; `problems` are the loader's, empty where the style is why."""

    def __init__(self, message: str, problems: tuple[Problem, ...] = ()) -> None:
        super().__init__(message)
        self.problems = problems


class EditConflictError(KnowledgeError):
    """Someone else has changed the fact, or its file, in the meantime."""


@dataclass(frozen=True, slots=True)
class FactChange:
    """What is to become of a fact.

    Attributes:
        fields: By their names in the file: `text`, `asks`, `verified_on` and so on; None or
            an empty list removes one. The `text` of a note is its Markdown below the front
            matter. Texts are as written, with the names of values in braces.
        new: The fact is not there yet; `topic` and `text` must be given.
        note: It is a how-to note, where it is new; `title` must be given as well.
    """

    fields: Mapping[str, Value | None]
    new: bool = False
    note: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FactWritten:
    """What was done to a file.

    Attributes:
        file: As the host knows it.
        before: The fact's own lines as they stood; None where it was new.
        after: Its own lines as they stand now; None where it was removed.
        old_hash: Its content hash before, as in a citation; None where it was new.
        new_hash: Its content hash now; None where it was removed.
        warnings: What the loader says about the house now, short of an error.
    """

    file: str
    before: str | None
    after: str | None
    old_hash: str | None
    new_hash: str | None
    warnings: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FactAsWritten:
    """A fact as it stands in its file, for editing.

    Attributes:
        fields: As for `FactChange`.
        lines: Its own lines; of a note, the whole file.
        content_hash: Of its text as guests get it; None while the house has an error.
        lines_hash: Of its lines. Given as expected hash it notices every change, the
            content hash only those of the text.
    """

    id: str
    file: str
    line: int
    fields: Mapping[str, object]
    lines: str
    content_hash: str | None
    lines_hash: str


def read_fact(folder: Path, house: str, fact_id: str) -> FactAsWritten:
    """A fact as it is written.

    Raises:
        KnowledgeError: There is no such house or fact.
    """
    files = files_of(folder, house)
    stands = _found(files, fact_id)
    return FactAsWritten(
        id=fact_id,
        file=stands.file,
        line=stands.line,
        fields=stands.fields,
        lines=stands.lines,
        content_hash=_content_hash(_loaded(files), fact_id),
        lines_hash=sha256(stands.lines),
    )


def takes_notes(folder: Path, house: str) -> bool:
    """Whether the house is a folder, where alone a note can be written.

    Raises:
        KnowledgeError: There is no such house.
    """
    return has_folder(files_of(folder, house))


def draft_fact(folder: Path, house: str, fact_id: str, change: FactChange) -> LoadedHouse:
    """The house as it would be after a change, and its problems; nothing is written.

    Raises:
        EditRefusedError: The file cannot be edited safely.
        KnowledgeError: There is no such house or fact.
    """
    files = files_of(folder, house)
    before = _before(files, fact_id, change)
    return _loaded(DraftedFiles.of(files, _draft(files, before, fact_id, change)))


def write_fact(
    folder: Path, house: str, fact_id: str, change: FactChange, expected_hash: str | None
) -> FactWritten:
    """Changes a fact, or adds one to the file of its topic; a note gets a file of its own.

    Args:
        folder: The houses, or one of them.
        house: The house's slug.
        fact_id: The fact.
        change: What is to become of it.
        expected_hash: The content hash, or the hash of the lines, that the writer saw;
            None to write whatever stands there.

    Raises:
        EditConflictError: The fact is another than the writer saw, or is there already.
        EditRefusedError: The house would have an error, or the file cannot be edited safely.
        KnowledgeError: There is no such house or fact.
    """
    with _alone(folder):
        files = files_of(folder, house)
        before = _before(files, fact_id, change)
        _expect(files, before, fact_id, expected_hash)
        return _write(files, _draft(files, before, fact_id, change), fact_id, before)


def remove_fact(folder: Path, house: str, fact_id: str, expected_hash: str | None) -> FactWritten:
    """Removes a fact; a note's file goes with it, and a file of facts that held no other.

    Raises:
        EditConflictError: The fact is another than the writer saw.
        EditRefusedError: The house would have an error, or the file cannot be edited safely.
        KnowledgeError: There is no such house or fact.
    """
    with _alone(folder):
        files = files_of(folder, house)
        before = _found(files, fact_id)
        _expect(files, before, fact_id, expected_hash)
        with _safely(before.file):
            draft = removed(files, before)
        return _write(files, draft, fact_id, before)


def put_back(
    folder: Path, house: str, fact_id: str, *, file: str, before: str | None, after: str | None
) -> FactWritten:
    """Undoes a change: a fact's own lines become again what they were, to the byte.

    A fact that was removed comes back at the end of its file's list.

    Args:
        folder: The houses, or one of them.
        house: The house's slug.
        fact_id: The fact.
        file: As in `FactWritten`; so are `before` and `after`.
        before: Its lines before the change; None removes the fact, which was new.
        after: Its lines after the change.

    Raises:
        EditConflictError: Its lines are no longer those that the change left.
        EditRefusedError: The house would have an error, or the lines no longer fit.
        KnowledgeError: There is no such house or fact.
    """
    if before is None:
        return remove_fact(folder, house, fact_id, None if after is None else sha256(after))
    with _alone(folder):
        files = files_of(folder, house)
        stands = find_fact(files, fact_id)
        with _safely(file):
            draft = given_back(files, stands, file, before, after)
        if draft is None:
            raise EditConflictError(
                f'{file}: the fact "{fact_id}" was changed again since; undo that first'
            )
        return _write(files, draft, fact_id, stands)


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    try:
        with alone(folder):
            yield
    except FileChangedError as error:
        raise EditConflictError(
            "the house's files were changed meanwhile; look at what they say now and try again"
        ) from error


# --- the steps -------------------------------------------------------------------------------


def _found(files: HouseFiles, fact_id: str) -> Standing:
    stands = find_fact(files, fact_id)
    if stands is None:
        raise KnowledgeError(
            f'{files.main_file}: no fact or note is called "{fact_id}". '
            f"{did_you_mean(fact_id, _ids(files))}".strip()
        )
    return stands


def _ids(files: HouseFiles) -> list[str]:
    house = _loaded(files).house
    return [] if house is None else [fact.id for fact in house.facts]


def _before(files: HouseFiles, fact_id: str, change: FactChange) -> Standing | None:
    if not change.new:
        return _found(files, fact_id)
    stands = find_fact(files, fact_id)
    if stands is not None:
        raise EditConflictError(
            f'{stands.file}:{stands.line}: a fact is called "{fact_id}" already; give another id'
        )
    return None


def _draft(files: HouseFiles, before: Standing | None, fact_id: str, change: FactChange) -> Draft:
    given = change.fields.items()
    fields = {name: None if value in ("", [], ()) else value for name, value in given}
    with _safely(files.main_file if before is None else before.file):
        if before is not None:
            return altered(before, fields)
        if not change.note:
            return added(files, fact_id, fields)
        if not has_folder(files):
            raise EditRefusedError(
                f"{files.main_file}: notes are files of their own, and this house is a single "
                "file. Make a folder of the house's name, and move the file into it as house.yaml."
            )
        return added_note(files, fact_id, fields)


@contextmanager
def _safely(file: str) -> Iterator[None]:
    try:
        yield
    except CannotEditError as error:
        raise EditRefusedError(
            f"{file}: this cannot be changed here without risk to what stands around it, since "
            f"{error}. Change it in the file."
        ) from error


def _expect(files: HouseFiles, before: Standing | None, fact_id: str, expected: str | None) -> None:
    if expected is None:
        return
    if before is None:
        raise EditConflictError(f'the fact "{fact_id}" was removed meanwhile')
    if expected not in (sha256(before.lines), _content_hash(_loaded(files), fact_id)):
        raise EditConflictError(
            f'{before.file}:{before.line}: the fact "{fact_id}" was changed meanwhile; '
            "look at what it says now"
        )


def _write(files: HouseFiles, draft: Draft, fact_id: str, before: Standing | None) -> FactWritten:
    drafted = DraftedFiles.of(files, draft)
    loaded = _loaded(drafted)
    if has_error(loaded.problems):
        raise EditRefusedError(listing(loaded.problems), loaded.problems)
    old_hash = _content_hash(_loaded(files), fact_id)
    replace_file(draft)
    return FactWritten(
        file=files.name(draft.path),
        before=None if before is None else before.lines,
        after=_lines_after(drafted, draft, fact_id, before),
        old_hash=old_hash,
        new_hash=_content_hash(loaded, fact_id),
        warnings=loaded.problems,
    )


def _lines_after(
    drafted: HouseFiles, draft: Draft, fact_id: str, before: Standing | None
) -> str | None:
    after = find_fact(drafted, fact_id)
    if after is None or draft.after is None:
        return None
    if before is None:
        return after.lines
    # Not as they are found now: a remark before a field that went would no longer be within them.
    start, end = before.span
    return draft.after[start : end + len(draft.after) - len(before.text)]


def _loaded(files: HouseFiles) -> LoadedHouse:
    reading, problems = read_house(files)
    return LoadedHouse(None if has_error(problems) else reading.house, in_order(problems))


def _content_hash(loaded: LoadedHouse, fact_id: str) -> str | None:
    facts = loaded.house.facts if loaded.house else ()
    return next((sha256(fact.text) for fact in facts if fact.id == fact_id), None)

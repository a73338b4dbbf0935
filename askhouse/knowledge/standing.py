"""Where in a house's files a fact stands, and the files as they would be after a change."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from askhouse.errors import KnowledgeError, UnknownHouseError
from askhouse.knowledge.edit_list import own_lines
from askhouse.knowledge.folders import HouseFiles, find_houses
from askhouse.knowledge.near import did_you_mean
from askhouse.knowledge.notes import split_note
from askhouse.knowledge.problems import Problem
from askhouse.knowledge.written import Place, Written, decode, read_yaml

__all__ = ["Draft", "DraftedFiles", "Standing", "file_text", "files_of", "find_fact", "sha256"]

BOM = "\ufeff"


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """A fact in its file.

    Attributes:
        path: The file.
        file: As the host knows it.
        text: The whole file with its own line breaks, a byte order mark included.
        at: Where in the file; () for a note.
        line: Its first line, from 1.
        fields: As they stand; the body of a note as `text`.
    """

    path: Path
    file: str
    text: str
    at: Place
    line: int
    fields: Mapping[str, object]

    @property
    def is_note(self) -> bool:
        """Whether it is a note, which is a file of its own."""
        return not self.at

    @property
    def lines(self) -> str:
        """Its own lines, without the last line break; of a note, the whole file."""
        start, end = self.span
        return self.text[start:end]

    @property
    def span(self) -> tuple[int, int]:
        """Where in the file its own lines begin and end."""
        if self.is_note:
            return 0, len(self.text)
        mark = len(BOM) if self.text.startswith(BOM) else 0
        start, end = own_lines(self.text[mark:], self.at)
        return start + mark, end + mark


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """A file as it would be; None for a text means that there is no file."""

    path: Path
    before: str | None
    after: str | None


@dataclass(frozen=True, slots=True)
class DraftedFiles(HouseFiles):
    """The files of a house, one of them as it would be."""

    draft: Draft | None = None

    @classmethod
    def of(cls, files: HouseFiles, draft: Draft) -> DraftedFiles:
        """The files with a draft in place of its file, or beside them."""

        def with_draft(paths: tuple[Path, ...], suffixes: tuple[str, ...]) -> tuple[Path, ...]:
            own = {draft.path} if draft.path.suffix in suffixes else set()
            if draft.path == files.main or draft.after is None:
                own = set()
            gone = {draft.path} if draft.after is None else set()
            return tuple(sorted((set(paths) | own) - gone))

        return cls(
            files.root,
            files.main,
            with_draft(files.facts, (".yaml", ".yml")),
            with_draft(files.notes, (".md",)),
            files.unread,
            draft,
        )

    def text(self, path: Path) -> str | Problem:
        """What is in a file, or would be."""
        if self.draft is not None and path == self.draft.path and self.draft.after is not None:
            return decode(self.name(path), self.draft.after.encode())
        return HouseFiles.text(self, path)


def sha256(text: str) -> str:
    """In hexadecimal, as citations have it of a fact's text."""
    return hashlib.sha256(text.encode()).hexdigest()


def files_of(folder: Path, slug: str) -> HouseFiles:
    """The files of the house of that slug.

    Raises:
        UnknownHouseError: There is none.
    """
    found = find_houses(folder)[0]
    slugs = []
    # The house is most often called like its folder or file, which spares opening the others.
    for files in sorted(found, key=lambda files: slug not in (files.main.stem, _above(files))):
        text = files.text(files.main)
        values = None if isinstance(text, Problem) else read_yaml(files.main_file, text)[0].values
        if isinstance(values, dict):
            if values.get("slug") == slug:
                return files
            slugs.append(str(values.get("slug")))
    raise UnknownHouseError(f'No house is called "{slug}". {did_you_mean(slug, slugs)}'.strip())


def _above(files: HouseFiles) -> str:
    return files.main.parent.name


def find_fact(files: HouseFiles, fact_id: str) -> Standing | None:
    """Where a fact or note of that id stands; the first, should it stand twice."""
    for path, at in [(files.main, ("facts",)), *((path, ()) for path in files.facts)]:
        text = files.text(path)
        if isinstance(text, Problem):
            continue
        written, _ = read_yaml(files.name(path), text)
        for place, fields in _listed(written, at):
            if fields.get("id") == fact_id:
                line = written.line(place)
                return _standing(files, path, place, line, fields)
    for path in files.notes:
        if path.stem == fact_id:
            return _note(files, path)
    return None


def _listed(written: Written, at: Place) -> Iterator[tuple[Place, Mapping[str, object]]]:
    values = written.values
    if at:
        values = values.get(at[0]) if isinstance(values, dict) else None
    for number, item in enumerate(values if isinstance(values, list) else ()):
        if isinstance(item, dict):
            yield (*at, number), item


def _note(files: HouseFiles, path: Path) -> Standing | None:
    text = files.text(path)
    split = text if isinstance(text, Problem) else split_note(files.name(path), text)
    if isinstance(split, Problem):
        return None
    front, body, _ = split
    values = read_yaml(files.name(path), front, first_line=2)[0].values
    fields = {**values, "text": body.strip()} if isinstance(values, dict) else {}
    return _standing(files, path, (), 1, fields)


def _standing(
    files: HouseFiles, path: Path, at: Place, line: int, fields: Mapping[str, object]
) -> Standing:
    return Standing(
        path=path, file=files.name(path), text=file_text(path), at=at, line=line, fields=fields
    )


def file_text(path: Path) -> str:
    """All that is in a file, its own line breaks and a byte order mark included.

    Raises:
        KnowledgeError: It cannot be read as text.
    """
    try:
        return path.read_bytes().decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise KnowledgeError(f"{path.name} cannot be read as UTF-8 text") from error

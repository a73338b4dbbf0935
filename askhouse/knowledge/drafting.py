"""A house's file as it would be with a fact changed, added, removed or put back."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from pathlib import Path

from askhouse.knowledge.edit_check import CannotEditError, stripped, value_at
from askhouse.knowledge.edit_fields import ORDER, set_fields
from askhouse.knowledge.edit_list import add_item, put_item, remove_item, with_lines
from askhouse.knowledge.folders import HouseFiles
from askhouse.knowledge.scalars import Value, cleaned, named
from askhouse.knowledge.spans import newline_of
from askhouse.knowledge.standing import BOM, Draft, Standing, file_text
from askhouse.knowledge.written import Place, read_yaml

__all__ = ["added", "added_note", "altered", "given_back", "has_folder", "removed"]

_FENCE = re.compile(r"^---[ \t]*(?:\r\n|\n|\r|\Z)", re.MULTILINE)


def altered(stands: Standing, fields: Mapping[str, Value | None]) -> Draft:
    """A fact or note with these fields set, or removed where None.

    Raises:
        CannotEditError: It is written in a way in which that cannot be done.
    """
    fields = _cautions(stands, fields)
    mark, text = _mark(stands.text)
    after = _note(text, fields) if stands.is_note else set_fields(text, stands.at, fields)
    return Draft(path=stands.path, before=stands.text, after=mark + after)


def added(files: HouseFiles, fact_id: str, fields: Mapping[str, Value | None]) -> Draft:
    """A new fact at the end of the file of its topic.

    Raises:
        CannotEditError: The file is written in a way in which that cannot be done.
    """
    given = {name: value for name, value in fields.items() if value is not None}
    topic = str(given.get("topic", "")).strip()
    path, at = _file_of(files, topic)
    if path.stem == topic and not at:
        given.pop("topic", None)
    item: dict[str, Value] = {"id": fact_id}
    item |= {name: given[name] for name in sorted(given, key=_place)}
    before = file_text(path) if path.exists() else None
    mark, text = _mark(before or "")
    return Draft(path=path, before=before, after=mark + add_item(text, at, item))


def added_note(files: HouseFiles, note_id: str, fields: Mapping[str, Value | None]) -> Draft:
    """A new how-to note: a Markdown file of its own among the house's notes.

    Raises:
        CannotEditError: A field cannot be written into front matter.
    """
    head = {
        name: cleaned(value)
        for name, value in fields.items()
        if value is not None and name != "text"
    }
    front = "".join(f"{named(name, head[name], 0)}\n" for name in sorted(head, key=_place))
    says = {n: v.isoformat() if isinstance(v, dt.date) else v for n, v in head.items()}
    if value_at(front, ()) != stripped(says):
        raise CannotEditError("its front matter would not say what was meant")
    text = f"---\n{front}---\n{cleaned(fields.get('text') or '')}\n"
    path = files.main.parent / "notes" / f"{note_id}.md"
    return Draft(path=path, before=None, after=text)


def has_folder(files: HouseFiles) -> bool:
    """Whether the house is a folder, and not a file alone."""
    return files.main.stem == "house"


def removed(files: HouseFiles, stands: Standing) -> Draft:
    """The file without a fact; no file where it held nothing else, remarks included.

    Raises:
        CannotEditError: It is written in a way in which that cannot be done.
    """
    after = None
    if not stands.is_note:
        mark, text = _mark(stands.text)
        left = remove_item(text, stands.at)
        if stands.path == files.main or left.strip() != "[]":
            after = mark + left
    return Draft(path=stands.path, before=stands.text, after=after)


def given_back(
    files: HouseFiles, stands: Standing | None, file: str, before: str, after: str | None
) -> Draft | None:
    """A fact's own lines as they were: in its place, or at the end of its file's list.

    None where the lines are not `after`, as the change to be undone left them.

    Raises:
        CannotEditError: The lines do not fit there any more.
    """
    if stands is not None and stands.is_note:
        if stands.text != after:
            return None
        return Draft(path=stands.path, before=stands.text, after=before)
    if stands is not None:
        mark, text = _mark(stands.text)
        changed = None if after is None else with_lines(text, stands.at, after, before)
        if changed is None:
            return None
        return Draft(path=stands.path, before=stands.text, after=mark + changed)
    if after is not None:
        return None
    path = _below(files, file)
    now = file_text(path) if path.exists() else None
    if path.suffix == ".md":
        return Draft(path=path, before=now, after=before)
    mark, text = _mark(now or "")
    at: Place = ("facts",) if path == files.main else ()
    return Draft(path=path, before=now, after=mark + put_item(text, at, before))


def _below(files: HouseFiles, file: str) -> Path:
    """The file of that name, which must be one that the loader reads as this house's."""
    path = files.root / file
    folders = {
        files.main.parent / "facts": (".yaml", ".yml"),
        files.main.parent / "notes": (".md",),
    }
    in_folder = has_folder(files) and path.suffix in folders.get(path.parent, ())
    if path != files.main and (not in_folder or path.name.startswith(".")):
        raise CannotEditError("its file is none of the house's")
    return path


def _file_of(files: HouseFiles, topic: str) -> tuple[Path, Place]:
    """Where a new fact of a topic belongs; the file may not be there yet."""
    if not has_folder(files):
        return files.main, ("facts",)
    for path in files.facts:
        if path.stem == topic:
            return path, ()
    for path in files.facts:
        if topic in _topics(path, ()):
            return path, ()
    if topic in _topics(files.main, ("facts",)):
        return files.main, ("facts",)
    name = re.sub(r"[^a-z0-9]+", "-", topic.lower()).strip("-") or "facts"
    known = {path.stem: path for path in files.facts}
    return known.get(name, files.main.parent / "facts" / f"{name}.yaml"), ()


def _place(name: str) -> int:
    """Where a field is usually written."""
    return ORDER.index(name) if name in ORDER else len(ORDER)


def _topics(path: Path, at: Place) -> set[str]:
    values = read_yaml("", _mark(file_text(path))[1])[0].values
    if at:
        values = values.get(at[0]) if isinstance(values, dict) else None
    listed = values if isinstance(values, list) else []
    return {str(item["topic"]) for item in listed if isinstance(item, dict) and "topic" in item}


def _cautions(stands: Standing, fields: Mapping[str, Value | None]) -> Mapping[str, Value | None]:
    """`cautions` as one list, where the file has a single `caution` as well or instead."""
    single = stands.fields.get("caution")
    if "cautions" not in fields or "caution" in fields or not isinstance(single, str):
        return fields
    given = fields["cautions"]
    wanted = list(given) if isinstance(given, list | tuple) else []
    if wanted and str(cleaned(wanted[-1])) == single.strip():
        # The single one is the last of those that guests read.
        return {**fields, "cautions": wanted[:-1] or None}
    if "cautions" not in stands.fields and len(wanted) == 1:
        rest = {name: value for name, value in fields.items() if name != "cautions"}
        return {**rest, "caution": wanted[0]}
    return {**fields, "caution": None}


def _note(text: str, fields: Mapping[str, Value | None]) -> str:
    fences = list(_FENCE.finditer(text))
    if len(fences) < 2 or fences[0].start() != 0:
        raise CannotEditError("the note has no front matter")
    start, end, body = fences[0].end(), fences[1].start(), fences[1].end()
    head = {name: value for name, value in fields.items() if name != "text"}
    front = set_fields(text[start:end], (), head) if head else text[start:end]
    return text[:start] + front + text[end:body] + _body(text[body:], fields)


def _body(body: str, fields: Mapping[str, Value | None]) -> str:
    if "text" not in fields:
        return body
    words = str(cleaned(fields["text"] or "")).replace("\n", newline_of(body))
    core = body.strip()
    if not core:
        return f"{body}{words}{newline_of(body)}"
    start = body.index(core)
    return body[:start] + words + body[start + len(core) :]


def _mark(text: str) -> tuple[str, str]:
    """A byte order mark, if the file has one, and what follows it."""
    return (BOM, text[1:]) if text.startswith(BOM) else ("", text)

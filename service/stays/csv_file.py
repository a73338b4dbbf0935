"""Stays from a CSV file (RFC 4180): all of them, or none and every problem at once.

One row a stay. Columns in any order; `house`, `arrival` and `departure` must be there:

    house,arrival,departure,guests,phones,door_code,reference,release_from,release_until

Dates are written 2026-11-25, times with their offset, 2026-11-25T08:00+01:00. Several guests or
numbers stand in one field with `;` or `|` between them. Importing the same file again changes
nothing. Comma, semicolon and tab can separate the columns: what spreadsheets write.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from sqlalchemy.orm import Session

from askhouse.knowledge.problems import Problem
from askhouse.values import House
from service.stays.drafts import Draft, Place, checked
from service.stays.errors import StayError
from service.stays.stays import Done, save_draft

__all__ = ["COLUMNS", "Imported", "import_csv"]

NEEDED = ("house", "arrival", "departure")
COLUMNS = (
    *NEEDED,
    *("guests", "phones", "door_code", "reference", "release_from", "release_until"),
)
MOST_ROWS = 10_000


@dataclass(frozen=True, slots=True)
class Imported:
    """How many stays were added, changed, and as they are already."""

    added: int
    changed: int
    same: int


def import_csv(
    session: Session, content: bytes, houses: Mapping[str, House], now: dt.datetime, file: str
) -> Imported:
    """Stores every stay of the file.

    Args:
        file: As the host knows it, for the problems.

    Raises:
        StayError: Something in the file cannot be used; names everything. The session must then
            be rolled back, as leaving `Database.writing` by an error does.
    """
    problems: list[Problem] = []
    drafts: list[tuple[Draft, Place]] = []
    for row, place in _rows(content, Place(file), problems):
        draft = _draft(row, place, problems)
        if draft is not None:
            draft, found = checked(draft, houses, place)
            problems += found
            drafts.append((draft, place))
    problems += _twice(drafts)
    if problems:
        raise StayError(problems)
    done = []
    for draft, place in drafts:
        try:
            done.append(save_draft(session, draft, now, place).done)
        except StayError as error:
            problems += error.problems
    if problems:
        raise StayError(problems)
    return Imported(done.count(Done.ADDED), done.count(Done.CHANGED), done.count(Done.SAME))


def _rows(
    content: bytes, top: Place, problems: list[Problem]
) -> Iterator[tuple[dict[str, str], Place]]:
    """Each row by column, with the line on which it begins."""
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        place = Place(top.file, line)
        problems.append(place.problem("", "is not UTF-8", "Save the file as CSV in UTF-8."))
        return
    head = text.partition("\n")[0]
    delimiter = max(",;\t", key=head.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    columns: list[str] | None = None
    begins, count = 1, 0
    try:
        for cells in reader:
            place, begins = Place(top.file, begins), reader.line_num + 1
            if not any(cell.strip() for cell in cells):
                continue
            if columns is None:
                columns = [cell.strip().lower() for cell in cells]
                found = list(_columns(columns, place))
                problems += found
                if found:
                    return
                continue
            count += 1
            if count > MOST_ROWS:
                problems.append(
                    place.problem("", f"is row {count}", f"Import at most {MOST_ROWS} at a time.")
                )
                return
            if len(cells) != len(columns):
                problems.append(
                    place.problem(
                        "",
                        f"has {len(cells)} fields, and the first line names {len(columns)}",
                        "Put quotation marks around a field that holds a comma.",
                    )
                )
                continue
            yield dict(zip(columns, map(str.strip, cells), strict=True)), place
    except csv.Error:
        place = Place(top.file, max(reader.line_num, 1))
        problems.append(
            place.problem("", "cannot be read", "Close every quotation mark, doubled within.")
        )
        return
    if columns is None:
        problems.append(top.problem("", "is empty", f"Begin with the line {','.join(COLUMNS)}"))


def _columns(columns: list[str], place: Place) -> Iterator[Problem]:
    for index, name in enumerate(columns):
        if name not in COLUMNS:
            yield place.problem(
                f"column {index + 1}", "has no name that is known", f"Use {', '.join(COLUMNS)}."
            )
        elif name in columns[:index]:
            yield place.problem(name, "is named twice", "Keep one of the columns.")
    for name in NEEDED:
        if name not in columns:
            yield place.problem(name, "is missing", "Add the column.")


def _draft(row: Mapping[str, str], place: Place, problems: list[Problem]) -> Draft | None:
    """The row as a draft; None where a date cannot be read."""
    arrival = _day(row, "arrival", place, problems)
    departure = _day(row, "departure", place, problems)
    release_from = _time(row, "release_from", place, problems)
    release_until = _time(row, "release_until", place, problems)
    if arrival is None or departure is None:
        return None
    return Draft(
        house=row["house"],
        arrival=arrival,
        departure=departure,
        guests=_several(row.get("guests", "")),
        phones=_several(row.get("phones", "")),
        door_code=row.get("door_code") or None,
        reference=row.get("reference") or None,
        release_from=release_from,
        release_until=release_until,
    )


def _several(cell: str) -> tuple[str, ...]:
    return tuple(piece.strip() for piece in re.split(r"[;|\n]", cell) if piece.strip())


def _day(
    row: Mapping[str, str], column: str, place: Place, problems: list[Problem]
) -> dt.date | None:
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}", row[column], re.ASCII):
        try:
            return dt.date.fromisoformat(row[column])
        except ValueError:
            pass  # such as 30 February
    what = "is no date" if row[column] else "is empty"
    problems.append(place.problem(column, what, "Write it as 2026-11-25."))
    return None


def _time(
    row: Mapping[str, str], column: str, place: Place, problems: list[Problem]
) -> dt.datetime | None:
    text = row.get(column, "")
    if not text:
        return None
    try:
        return dt.datetime.fromisoformat(text)
    except ValueError:
        problems.append(place.problem(column, "is no time", "Write it as 2026-11-25T08:00+01:00."))
        return None


def _twice(drafts: list[tuple[Draft, Place]]) -> Iterator[Problem]:
    first: dict[tuple[str, str], Place] = {}
    for draft, place in drafts:
        before = first.setdefault((draft.house, draft.uid), place)
        if before is not place:
            yield place.problem(
                "reference" if draft.reference else "arrival",
                f"names the same stay as line {before.line}",
                "Give each of two bookings for the same days a reference of its own.",
            )

"""The gap report as a table in a terminal, as Markdown, CSV and JSON."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Sequence

from rich.markup import escape
from rich.table import Table

from service.gaps.report import Row, Urgency

__all__ = ["URGENCY_WORDS", "as_csv", "as_json", "as_markdown", "as_table"]

URGENCY_WORDS = {
    Urgency.HERE: "a guest here now asks",
    Urgency.COMING: "a coming guest asks",
    Urgency.LATER: "for the next who asks",
}
COLUMNS = ("gap", "guests", "questions", "houses", "first", "last", "urgency", "asked", "near")


def as_table(rows: Sequence[Row]) -> Table:
    """For a terminal."""
    table = Table(title="Gaps: what guests ask and nobody has written")
    for column in ("gap", "guests", "houses", "last", "urgency", "asked", "near"):
        table.add_column(column, justify="right" if column == "guests" else "left")
    for row in rows:
        cells = _cells(row)
        table.add_row(*(escape(cells[str(c.header)]) for c in table.columns))
    return table


def as_markdown(rows: Sequence[Row]) -> str:
    """A table of GitHub Flavored Markdown, whose characters in a guest's words do nothing."""
    lines = [COLUMNS, ("---",) * len(COLUMNS)]
    lines += [tuple(_inert(_cells(row)[column]) for column in COLUMNS) for row in rows]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def as_csv(rows: Sequence[Row]) -> str:
    """RFC 4180, with a heading; times are ISO 8601 in UTC."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in rows:
        cells = {**_cells(row), "first": _iso(row)[0], "last": _iso(row)[1]}
        writer.writerow([_no_formula(cells[column]) for column in COLUMNS])
    return out.getvalue()


def as_json(rows: Sequence[Row]) -> str:
    """A list of objects (RFC 8259); times are ISO 8601 in UTC."""
    return json.dumps([_object(row) for row in rows], ensure_ascii=False, indent=2) + "\n"


def _object(row: Row) -> dict[str, object]:
    first, last = _iso(row)
    return {
        "gap": row.name,
        "topic": row.topic,
        "ids": dict(row.gaps),
        "houses": list(row.houses),
        "guests": row.guests,
        "questions": row.questions,
        "first": first,
        "last": last,
        "urgency": str(row.urgency),
        "asked": list(row.samples),
        "near": [
            {"house": n.house, "fact": n.id, "title": n.title, "why": n.why} for n in row.near
        ],
    }


def _cells(row: Row) -> dict[str, str]:
    return {
        "gap": row.name,
        "guests": str(row.guests),
        "questions": str(row.questions),
        "houses": ", ".join(row.houses),
        "first": f"{row.first_at:%Y-%m-%d}",
        "last": f"{row.last_at:%Y-%m-%d}",
        "urgency": URGENCY_WORDS[row.urgency],
        "asked": " / ".join(" ".join(sample.split()) for sample in row.samples),
        "near": "; ".join(f"{near.title} ({near.why})" for near in row.near),
    }


def _iso(row: Row) -> tuple[str, str]:
    return row.first_at.isoformat(), row.last_at.isoformat()


def _inert(text: str) -> str:
    return re.sub(r"([\\`*_{}\[\]<>#|~!-])", r"\\\1", text)


def _no_formula(cell: str) -> str:
    """A spreadsheet runs what begins like a formula (OWASP, "CSV Injection")."""
    return f"'{cell}" if cell.startswith(("=", "+", "-", "@", "\t", "\r")) else cell

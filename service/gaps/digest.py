"""The week's gaps as an e-mail: what was asked and is not written, most urgent first."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from askhouse.values import House
from service.gaps.report import Row
from service.gaps.shown import URGENCY_WORDS

__all__ = ["Digest", "digest"]

_MOST = 12


@dataclass(frozen=True, slots=True)
class Digest:
    """An e-mail: its subject and its words, of which the sender makes HTML as well."""

    subject: str
    text: str


def digest(
    rows: Sequence[Row], houses: Mapping[str, House], week: dt.date, link: str
) -> Digest | None:
    """The e-mail for a week, or None where nothing is open.

    Args:
        rows: The report since the week began.
        houses: For their names.
        week: The first day of the week.
        link: Where the gaps can be answered.
    """
    if not rows:
        return None
    count = f"{len(rows)} gap" if len(rows) == 1 else f"{len(rows)} gaps"
    subject = f"{count} guests asked about in the week of {week:%d %B %Y}"
    shown, more = rows[:_MOST], len(rows) - _MOST
    rest = f"And {more} more." if more > 0 else ""
    intro = "Guests asked this, and nobody has written it yet."
    lines = [intro, ""]
    for row in shown:
        lines += [row.name, f"  {_facts(row, houses)}", *(f"  “{_flat(s)}”" for s in row.samples)]
        lines.append("")
    text = "\n".join([*lines, *([rest, ""] if rest else []), f"Answer them: {link}", ""])
    return Digest(subject, text)


def _facts(row: Row, houses: Mapping[str, House]) -> str:
    who = "1 guest" if row.guests == 1 else f"{row.guests} guests"
    names = ", ".join(houses[slug].name if slug in houses else slug for slug in row.houses)
    return f"{who}, {names}; {URGENCY_WORDS[row.urgency]}"


def _flat(text: str) -> str:
    return " ".join(text.split())

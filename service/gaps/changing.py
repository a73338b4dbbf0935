"""What the host makes of a gap: left out, put together, taken apart, answered by a new fact.

A gap whose questions change loses its middle; it is made again when the next question comes.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection
from pathlib import Path

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from askhouse.knowledge.write import FactChange, FactWritten, write_fact
from service.errors import GapError
from service.gaps.assigning import DISMISSED, OPEN, WRITTEN, short_name
from service.tables import Change, Gap, Inbound, PartRow

__all__ = ["GapError", "dismiss", "merge", "reopen", "split", "write_answer"]


def dismiss(gap: Gap) -> None:
    """Leaves a gap out of the report; questions that come to it later stay out too."""
    gap.state = DISMISSED


def reopen(gap: Gap) -> None:
    """Takes a gap back into the report."""
    gap.state = OPEN


def merge(session: Session, gap: Gap, into: Gap) -> Gap:
    """All questions of a gap go to another one of its house.

    Raises:
        GapError: They are the same, or of two houses.
    """
    if gap.id == into.id or gap.house != into.house:
        raise GapError("only two gaps of one house can be put together: choose another one")
    session.execute(update(PartRow).where(PartRow.gap_id == gap.id).values(gap_id=into.id))
    into.first_at = min(gap.first_at, into.first_at)
    into.last_at = max(gap.last_at, into.last_at)
    into.centre = None
    session.delete(gap)
    session.flush()
    return into


def split(session: Session, gap: Gap, part_ids: Collection[int]) -> Gap:
    """Some questions of a gap become one of their own; the new gap.

    Raises:
        GapError: None of them is in the gap, or all are.
    """
    moved = list(
        session.scalars(
            select(PartRow)
            .where(PartRow.gap_id == gap.id, PartRow.id.in_(part_ids))
            .order_by(PartRow.id)
        )
    )
    total = session.scalar(select(func.count()).where(PartRow.gap_id == gap.id)) or 0
    if not moved or len(moved) == total:
        raise GapError("choose some of the gap's questions, but not all")
    new = Gap(
        house=gap.house,
        name=short_name(moved[0].text),
        state=OPEN,
        first_at=gap.first_at,
        last_at=gap.last_at,
    )
    session.add(new)
    session.flush()
    for part in moved:
        part.gap_id = new.id
    session.flush()
    for each in (gap, new):
        each.centre = None
        each.first_at, each.last_at = _times(session, each)
    return new


def write_answer(
    session: Session,
    folder: Path,
    gap: Gap,
    fact_id: str,
    change: FactChange,
    *,
    person: str,
    now: dt.datetime,
    expected_hash: str | None = None,
) -> FactWritten:
    """Writes the fact that answers a gap, keeps the change, and closes the gap.

    The file is written before the transaction ends, so that a failing one leaves a fact without
    its history, never a history without its fact. The house must be opened anew afterwards.

    Args:
        folder: The houses.
        change: A new fact, or one that came near and is to say more.
        person: Who writes, as in the trail.
        expected_hash: As in `write_fact`.

    Raises:
        EditConflictError: Someone else changed the fact meanwhile.
        EditRefusedError: The house could not be used any more.
    """
    written = write_fact(folder, gap.house, fact_id, change, expected_hash)
    session.add(
        Change(
            house=gap.house,
            file=written.file,
            fact=fact_id,
            before=written.before,
            after=written.after,
            old_hash=written.old_hash,
            new_hash=written.new_hash,
            person=person,
            at=now,
        )
    )
    gap.state, gap.fact = WRITTEN, fact_id
    return written


def _times(session: Session, gap: Gap) -> tuple[dt.datetime, dt.datetime]:
    times = list(
        session.scalars(
            select(Inbound.received_at)
            .join(PartRow, PartRow.message_id == Inbound.id)
            .where(PartRow.gap_id == gap.id)
        )
    )
    return min(times), max(times)

"""What pages read from the database about facts, gaps and what guests were told."""

from __future__ import annotations

from collections.abc import Collection

from sqlalchemy import func, select
from sqlalchemy.orm import Session, contains_eager, selectinload

from service.console.queries import Only, narrowed
from service.tables import Change, CitationRow, Delivery, Gap, Inbound, PartRow, Thread

__all__ = [
    "answer_sent",
    "asked_in",
    "changes_of",
    "corrected",
    "facts_of_gaps",
    "open_gaps_by_house",
    "other_gaps",
    "said_about",
    "times_told",
]


def open_gaps_by_house(session: Session, only: Only) -> dict[str, int]:
    """How many gaps of each house wait for an answer."""
    found = session.execute(
        select(Gap.house, func.count())
        .where(Gap.state == "open", narrowed(Gap.house, only))
        .group_by(Gap.house)
    )
    return {row[0]: row[1] for row in found}


def times_told(session: Session, house: str) -> dict[str, int]:
    """How often each fact of a house was told."""
    found = session.execute(
        select(CitationRow.fact, func.count())
        .where(CitationRow.house == house)
        .group_by(CitationRow.fact)
    )
    return {row[0]: row[1] for row in found}


def changes_of(session: Session, house: str, fact: str | None, most: int) -> list[Change]:
    """Changes of a house's files, or of one fact, the newest first."""
    wanted = [Change.house == house, *([Change.fact == fact] if fact else [])]
    return list(
        session.scalars(select(Change).where(*wanted).order_by(Change.id.desc()).limit(most))
    )


def facts_of_gaps(session: Session, gaps: Collection[int]) -> dict[int, str]:
    """The fact that closed each gap; nothing for the others."""
    found = session.execute(select(Gap.id, Gap.fact).where(Gap.id.in_(gaps)))
    return {gap: fact for gap, fact in found if fact}


def asked_in(session: Session, gaps: Collection[int]) -> dict[int, list[PartRow]]:
    """The questions of each gap with their messages, the newest first."""
    found = session.scalars(
        select(PartRow)
        .join(PartRow.message)
        .options(contains_eager(PartRow.message))
        .where(PartRow.gap_id.in_(gaps))
        .order_by(Inbound.received_at.desc(), PartRow.place)
    )
    asked: dict[int, list[PartRow]] = {}
    for part in found:
        asked.setdefault(part.gap_id or 0, []).append(part)
    return asked


def other_gaps(session: Session, gap: Gap) -> list[Gap]:
    """Open gaps of the same house."""
    return list(
        session.scalars(
            select(Gap)
            .where(Gap.house == gap.house, Gap.state == "open", Gap.id != gap.id)
            .order_by(Gap.name)
        )
    )


def said_about(session: Session, parts: Collection[int]) -> dict[int, str]:
    """What was said about parts, by their ids."""
    found = session.execute(select(PartRow.id, PartRow.said).where(PartRow.id.in_(parts)))
    return {row.id: row.said for row in found}


def corrected(session: Session) -> set[str]:
    """The keys of corrections that were sent."""
    found = session.scalars(
        select(Delivery.key).where(Delivery.key.startswith("console:correction:"))
    )
    return {key.removeprefix("console:") for key in found}


def answer_sent(session: Session, delivery: int, house: str) -> tuple[str, list[str]]:
    """An answer of a host to a guest of that house, without any code, and what was asked before.

    The question is what the guest wrote last before it, part by part; both are empty where there
    is no such answer.
    """
    sent = session.scalar(
        select(Delivery)
        .join(Thread, Delivery.thread_id == Thread.id)
        .where(Delivery.id == delivery, Delivery.author != "askhouse", Thread.house == house)
    )
    if sent is None:
        return "", []
    asked = session.scalars(
        select(Inbound)
        .where(Inbound.thread_id == sent.thread_id, Inbound.received_at <= sent.created_at)
        .options(selectinload(Inbound.parts))
        .order_by(Inbound.received_at.desc())
        .limit(1)
    ).first()
    parts = [part for part in asked.parts if part.outcome in ("gap", "escalate")] if asked else []
    return sent.blotted or sent.text, [part.text for part in parts]

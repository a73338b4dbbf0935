"""Guests who ask: stays, threads and unanswered parts, put into a database by hand."""

from __future__ import annotations

import datetime as dt
import itertools
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.gaps import Meaning
from askhouse.topics import Topic
from service.tables import CitationRow, Gap, Inbound, MessageState, PartRow, Stay, Thread
from tests.standins import WordEncoder

__all__ = ["NOON", "asked", "gaps_of", "make_meaning", "make_stay"]

NOON = dt.datetime(2027, 6, 1, 12, tzinfo=dt.UTC)
_numbers = itertools.count(1)

_TOPICS = [
    {"id": "sauna", "title": "Sauna", "asks": ["sauna"] * 6, "words": ["sauna", "steam room"]},
    {"id": "iron", "title": "Iron", "asks": ["iron"] * 6, "words": ["iron", "creased"]},
    # Nothing is near to these, so that a question about neither has no topic.
    *(
        {"id": f"boat-{n}", "title": f"Boat {n}", "asks": [ask] * 6, "words": ["yacht", "ship"]}
        for n, ask in enumerate(["oars", "boat", "kindling", "logs"])
    ),
]


def make_meaning(encoder: WordEncoder | None = None) -> Meaning:
    """Meaning by known words; two topics that the questions here are about."""
    return Meaning(encoder or WordEncoder(), [Topic.model_validate(t) for t in _TOPICS])


def make_stay(session: Session, house: str, first: int, last: int, **more: Any) -> Stay:
    """A stay from so many days after NOON to so many."""
    stay = Stay(
        house=house,
        guests=["Ada"],
        arrival=NOON.date() + dt.timedelta(days=first),
        departure=NOON.date() + dt.timedelta(days=last),
        uid=f"stay {next(_numbers)}",
        last_seen_at=NOON,
        created_at=NOON,
        **more,
    )
    session.add(stay)
    session.flush()
    return stay


def asked(
    session: Session,
    text: str,
    *,
    house: str = "ferry-lodge",
    sender: str = "+447700900001",
    stay: Stay | None = None,
    at: dt.datetime = NOON,
    outcome: str = "gap",
    line: str = "texts",
    told: tuple[str, str, str] | None = None,
    language: str = "en",
) -> PartRow:
    """One part of one message; `told` is a citation: fact, title, content hash."""
    thread = session.scalar(select(Thread).where(Thread.line == line, Thread.sender == sender))
    if thread is None:
        thread = Thread(
            line=line,
            sender=sender,
            house=house,
            stay_id=stay.id if stay else None,
            language=language,
            created_at=at,
            last_at=at,
        )
        session.add(thread)
        session.flush()
    message = Inbound(
        thread_id=thread.id,
        line=line,
        gateway_id=f"m{next(_numbers)}",
        text=text,
        received_at=at,
        state=MessageState.ANSWERED,
        house=house,
        stay_id=stay.id if stay else None,
    )
    part = PartRow(
        house=house, place=0, text=text, outcome=outcome, confidence=0.9, reason="", said=""
    )
    if told is not None:
        fact, title, content_hash = told
        part.citations = [
            CitationRow(fact=fact, house=house, title=title, content_hash=content_hash)
        ]
    message.parts = [part]
    session.add(message)
    session.flush()
    return part


def gaps_of(session: Session, house: str = "ferry-lodge") -> list[Gap]:
    """The gaps of a house, in the order in which they began."""
    return list(session.scalars(select(Gap).where(Gap.house == house).order_by(Gap.id)))

"""New gaps find their group: the unanswered parts of messages, by meaning, house by house.

A question that is near to a gap joins it, whatever its state: one that joins a written gap
opens it again, since its fact did not answer; one that joins a dismissed gap changes nothing.
"""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import select, text
from sqlalchemy.orm import Session

from askhouse.encoder import Vectors
from askhouse.gaps import Centre, Meaning, grouped, most_central, nearest
from askhouse.values import Outcome
from service.database import Database
from service.gaps.centres import mark_of, packed, unpacked
from service.tables import Gap, Inbound, PartRow

__all__ = ["DISMISSED", "OPEN", "WRITTEN", "assign", "short_name"]

OPEN, WRITTEN, DISMISSED = "open", "written", "dismissed"

_AT_ONCE = 200
_READ_AGAIN = 50  # newest questions of which a lost middle is made, and by which a gap is named
_NAME = 80  # characters
# Any number that nothing else on the same PostgreSQL database locks: "gaps" in ASCII.
_LOCK = int.from_bytes(b"gaps")


@dataclass(frozen=True, slots=True)
class _Waiting:
    part_id: int
    house: str
    text: str
    at: dt.datetime


def assign(database: Database, meaning: Meaning, most: int = _AT_ONCE) -> int:
    """Puts unanswered parts that are in no gap yet into one; how many.

    Args:
        database: Where they are.
        meaning: What makes vectors of them, outside of any transaction.
        most: How many are read at once; call again until none is left.
    """
    with database.reading() as session:
        waiting = _waiting(session, most)
    by_house: dict[str, list[_Waiting]] = defaultdict(list)
    for part in waiting:
        by_house[part.house].append(part)
    vectors = {house: meaning.of([p.text for p in parts]) for house, parts in by_house.items()}
    assigned = 0
    for house, parts in by_house.items():
        with database.writing() as session:
            assigned += _assign(session, meaning, house, parts, vectors[house])
    return assigned


def _waiting(session: Session, most: int) -> list[_Waiting]:
    rows = session.execute(
        select(PartRow.id, PartRow.house, PartRow.text, Inbound.received_at)
        .join(Inbound, PartRow.message_id == Inbound.id)
        .where(PartRow.outcome == Outcome.GAP, PartRow.gap_id.is_(None), PartRow.text != "")
        .order_by(PartRow.id)
        .limit(most)
    )
    return [_Waiting(*row) for row in rows]


def _assign(
    session: Session,
    meaning: Meaning,
    house: str,
    parts: Sequence[_Waiting],
    vectors: Vectors,
) -> int:
    if session.get_bind().dialect.name == "postgresql":
        # Two processes would each begin a gap for the same question.
        session.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
    free = session.scalars(
        select(PartRow)
        .where(PartRow.id.in_([part.part_id for part in parts]), PartRow.gap_id.is_(None))
        .with_for_update()
    )
    rows = {row.id: row for row in free}
    places = [place for place, part in enumerate(parts) if part.part_id in rows]
    if not places:
        return 0
    gaps = list(session.scalars(select(Gap).where(Gap.house == house).order_by(Gap.id)))
    centres = _centres(session, meaning, gaps)
    groups: dict[int, list[int]] = defaultdict(list)
    for place, group in zip(places, grouped(vectors[places]), strict=True):
        groups[group].append(place)
    for members in groups.values():
        centre = Centre(vectors[members].mean(axis=0), len(members))
        times = [parts[place].at for place in members]
        gap = _gap_for(session, house, centre, gaps, centres, times)
        for place in members:
            rows[parts[place].part_id].gap_id = gap.id
        gap.centre = packed(centres[gap.id], mark_of(meaning))
        _name(session, gap, centres[gap.id], meaning)
    return len(places)


def _gap_for(
    session: Session,
    house: str,
    centre: Centre,
    gaps: list[Gap],
    centres: dict[int, Centre],
    times: Sequence[dt.datetime],
) -> Gap:
    known = [gap for gap in gaps if gap.id in centres]
    place = nearest(centre.mean, [centres[gap.id] for gap in known])
    if place is None:
        gap = Gap(house=house, name="", state=OPEN, first_at=min(times), last_at=max(times))
        session.add(gap)
        session.flush()
        gaps.append(gap)
        centres[gap.id] = centre
        return gap
    gap = known[place]
    centres[gap.id] = centres[gap.id].with_more(centre)
    gap.first_at, gap.last_at = min(gap.first_at, *times), max(gap.last_at, *times)
    if gap.state == WRITTEN:
        gap.state = OPEN
    return gap


def _centres(session: Session, meaning: Meaning, gaps: Sequence[Gap]) -> dict[int, Centre]:
    found = {gap.id: unpacked(gap.centre, meaning) for gap in gaps}
    lost = [gap_id for gap_id, centre in found.items() if centre is None]
    again = _made_again(session, meaning, lost)
    return {gap_id: centre for gap_id, centre in {**found, **again}.items() if centre is not None}


def _made_again(session: Session, meaning: Meaning, lost: Sequence[int]) -> Mapping[int, Centre]:
    made = {}
    for gap_id in lost:
        asked = _asked(session, gap_id)
        if asked:
            made[gap_id] = Centre(meaning.of(asked).mean(axis=0), len(asked))
    return made


def _asked(session: Session, gap_id: int) -> list[str]:
    """The newest questions of a gap in the guests' words."""
    return list(
        session.scalars(
            select(PartRow.text)
            .where(PartRow.gap_id == gap_id, PartRow.text != "")
            .order_by(PartRow.id.desc())
            .limit(_READ_AGAIN)
        )
    )


def _name(session: Session, gap: Gap, centre: Centre, meaning: Meaning) -> None:
    """By its topic where one is known, else by the question nearest to all others."""
    gap.topic = meaning.topic(centre.mean)
    if gap.topic is not None:
        gap.name = meaning.title(gap.topic)
        return
    session.flush()
    # Of two that are as central, the shorter one.
    asked = sorted(_asked(session, gap.id), key=len)
    vectors = meaning.of(asked)
    gap.name = short_name(asked[most_central(vectors)])


def short_name(question: str) -> str:
    """A question as the name of a gap: on one line, cut behind a word."""
    line = " ".join(question.split())
    return line if len(line) <= _NAME else line[: _NAME - 2].rsplit(" ", 1)[0] + " …"

"""The gap report: each meaning once, over all houses, how often and how urgently asked."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import lru_cache
from typing import Protocol
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import ColumnElement, case, func, select
from sqlalchemy.orm import Session

from askhouse.encoder import Vectors
from askhouse.gaps import TOGETHER
from askhouse.values import Hit, House, Message, Outcome, Reply
from service.gaps.assigning import OPEN
from service.gaps.centres import read
from service.tables import Gap, Inbound, PartRow, Stay

__all__ = ["Asks", "NearFact", "Row", "Urgency", "report", "with_near_facts", "with_samples"]

_SAMPLES = 3
_NEAR = 2  # facts a sample brings, and samples that are asked again, for each house
_PAGES = "pages"  # the line of pasted messages


class Urgency(StrEnum):
    """How soon an answer helps someone, soonest first."""

    HERE = "here"  # a guest who is in the house now asked
    COMING = "coming"  # a guest of a coming stay asked
    LATER = "later"  # it helps the next who asks


_SOONEST = {urgency: place for place, urgency in enumerate(Urgency)}


class Asks(Protocol):
    """Who answers messages: the assistant."""

    @property
    def houses(self) -> Mapping[str, House]:
        """The houses that can be asked about, by slug."""

    def reply(self, message: Message, house: str) -> Reply:
        """The draft reply to a message."""

    def hits(self, message: Message, house: str, most: int = ...) -> tuple[Hit, ...]:
        """The facts nearest to a message, best first."""


@dataclass(frozen=True, slots=True)
class NearFact:
    """A fact that came near, and why it did not do."""

    house: str
    id: str
    title: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """What guests of one or more houses ask and nobody has written.

    Attributes:
        name: The topic's title, or the most central question.
        gaps: The gap of each house, by slug.
        questions: How often it was asked.
        guests: By how many stays, or senders where no stay is known, of each house.
        samples: In the guests' words, the newest first; empty until `with_samples`.
        near: Facts that came near; empty until `with_near_facts`.
    """

    name: str
    topic: str | None
    gaps: Mapping[str, int]
    questions: int
    guests: int
    first_at: dt.datetime
    last_at: dt.datetime
    urgency: Urgency
    samples: tuple[str, ...] = ()
    near: tuple[NearFact, ...] = ()

    @property
    def houses(self) -> tuple[str, ...]:
        """The houses at which it is asked."""
        return tuple(sorted(self.gaps))


@dataclass(frozen=True, slots=True)
class _Gap:
    """What is read of a gap; in place of a row as an object, since there may be hundreds."""

    id: int
    house: str
    topic: str | None
    centre: bytes | None
    name: str
    first_at: dt.datetime
    last_at: dt.datetime


@dataclass(slots=True)
class _Asked:
    """How often a gap was asked, by how many, and how urgently."""

    questions: int = 0
    guests: int = 0
    urgency: Urgency = Urgency.LATER


def report(
    session: Session,
    houses: Mapping[str, House],
    now: dt.datetime,
    *,
    state: str = OPEN,
    only: Collection[str] | None = None,
    since: dt.datetime | None = None,
    before: dt.datetime | None = None,
) -> list[Row]:
    """The report's rows, the most urgent first, then those that most guests ask.

    Args:
        houses: By slug, for their time zones.
        state: Of the gaps: open, written or dismissed.
        only: Houses to which it is narrowed; None for all.
        since: Leaves out what was not asked since then; what is left is counted in full.
        before: With `since`, leaves out also what was asked only from then on.
    """
    wanted = [Gap.state == state]
    if only is not None:
        wanted.append(Gap.house.in_(sorted(only)))
    if since is not None:
        asked = select(PartRow.gap_id).join(Inbound, PartRow.message_id == Inbound.id)
        asked = asked.where(PartRow.gap_id.is_not(None), Inbound.received_at >= since)
        if before is not None:
            asked = asked.where(Inbound.received_at < before)
        wanted.append(Gap.id.in_(asked))
    columns = (Gap.id, Gap.house, Gap.topic, Gap.centre, Gap.name, Gap.first_at, Gap.last_at)
    gaps = [_Gap(*row) for row in session.execute(select(*columns).where(*wanted).order_by(Gap.id))]
    counted = _counted(session, wanted, houses, now)
    rows = [
        _row([gaps[place] for place in family], counted)
        for family in _families(tuple((gap.house, gap.topic, gap.centre) for gap in gaps))
    ]
    return sorted(rows, key=lambda r: (_SOONEST[r.urgency], -r.guests, -r.last_at.timestamp()))


@lru_cache(maxsize=8)
def _families(
    gaps: tuple[tuple[str, str | None, bytes | None], ...],
) -> tuple[tuple[int, ...], ...]:
    """Gaps of different houses with one meaning together, by place; two of one house stay apart.

    Kept for the next who looks: it is the same until a question comes.

    Args:
        gaps: House, topic and middle of each.
    """
    found: list[list[int]] = []
    near, counts = _nearness(gaps)
    slugs = sorted({house for house, _, _ in gaps})
    # By place in `found`: how near it is to each gap, of how many questions, at which houses.
    reach, total = np.zeros_like(near), np.zeros(len(gaps))
    has = np.zeros((len(gaps), len(slugs)), dtype=bool)
    for place, (slug, _, _) in enumerate(gaps):
        house = slugs.index(slug)
        free = np.where(has[: len(found), house], -1.0, reach[: len(found), place])
        if free.size and free.max() >= TOGETHER:
            into = int(free.argmax())
            found[into].append(place)
        else:
            into = len(found)
            found.append([place])
        more = total[into] + counts[place]
        reach[into] = (reach[into] * total[into] + near[place] * counts[place]) / more
        total[into], has[into, house] = more, True
    return tuple(map(tuple, found))


def _nearness(
    gaps: Sequence[tuple[str, str | None, bytes | None]],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How near each gap is to each, `(gaps, gaps)`, and how many questions each is made of.

    One that was put together or taken apart a moment ago has no middle; its topic says enough
    until it is made again.
    """
    numbers = {topic: number for number, topic in enumerate({topic for _, topic, _ in gaps})}
    topics = np.array([numbers[topic] for _, topic, _ in gaps], dtype=int)
    known = np.array([topic is not None for _, topic, _ in gaps], dtype=bool)
    near = ((topics[:, None] == topics) & known).astype(float)
    counts = np.ones(len(gaps))
    alike: dict[object, list[tuple[int, Vectors]]] = defaultdict(list)
    for place, (_, _, content) in enumerate(gaps):
        if (found := read(content)) is not None:
            mark, centre = found
            counts[place] = centre.count
            alike[mark, len(centre.mean)].append((place, centre.mean))
    for middles in alike.values():
        places, means = [place for place, _ in middles], np.stack([mean for _, mean in middles])
        near[np.ix_(places, places)] = means @ means.T
    return near, counts


def _counted(
    session: Session,
    wanted: Sequence[ColumnElement[bool]],
    houses: Mapping[str, House],
    now: dt.datetime,
) -> dict[int, _Asked]:
    """Of each gap, by its id."""
    staying = (Inbound.stay_id == Stay.id) & Stay.cancelled_at.is_(None)
    # A stay is one guest; of who has none, a thread, but pasted messages are of anyone.
    guest = case(
        (Stay.id.is_not(None), Stay.id * 3),
        (Inbound.line == _PAGES, Inbound.id * 3 + 1),
        else_=Inbound.thread_id * 3 + 2,
    )
    counts = session.execute(
        select(Gap.id, func.count(), func.count(guest.distinct()))
        .join(PartRow, PartRow.gap_id == Gap.id)
        .join(Inbound, PartRow.message_id == Inbound.id)
        .outerjoin(Stay, staying)
        .where(*wanted)
        .group_by(Gap.id)
    )
    found = defaultdict(_Asked, {gap: _Asked(n, guests) for gap, n, guests in counts})
    stays = session.execute(
        select(Gap.id, Stay.house, Stay.arrival, Stay.departure)
        .join(PartRow, PartRow.gap_id == Gap.id)
        .join(Inbound, PartRow.message_id == Inbound.id)
        .join(Stay, staying)
        # A day's room, since whether they have left is a matter of the house's own clocks.
        .where(*wanted, Stay.departure >= now.date() - dt.timedelta(days=1))
        .distinct()
    )
    for gap, slug, arrival, departure in stays:
        house = houses.get(slug)
        today = now.astimezone(ZoneInfo(house.timezone) if house else dt.UTC).date()
        urgency = _urgency(arrival, departure, today)
        found[gap].urgency = min(found[gap].urgency, urgency, key=_SOONEST.__getitem__)
    return found


def _urgency(arrival: dt.date, departure: dt.date, today: dt.date) -> Urgency:
    if arrival > today:
        return Urgency.COMING
    return Urgency.HERE if today <= departure else Urgency.LATER


def _row(gaps: Sequence[_Gap], counted: Mapping[int, _Asked]) -> Row:
    asked = [counted[gap.id] for gap in gaps]
    return Row(
        name=gaps[0].name,
        topic=gaps[0].topic,
        gaps={gap.house: gap.id for gap in gaps},
        questions=sum(each.questions for each in asked),
        guests=sum(each.guests for each in asked),
        first_at=min(gap.first_at for gap in gaps),
        last_at=max(gap.last_at for gap in gaps),
        urgency=min((each.urgency for each in asked), key=_SOONEST.__getitem__),
    )


def with_samples(session: Session, rows: Sequence[Row]) -> list[Row]:
    """The rows with what was asked, in the guests' words."""
    of = {gap: place for place, row in enumerate(rows) for gap in row.gaps.values()}
    found = session.execute(
        select(PartRow.gap_id, PartRow.text)
        .join(Inbound, PartRow.message_id == Inbound.id)
        .where(PartRow.gap_id.in_(of), PartRow.text != "")
        .order_by(Inbound.received_at.desc(), PartRow.text.desc())
    )
    asked: list[dict[str, None]] = [{} for _ in rows]
    for gap, words in found:
        asked[of[gap or 0]].setdefault(words)
    return [
        replace(row, samples=tuple(texts)[:_SAMPLES])
        for row, texts in zip(rows, asked, strict=True)
    ]


def with_near_facts(row: Row, assistant: Asks) -> Row:
    """A row with samples, with the facts that came nearest to these, and why they did not do."""
    near: dict[tuple[str, str], NearFact] = {}
    for house in row.houses:
        if house not in assistant.houses:
            continue
        for sample in row.samples[:_NEAR]:
            for part in assistant.reply(Message(text=sample), house).parts:
                if part.decision.outcome is Outcome.ANSWER:
                    continue
                for hit in part.hits[:_NEAR]:
                    fact = NearFact(house, hit.fact.id, hit.fact.title, _why(hit))
                    near.setdefault((house, hit.fact.id), fact)
    return replace(row, near=tuple(near.values()))


def _why(hit: Hit) -> str:
    chance = hit.chance or 0.0
    if chance < 0.005:
        return "about something near, but hardly ever answers this"
    return f"answers this in about {round(chance * 100)} of 100 such cases, too few to be sure"

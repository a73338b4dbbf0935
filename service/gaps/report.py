"""The gap report: each meaning once, over all houses, how often and how urgently asked."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Protocol
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session, lazyload

from askhouse.gaps import TOGETHER, Centre, Meaning
from askhouse.values import Hit, House, Message, Outcome, Reply
from service.gaps.assigning import OPEN
from service.gaps.centres import unpacked
from service.tables import Gap, Inbound, PartRow, Stay

__all__ = ["Asks", "NearFact", "Row", "Urgency", "report", "with_near_facts"]

_SAMPLES = 3
_NEAR = 2  # facts a sample brings, and samples that are asked again, for each house
_PAGES = "pages"  # the line of pasted messages: one thread for all guests


class Urgency(StrEnum):
    """How soon an answer helps someone, soonest first."""

    HERE = "here"  # a guest who is in the house now asked
    COMING = "coming"  # a guest of a coming stay asked
    LATER = "later"  # it helps the next who asks


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
        guests: By how many stays, or senders where no stay is known.
        samples: In the guests' words, the newest first.
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
    samples: tuple[str, ...]
    near: tuple[NearFact, ...] = ()

    @property
    def houses(self) -> tuple[str, ...]:
        """The houses at which it is asked."""
        return tuple(sorted(self.gaps))


@dataclass(slots=True)
class _Gathered:
    gaps: dict[str, Gap]
    centre: Centre | None
    guests: set[str] = field(default_factory=set)
    asked: list[tuple[dt.datetime, str]] = field(default_factory=list)
    stays: set[tuple[str, dt.date, dt.date]] = field(default_factory=set)


def report(
    session: Session,
    meaning: Meaning,
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
        wanted.append(Gap.house.in_(only))
    if since is not None:
        asked = select(PartRow.gap_id).join(Inbound, PartRow.message_id == Inbound.id)
        asked = asked.where(PartRow.gap_id.is_not(None), Inbound.received_at >= since)
        if before is not None:
            asked = asked.where(Inbound.received_at < before)
        wanted.append(Gap.id.in_(asked))
    gaps = list(session.scalars(select(Gap).where(*wanted).order_by(Gap.id)))
    gathered = _across_houses(gaps, meaning)
    _gather(session, gathered)
    rows = [_row(one, meaning, houses, now) for one in gathered]
    order = list(Urgency)
    return sorted(rows, key=lambda r: (order.index(r.urgency), -r.guests, -r.last_at.timestamp()))


def _across_houses(gaps: Sequence[Gap], meaning: Meaning) -> list[_Gathered]:
    """Gaps of different houses with one meaning together; two of one house stay apart."""
    found: list[_Gathered] = []
    for gap in gaps:
        centre = unpacked(gap.centre, meaning)
        free = [one for one in found if gap.house not in one.gaps]
        near = [_nearness(one, gap, centre) for one in free]
        if near and max(near) >= TOGETHER:
            one = free[near.index(max(near))]
            one.gaps[gap.house] = gap
            if one.centre is not None and centre is not None:
                one.centre = one.centre.with_more(centre)
        else:
            found.append(_Gathered({gap.house: gap}, centre))
    return found


def _nearness(one: _Gathered, gap: Gap, centre: Centre | None) -> float:
    if one.centre is None or centre is None:
        # Put together or taken apart a moment ago; the topic says enough until it is made again.
        topics = {other.topic for other in one.gaps.values()}
        return float(gap.topic is not None and topics == {gap.topic})
    return float(one.centre.mean @ centre.mean)


def _gather(session: Session, gathered: Sequence[_Gathered]) -> None:
    of = {gap.id: one for one in gathered for gap in one.gaps.values()}
    rows = session.execute(
        select(
            PartRow.gap_id,
            PartRow.text,
            Inbound,
            Stay,
        )
        .join(Inbound, PartRow.message_id == Inbound.id)
        .outerjoin(Stay, (Inbound.stay_id == Stay.id) & Stay.cancelled_at.is_(None))
        .where(PartRow.gap_id.in_(of))
        .options(lazyload(Stay.phones))
    )
    for gap_id, words, message, stay in rows:
        one = of[gap_id or 0]
        one.asked.append((message.received_at, words))
        if stay is not None:
            one.stays.add((stay.house, stay.arrival, stay.departure))
            one.guests.add(f"stay {stay.id}")
        elif message.line == _PAGES:
            one.guests.add(f"message {message.id}")
        else:
            one.guests.add(f"thread {message.thread_id}")


def _row(one: _Gathered, meaning: Meaning, houses: Mapping[str, House], now: dt.datetime) -> Row:
    texts = [words for _, words in sorted(one.asked, reverse=True) if words]
    first = next(iter(one.gaps.values()))
    topic = first.topic
    return Row(
        name=meaning.title(topic) if topic is not None else first.name,
        topic=topic,
        gaps={house: gap.id for house, gap in one.gaps.items()},
        questions=len(one.asked),
        guests=len(one.guests),
        first_at=min(gap.first_at for gap in one.gaps.values()),
        last_at=max(gap.last_at for gap in one.gaps.values()),
        urgency=_urgency(one, houses, now),
        samples=tuple(dict.fromkeys(texts))[:_SAMPLES],
    )


def _urgency(one: _Gathered, houses: Mapping[str, House], now: dt.datetime) -> Urgency:
    found = Urgency.LATER
    for slug, arrival, departure in one.stays:
        house = houses.get(slug)
        today = now.astimezone(ZoneInfo(house.timezone) if house else dt.UTC).date()
        if arrival <= today <= departure:
            return Urgency.HERE
        if arrival > today:
            found = Urgency.COMING
    return found


def with_near_facts(row: Row, assistant: Asks) -> Row:
    """The row with the facts that came nearest to its samples, and why they did not do."""
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

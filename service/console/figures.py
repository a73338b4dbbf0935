"""The numbers of the last weeks, counted by the database: by week, by house, by topic.

Weeks begin on Monday at midnight in the host's time zone. A row falls into the week whose
beginning is the last one before it, which both databases can say alike.
"""

from __future__ import annotations

import datetime as dt
import statistics
from collections import Counter, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, case, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from service.console.queries import Only, narrowed
from service.tables import Escalation, Gap, Inbound, Lesson, PartRow

__all__ = ["Figures", "HouseFigures", "Week", "figures", "weeks_before"]

OUTCOMES = ("answer", "gap", "escalate", "chat")


@dataclass(frozen=True, slots=True, kw_only=True)
class Week:
    """One week.

    Attributes:
        first: Its Monday.
        messages: That guests sent by a line.
        parts: Of these messages and of pasted ones, by outcome.
        waits_min: From alert to someone taking it, in minutes, for each that was taken.
    """

    first: dt.date
    messages: int
    parts: Mapping[str, int]
    waits_min: Sequence[float]

    @property
    def answered(self) -> float | None:
        """Share of the parts that ask for something and were answered, 0 to 1."""
        asked = sum(n for outcome, n in self.parts.items() if outcome != "chat")
        return self.parts.get("answer", 0) / asked if asked else None

    @property
    def wait_min(self) -> float | None:
        """Median minutes from alert to taking."""
        return statistics.median(self.waits_min) if self.waits_min else None


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseFigures:
    """One house over all the weeks."""

    house: str
    messages: int
    parts: Mapping[str, int]
    right: int
    reviewed: int
    wait_min: float | None

    @property
    def answered(self) -> float | None:
        """Share of the parts that ask for something and were answered, 0 to 1."""
        asked = sum(n for outcome, n in self.parts.items() if outcome != "chat")
        return self.parts.get("answer", 0) / asked if asked else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """All that the page shows.

    Attributes:
        topics: Unanswered parts by the topic of their gap, the most first.
    """

    weeks: tuple[Week, ...]
    houses: tuple[HouseFigures, ...]
    topics: tuple[tuple[str, int], ...]


def weeks_before(now: dt.datetime, zone: str, count: int) -> list[dt.datetime]:
    """The beginnings of the last `count` weeks, this one last."""
    there = ZoneInfo(zone)
    today = now.astimezone(there).date()
    monday = today - dt.timedelta(days=today.weekday())
    return [
        dt.datetime.combine(monday - dt.timedelta(weeks=back), dt.time(), there)
        for back in reversed(range(count))
    ]


def figures(session: Session, only: Only, starts: Sequence[dt.datetime]) -> Figures:
    """The numbers of the weeks that begin at `starts`."""
    messages = _counted(session, only, starts)
    parts = _parts(session, only, starts)
    waits = _waits(session, only, starts)
    lessons = _lessons(session, only, starts[0])
    in_week = _by(parts, lambda key: key[0])
    of_house = _by(parts, lambda key: key[1])
    weeks = tuple(
        Week(
            first=start.date(),
            messages=sum(n for (week, _), n in messages.items() if week == place),
            parts=in_week.get(place, dict.fromkeys(OUTCOMES, 0)),
            waits_min=[m for (week, _), some in waits.items() if week == place for m in some],
        )
        for place, start in enumerate(starts)
    )
    sent = Counter[str]()
    for (_, house), n in messages.items():
        sent[house] += n
    waited: dict[str, list[float]] = defaultdict(list)
    for (_, house), minutes in waits.items():
        waited[house] += minutes
    return Figures(
        weeks=weeks,
        houses=tuple(
            HouseFigures(
                house=house,
                messages=sent[house],
                parts=of_house.get(house, dict.fromkeys(OUTCOMES, 0)),
                right=lessons.get((house, "right"), 0),
                reviewed=sum(n for (slug, _), n in lessons.items() if slug == house),
                wait_min=statistics.median(waited[house]) if waited[house] else None,
            )
            for house in sorted({*sent, *of_house})
            if house
        ),
        topics=_topics(session, only, starts[0]),
    )


_Key = tuple[int, str]
_Name = TypeVar("_Name")


def _by(
    parts: Mapping[tuple[int, str, str], int], name: Callable[[tuple[int, str, str]], _Name]
) -> dict[_Name, dict[str, int]]:
    """The parts by outcome, for each week or each house."""
    total: dict[_Name, dict[str, int]] = {}
    for key, n in parts.items():
        of = total.setdefault(name(key), dict.fromkeys(OUTCOMES, 0))
        of[key[2]] = of.get(key[2], 0) + n
    return total


def _week(
    at: InstrumentedAttribute[dt.datetime], starts: Sequence[dt.datetime]
) -> ColumnElement[int]:
    later = [(at >= start, place) for place, start in reversed(list(enumerate(starts)))]
    return case(*later, else_=-1)


def _counted(session: Session, only: Only, starts: Sequence[dt.datetime]) -> dict[_Key, int]:
    week = _week(Inbound.received_at, starts).label("week")
    found = session.execute(
        select(week, Inbound.house, func.count())
        .where(
            Inbound.received_at >= starts[0],
            Inbound.line != "pages",
            narrowed(Inbound.house, only),
        )
        .group_by(week, Inbound.house)
    )
    return {(place, house or ""): n for place, house, n in found}


def _parts(
    session: Session, only: Only, starts: Sequence[dt.datetime]
) -> dict[tuple[int, str, str], int]:
    week = _week(Inbound.received_at, starts).label("week")
    found = session.execute(
        select(week, PartRow.house, PartRow.outcome, func.count())
        .join(Inbound, PartRow.message_id == Inbound.id)
        .where(Inbound.received_at >= starts[0], narrowed(PartRow.house, only))
        .group_by(week, PartRow.house, PartRow.outcome)
    )
    return {(place, house, outcome): n for place, house, outcome, n in found}


def _waits(session: Session, only: Only, starts: Sequence[dt.datetime]) -> dict[_Key, list[float]]:
    week = _week(Escalation.created_at, starts).label("week")
    found = session.execute(
        select(week, Escalation.house, Escalation.created_at, Escalation.taken_at).where(
            Escalation.created_at >= starts[0],
            Escalation.taken_at.is_not(None),
            narrowed(Escalation.house, only),
        )
    )
    waits: dict[_Key, list[float]] = defaultdict(list)
    for place, house, created, taken in found:
        assert taken is not None  # as asked
        waits[place, house or ""].append((taken - created).total_seconds() / 60)
    return waits


def _lessons(session: Session, only: Only, since: dt.datetime) -> dict[tuple[str, str], int]:
    found = session.execute(
        select(Lesson.house, Lesson.verdict, func.count())
        .where(Lesson.at >= since, narrowed(Lesson.house, only))
        .group_by(Lesson.house, Lesson.verdict)
    )
    return {(house, verdict): n for house, verdict, n in found}


def _topics(session: Session, only: Only, since: dt.datetime) -> tuple[tuple[str, int], ...]:
    found = session.execute(
        select(Gap.name, func.count(PartRow.id).label("parts"))
        .join(PartRow, PartRow.gap_id == Gap.id)
        .where(Gap.last_at >= since, Gap.state == "open", narrowed(Gap.house, only))
        .group_by(Gap.name)
        .order_by(func.count(PartRow.id).desc(), Gap.name)
        .limit(_MOST_TOPICS)
    )
    return tuple((name, n) for name, n in found)


_MOST_TOPICS = 10

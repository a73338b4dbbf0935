"""The numbers of the last weeks, counted by the database: by week, by house, by topic.

Weeks begin on Monday at midnight in the host's time zone. A row falls into the week whose
beginning is the last one before it, which both databases can say alike.
"""

from __future__ import annotations

import datetime as dt
import statistics
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, case, extract, func, select
from sqlalchemy.orm import InstrumentedAttribute, Session

from service.console.queries import Only, narrowed
from service.tables import Escalation, Gap, Inbound, Lesson, PartRow

__all__ = ["Counts", "Figures", "figures", "weeks_before"]

_Name = TypeVar("_Name")


@dataclass(slots=True)
class Counts:
    """What is counted, of a week at a house, or of several.

    Attributes:
        messages: That guests sent by a line.
        parts: Of these messages and of pasted ones, by outcome.
        right: Drafts that the host looked over and found right.
        reviewed: All that they looked over; what was said last of each counts.
        waits_min: From alert to someone taking it, in minutes, for each that was taken.
    """

    messages: int = 0
    parts: Counter[str] = field(default_factory=Counter)
    right: int = 0
    reviewed: int = 0
    waits_min: list[float] = field(default_factory=list)

    @property
    def asked(self) -> int:
        """Parts that ask for something."""
        return self.parts.total() - self.parts["chat"]

    @property
    def answered(self) -> float | None:
        """Share of these that were answered, 0 to 1."""
        return self.parts["answer"] / self.asked if self.asked else None

    @property
    def right_share(self) -> float | None:
        """Share of what was looked over that was right, 0 to 1."""
        return self.right / self.reviewed if self.reviewed else None

    @property
    def wait_min(self) -> float | None:
        """Median minutes from alert to taking."""
        return statistics.median(self.waits_min) if self.waits_min else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """All that the page shows.

    Attributes:
        weeks: The Monday of each week.
        cells: By the week's place and the house's slug.
        topics: Unanswered parts by the topic of their gap, the most first.
    """

    weeks: tuple[dt.date, ...]
    cells: Mapping[tuple[int, str], Counts]
    topics: tuple[tuple[str, int], ...]

    def by_week(self) -> list[Counts]:
        """All houses, for each week."""
        sums = _sums((place, counts) for (place, _), counts in self.cells.items())
        return [sums[place] for place in range(len(self.weeks))]

    def by_house(self) -> dict[str, Counts]:
        """All the weeks, for each house that is known."""
        cells = sorted(self.cells.items(), key=lambda cell: cell[0][1])
        return dict(_sums((house, counts) for (_, house), counts in cells if house))

    def total(self) -> Counts:
        """All of it."""
        return _sums((None, counts) for counts in self.by_week())[None]


def _sums(several: Iterable[tuple[_Name, Counts]]) -> defaultdict[_Name, Counts]:
    sums: defaultdict[_Name, Counts] = defaultdict(Counts)
    for name, counts in several:
        total = sums[name]
        total.messages += counts.messages
        for outcome, n in counts.parts.items():  # a Counter's own sum takes three times as long
            total.parts[outcome] += n
        total.right += counts.right
        total.reviewed += counts.reviewed
        total.waits_min += counts.waits_min
    return sums


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
    cells: defaultdict[tuple[int, str], Counts] = defaultdict(Counts)
    week = _week(Inbound.received_at, starts).label("week")
    messages = session.execute(
        select(week, Inbound.house, func.count())
        .where(
            Inbound.received_at >= starts[0],
            Inbound.line != "pages",
            narrowed(Inbound.house, only),
        )
        .group_by("week", Inbound.house)
    )
    for place, house, n in messages:
        cells[place, house or ""].messages = n
    parts = session.execute(
        select(week, PartRow.house, PartRow.outcome, func.count())
        .join(Inbound, PartRow.message_id == Inbound.id)
        .where(Inbound.received_at >= starts[0], narrowed(PartRow.house, only))
        .group_by("week", PartRow.house, PartRow.outcome)
    )
    for place, house, outcome, n in parts:
        cells[place, house].parts[outcome] = n
    week = _week(Lesson.at, starts).label("week")
    last = select(func.max(Lesson.id)).group_by(func.coalesce(Lesson.part_id, -Lesson.id))
    lessons = session.execute(
        select(week, Lesson.house, Lesson.verdict, func.count())
        .where(Lesson.at >= starts[0], Lesson.id.in_(last), narrowed(Lesson.house, only))
        .group_by("week", Lesson.house, Lesson.verdict)
    )
    for place, house, verdict, n in lessons:
        cells[place, house].reviewed += n
        cells[place, house].right += n if verdict == "right" else 0
    week = _week(Escalation.created_at, starts).label("week")
    taken_s = extract("epoch", Escalation.taken_at) - extract("epoch", Escalation.created_at)
    taken = session.execute(
        select(week, Escalation.house, taken_s).where(
            Escalation.created_at >= starts[0],
            Escalation.taken_at.is_not(None),
            narrowed(Escalation.house, only),
        )
    )
    for place, house, seconds in taken:
        cells[place, house or ""].waits_min.append(float(seconds) / 60)
    return Figures(
        weeks=tuple(start.date() for start in starts),
        cells=cells,
        topics=_topics(session, only, starts[0]),
    )


def _week(
    at: InstrumentedAttribute[dt.datetime], starts: Sequence[dt.datetime]
) -> ColumnElement[int]:
    later = [(at >= start, place) for place, start in reversed(list(enumerate(starts)))]
    return case(*later, else_=-1)


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

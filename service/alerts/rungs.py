"""What comes next on a ladder: who is told at which time. Arithmetic alone, so that it can be read.

| level | in quiet hours | next rung | after the last rung | ends |
|---|---|---|---|---|
| emergency | alerts | after the rung's `wait_minutes` | again after `again_minutes` | when someone takes it |
| urgent, and everyone locked out | alerts, unless `wakes: emergency`, which a lockout ignores | the same | the same | the same |
| soon | waits until they end | after `soon_wait_minutes` or the rung's own time, whichever is longer | again after `soon_again_minutes` | the same |

Nothing ends by itself: what nobody takes is told again, round after round.
"""  # noqa: E501 (a table's row is one line)

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from askhouse.values import Kind, Level
from service.alerts.settings import AlertRules, QuietHours

__all__ = ["Step", "quiet_until", "step"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step of a climb.

    Attributes:
        round: From 0; one is over when every rung was told.
        rung: Its place on the ladder, from 0.
        contacts: Names of those who are told now; empty where the time has not come.
        next_at: When to look again, UTC.
    """

    round: int
    rung: int
    contacts: tuple[str, ...]
    next_at: dt.datetime


def step(
    rules: AlertRules, *, kind: str, level: str, told: int, zone: str, now: dt.datetime
) -> Step:
    """The step that is due now.

    Args:
        rules: With at least one rung.
        kind: Of the escalation.
        told: Rungs told so far, in all rounds.
        zone: Of the house, for its quiet hours.
    """
    round_, place = divmod(told, len(rules.ladder))
    quiet = rules.quiet_hours
    if quiet is not None and not _wakes(quiet, kind, level):
        until = quiet_until(quiet, zone, now)
        if until is not None:
            return Step(round=round_, rung=place, contacts=(), next_at=until)
    rung = rules.ladder[place]
    last = place == len(rules.ladder) - 1
    minutes = rules.again_minutes if last else rung.wait_minutes
    if level == Level.SOON:
        minutes = max(minutes, rules.soon_again_minutes if last else rules.soon_wait_minutes)
    return Step(
        round=round_,
        rung=place,
        contacts=rung.contacts,
        next_at=now + dt.timedelta(minutes=minutes),
    )


def quiet_until(quiet: QuietHours, zone: str, now: dt.datetime) -> dt.datetime | None:
    """When the quiet hours end that it is now, UTC; None outside of them."""
    clocks = ZoneInfo(zone)
    today = now.astimezone(clocks).date()
    for day in (today - dt.timedelta(days=1), today):
        last = day + dt.timedelta(days=quiet.to <= quiet.from_)
        start, end = (
            dt.datetime.combine(date, time, clocks).astimezone(dt.UTC)
            for date, time in ((day, quiet.from_), (last, quiet.to))
        )
        if start <= now < end:
            return end
    return None


def _wakes(quiet: QuietHours, kind: str, level: str) -> bool:
    if level == Level.EMERGENCY or kind == Kind.LOCKOUT:
        return True
    return level == Level.URGENT and quiet.wakes == "urgent"

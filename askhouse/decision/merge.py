"""Parts seen together: those that are one, and those that must wait for an alarm."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from askhouse.values import Decision, Kind, Level, Outcome, Part, ReplyPart

__all__ = ["held_back", "merged"]


def merged(
    parts: Sequence[ReplyPart],
    names_nothing: Callable[[Part], bool],
    together: Callable[[Part], ReplyPart] | None,
) -> list[ReplyPart]:
    """The parts, with those that belong together as one.

    Two parts are one where the same fact answers both, or where both go to the host
    for the same reason. Behind an alarm, a question that names nothing of its own ("what
    shall we do?") belongs to the alarm. Where parts were cut at joiners and stops, it is
    also one with the question before it, if together they get the same answer.

    Args:
        parts: In the guest's order, decided one by one.
        names_nothing: Whether a part names no topic of the trade.
        together: Decides a joined part; None where the cuts were learned.
    """
    kept: list[ReplyPart] = []
    for part in parts:
        one = _as_one(kept[-1], part, names_nothing, together) if kept else None
        if one is None:
            kept.append(part)
        else:
            kept[-1] = one
    return [replace(part, part=replace(part.part, order=order)) for order, part in enumerate(kept)]


def held_back(parts: Sequence[ReplyPart]) -> list[ReplyPart]:
    """The parts, with no how-to beside a danger and no code beside a lockout.

    Who is in danger reads what keeps them safe and nothing else; and a code is never the
    answer to a lockout. What is held back goes to the host.
    """
    alarms = [part.decision.alarm for part in parts if part.decision.alarm]
    danger = any(a.kind is Kind.SAFETY and a.level is not Level.SOON for a in alarms)
    lockout = any(a.kind is Kind.LOCKOUT for a in alarms)

    def held(decision: Decision) -> bool:
        facts = (*decision.facts, *(decision.ask_back or ()))
        return bool(facts) and (danger or (lockout and any(fact.sensitive for fact in facts)))

    return [
        replace(part, decision=_HELD_BACK, hits=()) if held(part.decision) else part
        for part in parts
    ]


_HELD_BACK = Decision(
    outcome=Outcome.ESCALATE,
    kind=Kind.REQUEST,
    confidence=1.0,
    reason="Asked together with an alarm, beside which nothing else is told.",
)


def _as_one(
    first: ReplyPart,
    second: ReplyPart,
    names_nothing: Callable[[Part], bool],
    together: Callable[[Part], ReplyPart] | None,
) -> ReplyPart | None:
    joined = replace(
        first.part,
        text=f"{first.part.text} {second.part.text}",
        reading=f"{first.part.reading} {second.part.reading}",
    )
    if _same(first.decision, second.decision):
        facts = dict.fromkeys([*first.decision.facts, *second.decision.facts])
        worse = min((first.decision, second.decision), key=_slowness)
        return replace(first, part=joined, decision=replace(worse, facts=tuple(facts)))
    if first.decision.alarm and not second.decision.alarm and names_nothing(second.part):
        return replace(first, part=joined)  # "what shall we do?" is answered by the alarm's words
    if together is None:
        return None
    if second.decision.outcome is Outcome.GAP and names_nothing(second.part):
        if first.decision.outcome is Outcome.GAP:
            return replace(first, part=joined)
        if first.decision.outcome is Outcome.ANSWER:
            both = together(joined)
            if _same(first.decision, both.decision):
                return both
    return None


def _slowness(decision: Decision) -> int:
    """The place of an alarm's level, the fastest first."""
    return decision.alarm.level.slowness if decision.alarm else len(Level)


def _same(first: Decision, second: Decision) -> bool:
    if first.outcome is not second.outcome or first.kind is not second.kind:
        return False
    if first.outcome is Outcome.ANSWER:
        return first.facts[0].id in {fact.id for fact in second.facts}
    if first.alarm and second.alarm:
        return first.alarm.hazard is second.alarm.hazard  # gas and fire need both words
    # Two gaps stay two: the host must answer each.
    return first.outcome is not Outcome.GAP

"""The signals of the guidance file, matched against a part."""

from __future__ import annotations

from dataclasses import dataclass

from askhouse.triage.guidance import Guidance, Signal, compiled
from askhouse.values import Hazard, Kind, Level

__all__ = ["Match", "match"]

_FASTEST_FIRST = (Level.EMERGENCY, Level.URGENT, Level.SOON)


@dataclass(frozen=True, slots=True)
class Match:
    """A signal that was found; `hazard` is None for a lockout."""

    kind: Kind
    hazard: Hazard | None
    signal: Signal


def match(text: str, guidance: Guidance) -> Match | None:
    """The most pressing signal of a part, or None.

    A signal that is not `sure` does not count where the part also says that it
    is past, hypothetical or negated. Harm goes before a lockout.
    """
    later = bool(guidance.not_now_pattern.search(text))
    found = [
        Match(Kind.SAFETY, hazard, signal)
        for hazard, entry in guidance.hazards.items()
        for signal in entry.signals
        if (signal.sure or not later) and compiled(signal).search(text)
    ]
    if found:
        return min(found, key=lambda m: _FASTEST_FIRST.index(m.signal.level))
    for signal in guidance.lockout.signals:
        if (signal.sure or not later) and compiled(signal).search(text):
            return Match(Kind.LOCKOUT, None, signal)
    return None

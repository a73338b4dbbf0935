"""A part -> an alarm with kind and level, or none.

Rules are the floor: what a signal of the guidance file is sure of, no model
takes away. The learned head may add alarms, because most guests in trouble
never use the obvious word; and it may drop one of a doubtful word ("so the toilet
is on fire inside?") where it is sure that nothing is wrong.
"""

from __future__ import annotations

from askhouse.kinds import Scores
from askhouse.triage.guidance import Guidance
from askhouse.triage.wordlist import Match, match
from askhouse.values import Alarm, Hazard, Kind, Level

__all__ = ["find_alarm", "trouble", "weighed"]

_HAZARD_CLEAR = 0.4  # below, the hazard is named "unclear" and the words are the general ones
# These can take a life within minutes; the others call for the host at once.
_EMERGENCIES = frozenset(Hazard) - {Hazard.WILDLIFE, Hazard.SCALD, Hazard.FALLING, Hazard.WEATHER}


def find_alarm(
    text: str,
    guidance: Guidance,
    kinds: Scores,
    hazards: Scores,
    *,
    safety: float,
    lockout: float,
    harmless: float = 0.0,
) -> Alarm | None:
    """The alarm that a part raises, or None.

    Args:
        text: The part.
        guidance: Signals and words.
        kinds: The kind head's probabilities.
        hazards: The hazard head's probabilities, given that there is harm.
        safety: Probability from which the head alone raises a safety alarm.
        lockout: The same for a lockout.
        harmless: Below this `trouble` doubtful signals do not count.
    """
    found = match(text, guidance, harmless=trouble(kinds) < harmless)
    return weighed(found, kinds, hazards, safety=safety, lockout=lockout)


def trouble(kinds: Scores) -> float:
    """The probability of harm or of a lockout, whichever is likelier."""
    return max(kinds.get("safety", 0.0), kinds.get("lockout", 0.0))


def weighed(
    found: Match | None, kinds: Scores, hazards: Scores, *, safety: float, lockout: float
) -> Alarm | None:
    """The alarm of a signal that was found, or not, and of what the heads say."""
    harm, outside = kinds.get("safety", 0.0), kinds.get("lockout", 0.0)
    if found is not None and found.kind is Kind.SAFETY:
        return Alarm(
            kind=Kind.SAFETY,
            hazard=found.hazard,
            level=found.signal.level,
            signal=found.signal.name,
            probability=1.0,
        )
    if harm >= safety and (found is None or harm >= outside):
        hazard = max(hazards, key=lambda name: hazards[name])
        clear = hazards[hazard] >= _HAZARD_CLEAR
        named = Hazard(hazard) if clear else Hazard.UNCLEAR
        return Alarm(
            kind=Kind.SAFETY,
            hazard=named,
            level=Level.EMERGENCY if named in _EMERGENCIES else Level.URGENT,
            signal="the whole message reads like harm, though no single word says so",
            probability=harm,
        )
    if found is not None:
        return Alarm(
            kind=Kind.LOCKOUT,
            hazard=None,
            level=found.signal.level,
            signal=found.signal.name,
            probability=1.0,
        )
    if outside >= lockout:
        return Alarm(
            kind=Kind.LOCKOUT,
            hazard=None,
            level=Level.URGENT,
            signal="the whole message reads like someone who cannot get in",
            probability=outside,
        )
    return None

"""A part -> an alarm with kind and level, or none.

Rules are the floor: what a signal of the guidance file is sure of, no model
takes away. The learned head may add alarms, because most guests in trouble
never use the obvious word; and it may drop one of a doubtful word ("so the toilet
is on fire inside?") where it is sure that nothing is wrong.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from askhouse.kinds import Scores
from askhouse.triage.guidance import Guidance
from askhouse.triage.wordlist import Match, match
from askhouse.values import Alarm, Hazard, Kind, Level

__all__ = ["find_alarm", "trouble"]

_SURE_PIECE = 0.5  # from this probability on the heads are believed in a piece
_HAZARD_CLEAR = 0.4  # below, the hazard is named "unclear" and the words are the general ones
# These can take a life within minutes; the others call for the host at once.
_EMERGENCIES = frozenset(Hazard) - {Hazard.WILDLIFE, Hazard.SCALD, Hazard.FALLING, Hazard.WEATHER}


def find_alarm(
    texts: Iterable[str],
    guidance: Guidance,
    heard: Sequence[tuple[Scores, Scores]],
    *,
    safety: float,
    lockout: float,
    calm: bool = False,
) -> Alarm | None:
    """The alarm that a part raises, or None.

    Args:
        texts: The part as it was written, and then as it was mended; words may stand in either.
        guidance: Signals and words.
        heard: The kind head's probabilities, and the hazard head's, given that there is harm,
            of the part as it was written, or of each piece of one that is too long to be read.
        safety: Probability from which the head alone raises a safety alarm.
        lockout: The same for a lockout.
        calm: The heads are sure that nothing is wrong: doubtful signals do not count.
    """
    if len(heard) > 1:  # each piece may be wrong by itself
        safety, lockout = max(safety, _SURE_PIECE), max(lockout, _SURE_PIECE)
    matches = (match(text, guidance, harmless=calm) for text in dict.fromkeys(texts))
    found = next(filter(None, matches), None)
    alarms = [_weighed(found, *one, safety=safety, lockout=lockout) for one in heard]
    return min(filter(None, alarms), key=_slowness, default=None)


def trouble(kinds: Mapping[str, float]) -> float:
    """The probability of harm or of a lockout, whichever is likelier."""
    return max(kinds.get("safety", 0.0), kinds.get("lockout", 0.0))


def _slowness(alarm: Alarm) -> tuple[bool, int]:
    return alarm.kind is not Kind.SAFETY, alarm.level.slowness


def _weighed(
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

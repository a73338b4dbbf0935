"""The decision on one part: answer, gap, escalate or chat, with a reason a host can read.

Alarms come first. Then the facts: if the best is likely enough to answer, it
answers. Otherwise the kind of the part says what becomes of it. `>=` is on the
answering side everywhere, so that two thresholds never overlap.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from askhouse.decision.calibration import Calibration
from askhouse.decision.signals import hit_signals
from askhouse.kinds import Scores
from askhouse.topics import Topics
from askhouse.values import Alarm, Decision, Fact, Hit, Kind, Level, Outcome, Part

__all__ = ["MOST_FACTS", "decide", "rated"]

_LIKELY = 0.35  # each of the two facts that a question back offers
_SETTLED = 0.85  # both together
_SURELY_A_STRANGER = 0.95
_SURELY_CHAT = 0.5  # from this probability on a part is left alone
MOST_FACTS = 3  # more than three facts are not an answer but a guide
# What a stranger says when he is after a secret, whichever fact is nearest.
_AFTER_A_SECRET = re.compile(
    r"\b(?:codes?|pass ?words?|paswords?|pw|pins?|combination|combo|key ?safe|key ?box|lock ?box|"
    r"which numbers?|what numbers?|numbers? (?:for|to|of) (?:the|your) (?:\w+ )?(?:door|gate|lock|box|safe)|"
    r"what do (?:we|i) (?:type|press|punch|dial)|código|contraseña|clave|mot de passe|digicode|kennwort|"
    r"passwort|codice|wachtwoord|senha)\b",
    re.IGNORECASE,
)


def decide(
    part: Part,
    hits: Sequence[Hit],
    kinds: Scores,
    alarm: Alarm | None,
    calibration: Calibration,
    *,
    verified: bool,
    may_ask_back: bool = True,
    may_be_chat: bool = True,
    named: Mapping[str, str] | None = None,
) -> Decision:
    """What becomes of a part.

    Args:
        part: The part.
        hits: The facts that may answer, rated, likeliest first; empty after an alarm.
        kinds: The kind head's probabilities.
        alarm: What triage found.
        calibration: Turns signals into a probability, and holds the thresholds.
        verified: Whether the sender may read sensitive facts.
        may_ask_back: Whether the guest may be asked which of two facts is meant.
        may_be_chat: Whether it may be left alone; not where its language is in doubt.
        named: The trade topics that the part names: the title of each by its id.
    """
    if alarm is not None:
        return Decision(
            outcome=Outcome.ESCALATE,
            kind=alarm.kind,
            confidence=alarm.probability,
            reason=_alarm_reason(alarm),
            alarm=alarm,
        )
    if not hits:
        return _without_facts(kinds, 0.0, None, may_be_chat, named or {})
    best = hits[0]
    chance = best.chance or 0.0
    if not verified and _after_a_secret(part, hits, calibration):
        return _stranger(part, kinds)
    if chance >= calibration.threshold:
        further = [
            hit.fact for hit in hits[1:MOST_FACTS] if (hit.chance or 0.0) >= calibration.also
        ]
        return Decision(
            outcome=Outcome.ANSWER,
            confidence=chance,
            reason=f"“{best.fact.title}” answers it.",
            facts=(best.fact, *further),
        )
    if may_ask_back and (rival := _rival(hits, verified=verified)) is not None:
        return Decision(
            outcome=Outcome.GAP,
            confidence=1 - chance,
            reason=f"It may be “{best.fact.title}” or “{rival.title}”; the guest is asked which.",
            ask_back=(best.fact, rival),
        )
    return _without_facts(kinds, chance, best.fact, may_be_chat, named or {})


def _rival(hits: Sequence[Hit], *, verified: bool) -> Fact | None:
    """The fact between which and the best one a question back would settle it, or None.

    Both must be likely, and together nearly sure: asking between two facts of which
    neither answers would waste the guest's one question.
    """
    if len(hits) < 2:
        return None
    first, second = hits[0].chance or 0.0, hits[1].chance or 0.0
    apart = hits[0].fact.title != hits[1].fact.title
    tellable = verified or not (hits[0].fact.sensitive or hits[1].fact.sensitive)
    if apart and tellable and min(first, second) >= _LIKELY and first + second >= _SETTLED:
        return hits[1].fact
    return None


def rated(
    part: Part,
    hits: Sequence[Hit],
    kinds: Scores,
    calibration: Calibration,
    catalogue: Topics,
) -> tuple[Hit, ...]:
    """The hits with the chance that each answers the part, likeliest first."""
    if not hits:
        return ()
    signals = hit_signals(part.reading, hits, kinds, catalogue)
    chances = calibration.network.probabilities(signals).tolist()
    rated = [replace(hit, chance=chance) for hit, chance in zip(hits, chances, strict=True)]
    return tuple(sorted(rated, key=lambda hit: -(hit.chance or 0.0)))


def _without_facts(
    kinds: Scores,
    chance: float,
    nearest: Fact | None,
    may_be_chat: bool,
    named: Mapping[str, str],
) -> Decision:
    """A part that no fact answers: to the host, chat, or a gap, by what it most likely is."""
    talk, asked = kinds.get("chat", 0.0), kinds.get("question", 0.0)
    # What is left alone must surely want nothing: in doubt the host looks at it.
    if may_be_chat and talk >= _SURELY_CHAT:
        return Decision(
            outcome=Outcome.CHAT, confidence=(1 - chance) * talk, reason="It asks for nothing."
        )
    # Damage, request and complaint end alike, so that they count together.
    shares = {kind: kinds.get(kind, 0.0) for kind in _KIND_REASON}
    wanted = sum(shares.values())
    if wanted > max(talk, asked):
        kind = max(shares, key=lambda kind: shares[kind])
        return Decision(
            outcome=Outcome.ESCALATE,
            kind=kind,
            confidence=(1 - chance) * wanted,
            reason=_KIND_REASON[kind],
        )
    near = f"; the nearest, “{nearest.title}”, does not settle it" if nearest else ""
    # Of several topics none is the one: the gap is then named by its words.
    topic = next(iter(named)) if len(named) == 1 else None
    about = f" (topic: {named[topic]})" if topic is not None else ""
    return Decision(
        outcome=Outcome.GAP,
        confidence=1 - chance,
        reason=f"No fact of the house answers it{about}{near}.",
        topic=topic,
    )


_KIND_REASON = {
    Kind.DAMAGE: "Something is broken, spilt or faulty, and no fact mends it.",
    Kind.REQUEST: "The guest wants you to decide, change or send something.",
    Kind.COMPLAINT: "The guest is unhappy and wants it put right.",
}


def _after_a_secret(part: Part, hits: Sequence[Hit], calibration: Calibration) -> bool:
    """Whether an unverified sender wants a sensitive fact, whatever the story."""
    likely = [hit for hit in hits if (hit.chance or 0.0) >= calibration.threshold]
    if any(hit.fact.sensitive for hit in likely):
        return True
    return bool(_AFTER_A_SECRET.search(part.reading)) and any(
        hit.fact.sensitive for hit in hits[:MOST_FACTS]
    )


# A sender who says that he stands there. Common practice, no source.
_AT_THE_DOOR = re.compile(
    r"\b(?:we'?re|we are|i'?m|i am|im|were|we|i|just|all|now)\b[^.?!]{0,25}\b(?:outside|"
    r"(?:at|by|near|in front of) the (?:\w+ )?(?:door|gate|house|entrance|building|flat|cottage)|"
    r"on the (?:\w+ )?(?:porch|step|steps|doorstep|stairs|street|driveway)|in the driveway|"
    r"standing|stood|stuck|waiting|here (?:now|already|early|before))|"
    r"\b(?:locked out|can'?t get in|cant get in|won'?t open|get in the house|let us in)\b|"
    r"\b(?:delante de la (?:puerta|casa)|en la puerta|fuera|devant la (?:porte|maison)|dehors|"
    r"vor (?:der (?:haus)?t(?:ü|ue?)r|dem haus)|draußen|davanti (?:alla porta|a casa)|fuori|"
    r"voor (?:de (?:voor)?deur|het huis)|buiten|à porta|em frente (?:à|da) casa|lá fora)\b",
    re.IGNORECASE,
)


def _stranger(part: Part, kinds: Scores) -> Decision:
    outside = kinds.get("lockout", 0.0)
    at_the_door = bool(_AT_THE_DOOR.search(part.text)) or outside >= max(
        kinds.get("request", 0.0), kinds.get("question", 0.0)
    )
    # Whoever stands outside must not wait for it, whether he is a guest or not.
    alarm = Alarm(
        kind=Kind.LOCKOUT,
        hazard=None,
        level=Level.URGENT,
        signal="at the door, and asks for a code",
        probability=_SURELY_A_STRANGER,
    )
    return Decision(
        outcome=Outcome.ESCALATE,
        kind=Kind.LOCKOUT if at_the_door else Kind.REQUEST,
        confidence=_SURELY_A_STRANGER,
        reason="Asks for a code or password, and is not a verified guest.",
        alarm=alarm if at_the_door else None,
        stranger=True,
    )


def _alarm_reason(alarm: Alarm) -> str:
    what = "cannot get in" if alarm.kind is Kind.LOCKOUT else "someone may be in danger"
    hazard = f" ({alarm.hazard})" if alarm.hazard is not None else ""
    return f"The guest writes as if {what}{hazard}: {alarm.signal}."

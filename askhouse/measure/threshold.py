"""The threshold again, on a host's own labelled messages, with what it promises."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, log

import numpy as np

from askhouse.assistant import Assistant
from askhouse.decision.calibration import Calibration
from askhouse.decision.decide import MOST_FACTS
from askhouse.decision.risk import clopper_pearson_upper, threshold_for_risk
from askhouse.measure.labelled import LabelledMessage
from askhouse.values import Message, ReplyPart

__all__ = ["Refit", "Surest", "messages_needed", "refit", "surest"]

NEVER = 1.0  # the threshold of a decision that answers nothing


@dataclass(frozen=True, slots=True)
class Surest:
    """What a message would be answered with, were the threshold low enough.

    Attributes:
        chance: From this threshold down the message is answered, 0 to 1; 0 where it never
            is. Of several parts the surest counts that would be wrong, or else the surest.
        wrong: The reply would then cite a fact that no part of the message allows.
    """

    chance: float
    wrong: bool


@dataclass(frozen=True, slots=True)
class Refit:
    """A threshold chosen on labelled messages.

    Attributes:
        threshold: The lowest that keeps the risk; 1 where none does.
        errors: Wrong replies among the messages at that threshold.
        answered: Messages that get a fact at that threshold.
        messages: How many messages there are.
        houses: How many houses they belong to.
        bound: With the confidence asked for, the share of wrong replies is not above it.
        needed: The fewest messages with which the risk could be promised at all.
    """

    threshold: float
    errors: int
    answered: int
    messages: int
    houses: int
    bound: float
    needed: int

    @property
    def kept(self) -> bool:
        """Whether there is a threshold that keeps the risk."""
        return self.threshold < NEVER


def messages_needed(risk: float, confidence: float) -> int:
    """The fewest messages, none with a wrong reply, that show a risk of at most `risk`.

    Of n messages without an error the bound p solves (1 - p)ⁿ = 1 - confidence.
    """
    return ceil(log(1 - confidence) / log(1 - risk))


def surest(
    assistant: Assistant, messages: Sequence[LabelledMessage], calibration: Calibration
) -> list[Surest]:
    """For each message, from which threshold down it is answered, and whether wrongly."""
    found = []
    for message in messages:
        asked = Message(text=message.message, verified=message.verified)
        parts = [
            _part(part, message, calibration)
            for part in assistant.reply(asked, message.house).parts
            if part.hits and (message.verified or not part.hits[0].fact.sensitive)
        ]
        # One wrong part makes a wrong reply, however right the others are.
        wrong = [part for part in parts if part.wrong]
        found.append(max(wrong or parts, key=lambda p: p.chance, default=Surest(0.0, False)))
    return found


def _part(part: ReplyPart, message: LabelledMessage, calibration: Calibration) -> Surest:
    best, *others = part.hits[:MOST_FACTS]
    given = [best, *(hit for hit in others if (hit.chance or 0.0) >= calibration.also)]
    shown = [hit.fact for hit in given if message.verified or not hit.fact.sensitive]
    wrong = any(fact.id not in message.allowed for fact in shown)
    return Surest(best.chance or 0.0, wrong)


def refit(found: Sequence[Surest], houses: int, *, risk: float, confidence: float) -> Refit:
    """The lowest threshold that keeps wrong replies under `risk` with `confidence`.

    Args:
        found: One for each message.
        houses: How many houses the messages belong to.
        risk: The share of messages that may get a wrong reply, above 0 and below 1.
        confidence: Over the draw of messages, above 0 and below 1.
    """
    chances = np.array([one.chance for one in found], dtype=np.float64)
    wrong = np.array([one.wrong for one in found], dtype=bool)
    threshold = NEVER
    if len(found):
        threshold = threshold_for_risk(chances, wrong, risk, confidence)
    given = chances >= threshold if threshold < NEVER else np.zeros(len(found), dtype=bool)
    errors = int((wrong & given).sum())
    return Refit(
        threshold=threshold,
        errors=errors,
        answered=int(given.sum()),
        messages=len(found),
        houses=houses,
        bound=clopper_pearson_upper(errors, len(found), confidence) if len(found) else 1.0,
        needed=messages_needed(risk, confidence),
    )

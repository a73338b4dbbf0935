"""What raises an alarm in a message: rules and heads, over all of a text and its thread.

A text is heard as it was written and as it was mended, since a house's own words must not
take one of danger away ("beeping" → "keeping"). One that is longer than the encoder reads is
heard piece by piece. And a follow-up to a danger is about that danger until it says otherwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from askhouse.kinds import Once, Scores
from askhouse.parts.clean import readable
from askhouse.parts.context import leans_back, points_back, with_before
from askhouse.triage.guidance import Guidance
from askhouse.triage.triage import find_alarm, trouble
from askhouse.triage.wordlist import goes_on
from askhouse.values import Alarm, Decision, Kind, Outcome, Turn

__all__ = ["Ear"]

_PIECE, _STEP = 45, 30  # words; what the encoder surely reads, overlapping
_CRY = 6  # words; in so few nobody tells of something else, and heads go by the words around
_TURNS = 2  # earlier messages in which a danger may have been told


@dataclass(frozen=True, slots=True)
class Ear:
    """Hears alarms, in what encoder and heads say of one message's texts.

    Attributes:
        guidance: Signals.
        safety: Probability from which the heads alone raise a safety alarm.
        lockout: The same for a lockout.
        harmless: Below this probability of either, doubtful signals do not count in a text
            of more than a few words.
    """

    guidance: Guidance
    safety: float
    lockout: float
    harmless: float

    def alarm(self, encoded: Once, text: str, *mended: str) -> Alarm | None:
        """What a text raises by itself.

        Words are looked for in the text as it was mended, too. The heads have learned from
        misspelled texts: what they hear only in a mended one was false eight times of eight.
        """
        texts = (text, *mended)
        pieces = [text] if encoded(text).reaches_end(text) else _pieces(text)
        # No piece can say of the whole that nothing is wrong, nor can a cry.
        calm = (
            len(pieces) == 1
            and len(text.split()) > _CRY
            and all(trouble(_heard(one, encoded)[0]) < self.harmless for one in texts)
        )
        return find_alarm(
            texts,
            self.guidance,
            [_heard(piece, encoded) for piece in pieces],
            safety=self.safety,
            lockout=self.lockout,
            calm=calm,
        )

    def before(self, encoded: Once, thread: Sequence[Turn]) -> Alarm | None:
        """The last alarm that the guest's latest messages raised."""
        for turn in reversed(thread[-_TURNS:]):
            if (alarm := self.alarm(encoded, readable(turn.text))) is not None:
                return alarm
        return None

    def together(self, encoded: Once, text: str, thread: Sequence[Turn]) -> Alarm | None:
        """The alarm that a text raises only with the message before it.

        "Are the red berries edible?", "my daughter has just eaten one and is sick". Only where
        it speaks of a thing that it does not name: of other ordinary messages put together
        one in fourteen would raise an alarm.
        """
        if not points_back(text):
            return None
        return self.alarm(encoded, with_before(text, thread))

    def carried(self, before: Alarm, text: str, *, names_nothing: bool) -> Alarm | None:
        """The earlier alarm, if a text goes on about it ("it still smells", "and now what?")."""
        if goes_on(text, self.guidance) or (names_nothing and leans_back(text)):
            return self.again(before)
        return None

    def unsettled(self, before: Alarm, decision: Decision) -> bool:
        """Whether someone in danger would be told something else.

        "Should we go outside?", after a carbon monoxide alarm, is not about the bears there.
        """
        return (
            before.kind is Kind.SAFETY
            and decision.alarm is None
            and decision.outcome is not Outcome.CHAT
        )

    def again(self, before: Alarm) -> Alarm:
        """An earlier alarm, raised anew."""
        return replace(before, signal=f"{before.signal}, told before")


def _heard(piece: str, encoded: Once) -> tuple[Scores, Scores]:
    # The heads have learned from words: what "???" looks like to them means nothing.
    return encoded.kinds(piece) if any(map(str.isalpha, piece)) else ({}, {})


def _pieces(text: str) -> list[str]:
    words = text.split()
    last = max(len(words) - _PIECE + _STEP, 1)
    return [" ".join(words[start : start + _PIECE]) for start in range(0, last, _STEP)]

"""One message's whole way: split, triage, search, decide, answer.

This is the table of contents of the engine: each call is a folder beside this file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from askhouse.answer.compose import cite, part_text, whole_text
from askhouse.answer.guard import tellable
from askhouse.answer.phrases import phrase
from askhouse.decision.calibration import Calibration
from askhouse.decision.decide import decide, rated
from askhouse.decision.topics import Topics
from askhouse.encoder import Encoder
from askhouse.errors import UnknownHouseError
from askhouse.kinds import Kinds
from askhouse.parts.clean import clean
from askhouse.parts.context import reading
from askhouse.parts.language import READ, Tongue, language_name, tongue
from askhouse.parts.split import split
from askhouse.search.search import HouseSearch
from askhouse.triage.guidance import Guidance
from askhouse.triage.triage import find_alarm
from askhouse.values import (
    Decision,
    Hit,
    House,
    Kind,
    Length,
    Message,
    Outcome,
    Part,
    Reply,
    ReplyPart,
)

__all__ = ["Assistant"]

MOST_HITS = 5  # the facts that a decision looks at


class Assistant:
    """Answers messages to the houses it knows, from their facts alone.

    Args:
        searches: The search of every house, by slug.
        encoder: Turns a part into one vector, for triage, search and decision alike.
        kinds: The learned heads.
        calibration: Thresholds and weights of the decision.
        guidance: Signals and fixed words of triage.
        topics: The trade catalogue.
    """

    def __init__(
        self,
        searches: Mapping[str, HouseSearch],
        encoder: Encoder,
        kinds: Kinds,
        calibration: Calibration,
        guidance: Guidance,
        topics: Topics,
    ) -> None:
        self._searches = searches
        self._encoder = encoder
        self._kinds = kinds
        self._calibration = calibration
        self._guidance = guidance
        self._topics = topics

    @property
    def houses(self) -> Mapping[str, House]:
        """The houses that can be asked about, by slug."""
        return {slug: search.house for slug, search in self._searches.items()}

    def reply(self, message: Message, house: str) -> Reply:
        """The draft reply to a message.

        Raises:
            MessageError: The message is empty or too long.
            UnknownHouseError: No such house.
        """
        search = self._search(house)
        text = clean(message.text)
        whole = tongue(text)
        pieces = split(text)
        parts = [
            Part(
                text=piece,
                reading=search.mend(reading(piece, pieces[:order], message.thread)),
                order=order,
                language=whole.code if whole.read else "en",
            )
            for order, piece in enumerate(pieces)
        ]
        decided = _merged([self._decide(search, part, message, whole) for part in parts])
        return self._compose(search.house, decided, message, whole)

    def hits(self, message: Message, house: str, most: int = MOST_HITS) -> tuple[Hit, ...]:
        """The facts nearest to a whole message, best first; nothing is decided."""
        search = self._search(house)
        text = search.mend(reading(clean(message.text), (), message.thread))
        (encoded,) = self._encoder.encode_words([text])
        return search.hits(text, encoded, day=message.day, most=most)

    def _search(self, house: str) -> HouseSearch:
        try:
            return self._searches[house]
        except KeyError:
            known = ", ".join(sorted(self._searches)) or "none"
            raise UnknownHouseError(
                f"no house is called {house!r}; known houses: {known}"
            ) from None

    def _decide(
        self, search: HouseSearch, part: Part, message: Message, whole: Tongue
    ) -> ReplyPart:
        (encoded,) = self._encoder.encode_words([part.reading])
        kinds, hazards = self._kinds.read(part.reading, encoded.vector)
        alarm = find_alarm(
            part.reading,
            self._guidance,
            kinds,
            hazards,
            safety=self._calibration.safety,
            lockout=self._calibration.lockout,
        )
        if alarm is None and not whole.read:
            return ReplyPart(part=part, decision=_unread(whole), text="")
        hits = () if alarm else search.hits(part.reading, encoded, day=message.day, most=MOST_HITS)
        hits = rated(part, hits, kinds, self._calibration, self._topics)
        decision = decide(part, hits, kinds, alarm, self._calibration, verified=message.verified)
        return ReplyPart(part=part, decision=decision, text="", hits=hits)

    def _compose(
        self, house: House, decided: list[ReplyPart], message: Message, whole: Tongue
    ) -> Reply:
        def text(part: ReplyPart, length: Length) -> str:
            if (
                part.decision.outcome is Outcome.ESCALATE
                and not whole.read
                and not part.decision.alarm
            ):
                return phrase("unread_language", "en", language=language_name(whole.code))
            return part_text(
                house,
                part.part,
                part.decision,
                self._guidance,
                verified=message.verified,
                alone=len(decided) == 1,
                length=length,
            )

        full = [text(part, Length.FULL) for part in decided]
        short = [text(part, Length.SHORT) for part in decided]
        parts = tuple(
            replace(
                part,
                text=said,
                citations=tuple(
                    cite(fact) for fact in tellable(part.decision.facts, verified=message.verified)
                ),
            )
            for part, said in zip(decided, full, strict=True)
        )
        return Reply(
            house=house.slug,
            full=whole_text(house, parts, Length.FULL, full),
            short=whole_text(house, parts, Length.SHORT, short),
            parts=parts,
        )


def _unread(whole: Tongue) -> Decision:
    return Decision(
        outcome=Outcome.ESCALATE,
        kind=Kind.REQUEST,
        confidence=whole.sure,
        reason=f"Written in {language_name(whole.code)}, which Askhouse does not read "
        f"(it reads {', '.join(READ)}).",
    )


def _merged(parts: list[ReplyPart]) -> list[ReplyPart]:
    """Questions that one fact answers together are one part."""
    merged: list[ReplyPart] = []
    for part in parts:
        if merged and _same(merged[-1].decision, part.decision):
            earlier = merged[-1]
            joined = replace(
                earlier.part,
                text=f"{earlier.part.text} {part.part.text}",
                reading=f"{earlier.part.reading} {part.part.reading}",
            )
            merged[-1] = replace(earlier, part=joined)
        else:
            merged.append(part)
    return [
        replace(part, part=replace(part.part, order=order)) for order, part in enumerate(merged)
    ]


def _same(first: Decision, second: Decision) -> bool:
    if first.outcome is not second.outcome or first.kind is not second.kind:
        return False
    if first.outcome is Outcome.ANSWER:
        return first.facts[0].id in {fact.id for fact in second.facts}
    # Two gaps stay two: the host must answer each. Two alarms are one call for help.
    return first.outcome is not Outcome.GAP

"""One message's whole way: split, triage, search, decide, answer.

This is the table of contents of the engine: each call is a folder beside this file.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from askhouse.answer.compose import cite, part_text, whole_text
from askhouse.answer.guard import tellable
from askhouse.answer.phrases import phrase
from askhouse.decision.calibration import Calibration
from askhouse.decision.decide import decide, rated
from askhouse.decision.merge import merged
from askhouse.decision.topics import Topics
from askhouse.encoder import Encoded, Encoder
from askhouse.errors import UnknownHouseError
from askhouse.kinds import Kinds, Scores
from askhouse.parts.clean import clean
from askhouse.parts.context import reading
from askhouse.parts.cuts import Cuts
from askhouse.parts.join import Group, grouped, joined, neighbours
from askhouse.parts.language import READ, Tongue, language_name, tongue
from askhouse.parts.split import ClauseKind, at_most, clauses, without_joiner
from askhouse.search.search import HouseSearch
from askhouse.triage.guidance import Guidance
from askhouse.triage.triage import find_alarm
from askhouse.triage.wordlist import match
from askhouse.values import (
    Alarm,
    Decision,
    Fact,
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
# What a statement may report, and from which probability on it stands for itself.
_REPORTS = ("safety", "lockout", "damage", "complaint", "request")
_REPORT = 0.5


class Assistant:
    """Answers messages to the houses it knows, from their facts alone.

    Args:
        searches: The search of every house, by slug.
        encoder: Turns a part into one vector, for triage, search and decision alike.
        kinds: The learned heads.
        calibration: Thresholds and weights of the decision.
        guidance: Signals and fixed words of triage.
        topics: The trade catalogue.
        cuts: Where a message is cut into parts; None for an encoder without word states,
            whose messages are cut at joiners and stops.
    """

    def __init__(
        self,
        searches: Mapping[str, HouseSearch],
        encoder: Encoder,
        kinds: Kinds,
        calibration: Calibration,
        guidance: Guidance,
        topics: Topics,
        cuts: Cuts | None = None,
    ) -> None:
        self._searches = searches
        self._encoder = encoder
        self._kinds = kinds
        self._calibration = calibration
        self._guidance = guidance
        self._topics = topics
        self._cuts = cuts

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
        encoded = _Once(self._encoder)
        learned = self._cut(text, encoded)
        pieces = learned or self._joined(text, encoded)
        parts = [
            Part(
                text=piece,
                reading=search.mend(reading(piece, pieces[:order], message.thread)),
                order=order,
                language=whole.code if whole.read else "en",
            )
            for order, piece in enumerate(pieces)
        ]
        decided = [self._decide(search, part, message, whole, encoded) for part in parts]
        decided = merged(
            self._heard_as_a_whole(text, decided, encoded),
            names_nothing=lambda part: not self._topics.of(part.text),
            together=None
            if learned
            else lambda part: self._decide(search, part, message, whole, encoded),
        )
        return self._compose(search.house, decided, message, whole)

    def _cut(self, text: str, encoded: _Once) -> tuple[str, ...]:
        """The parts of a cleaned message where they were learned to begin.

        Empty without learned cuts, and where the message is too long to be read to its end.
        """
        if self._cuts is None or (seen := encoded(text)).words is None:
            return ()
        if max((behind for _, behind in seen.spans), default=0) < len(text):
            return ()
        first, *others = self._cuts.pieces(text, seen.words, seen.spans)
        pieces = [first, *map(without_joiner, others)]
        return at_most([piece for piece in pieces if not _is_talk(piece)] or [text])

    def _joined(self, text: str, encoded: _Once) -> tuple[str, ...]:
        """The parts of a cleaned message, cut at joiners and stops and put together by sense."""
        groups = grouped(clauses(text))
        if len(groups) < 2:
            return (groups[0].text if groups else text,)
        return joined(groups, self._reports(groups, encoded))

    def _reports(self, groups: Sequence[Group], encoded: _Once) -> list[bool]:
        """For each group, whether it is a statement that is for the host by itself.

        It must sound so alone, and still so together with the question it would
        otherwise be read with: "my dad is in a wheelchair. is there a lift?" is no report.
        """
        together = neighbours(groups)
        reports = []
        for place, (group, both) in enumerate(zip(groups, together, strict=True)):
            if both is None:
                reports.append(False)
                continue
            alone, joint = (self._kinds.read(t, encoded(t))[0] for t in (group.text, both))
            new_matter = group.apart or (place + 1 < len(groups) and groups[place + 1].apart)
            reports.append(
                match(group.text, self._guidance) is not None
                or new_matter
                or any(min(alone[name], joint[name]) >= _REPORT for name in _REPORTS)
            )
        return reports

    def _heard_as_a_whole(
        self, text: str, decided: list[ReplyPart], encoded: _Once
    ) -> list[ReplyPart]:
        """Harm that shows only in the whole message is raised on the part that sounds worst."""
        if len(decided) == 1 or any(part.decision.alarm for part in decided):
            return decided
        texts = [text, *(part.part.reading for part in decided)]
        read = [self._kinds.read(t, encoded(t)) for t in texts]
        alarm = self._alarm(text, *read[0])
        if alarm is None:
            return decided
        worst = max(range(len(decided)), key=lambda i: read[i + 1][0].get(str(alarm.kind), 0.0))
        decision = decide(decided[worst].part, (), {}, alarm, self._calibration, verified=False)
        decided[worst] = replace(decided[worst], decision=decision, hits=())
        return decided

    def _alarm(self, text: str, kinds: Scores, hazards: Scores) -> Alarm | None:
        return find_alarm(
            text,
            self._guidance,
            kinds,
            hazards,
            safety=self._calibration.safety,
            lockout=self._calibration.lockout,
        )

    def _heard(self, text: str, encoded: _Once) -> Alarm | None:
        """The alarm that a text raises by itself."""
        return self._alarm(text, *self._kinds.read(text, encoded(text)))

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
        self, search: HouseSearch, part: Part, message: Message, whole: Tongue, encoded: _Once
    ) -> ReplyPart:
        seen = encoded(part.reading)
        kinds, hazards = self._kinds.read(part.reading, seen)
        alarm = self._alarm(part.reading, kinds, hazards)
        if alarm is not None and message.thread:
            # An alarm of an earlier message was raised then: a follow-up that is read together
            # with it raises its own only by its own words.
            alarm = self._heard(search.mend(part.text), encoded)
        if alarm is None and not whole.read:
            return ReplyPart(part=part, decision=_unread(whole), text="")
        hits = () if alarm else search.hits(part.reading, seen, day=message.day, most=MOST_HITS)
        hits = rated(part, hits, kinds, self._calibration, self._topics)
        decision = decide(
            part,
            hits,
            kinds,
            alarm,
            self._calibration,
            verified=message.verified,
            # Once a thread: a guest who is asked twice rings the host.
            may_ask_back=not any(turn.asked_back for turn in message.thread),
        )
        return ReplyPart(part=part, decision=decision, text="", hits=hits)

    def _compose(
        self, house: House, decided: list[ReplyPart], message: Message, whole: Tongue
    ) -> Reply:
        decided = [replace(part, decision=_closed(part.decision, message)) for part in decided]

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
                told=message.told,
                later=message.later,
            )

        def told(facts: Iterable[Fact]) -> tuple[Fact, ...]:
            return tellable(facts, verified=message.verified, told=message.told)

        full = [text(part, Length.FULL) for part in decided]
        short = [text(part, Length.SHORT) for part in decided]
        parts = tuple(
            replace(
                part,
                text=said,
                hits=tuple(hit for hit in part.hits if told([hit.fact])),
                citations=tuple(cite(fact) for fact in told(part.decision.facts)),
            )
            for part, said in zip(decided, full, strict=True)
        )
        return Reply(
            house=house.slug,
            full=whole_text(house, parts, Length.FULL, full),
            short=whole_text(house, parts, Length.SHORT, short),
            parts=parts,
        )


class _Once:
    """Encodes each text of one message once, whoever asks for it."""

    def __init__(self, encoder: Encoder) -> None:
        self._encoder = encoder
        self._known: dict[str, Encoded] = {}

    def __call__(self, text: str) -> Encoded:
        if text not in self._known:
            (self._known[text],) = self._encoder.encode_words([text])
        return self._known[text]


def _is_talk(piece: str) -> bool:
    """Whether it only greets or thanks."""
    return all(clause.kind is ClauseKind.TALK for clause in clauses(piece))


def _closed(decision: Decision, message: Message) -> Decision:
    """The decision, unless all that answers is a code whose time is over: then it is the host's."""
    if decision.outcome is not Outcome.ANSWER or not message.verified or message.told is None:
        return decision
    told = tellable(decision.facts, verified=True, told=message.told)
    if told or any(fact.id in message.later for fact in decision.facts):
        return decision
    return Decision(
        outcome=Outcome.ESCALATE,
        kind=Kind.REQUEST,
        confidence=decision.confidence,
        reason="Asks for a code or password whose time to be told is over.",
    )


def _unread(whole: Tongue) -> Decision:
    return Decision(
        outcome=Outcome.ESCALATE,
        kind=Kind.REQUEST,
        confidence=whole.sure,
        reason=f"Written in {language_name(whole.code)}, which Askhouse does not read "
        f"(it reads {', '.join(READ)}).",
    )

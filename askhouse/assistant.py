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
from askhouse.decision.merge import held_back, merged
from askhouse.encoder import Encoder
from askhouse.errors import UnknownHouseError
from askhouse.kinds import Kinds, Once
from askhouse.parts.clean import clean
from askhouse.parts.context import reading
from askhouse.parts.cuts import Cuts
from askhouse.parts.join import Group, grouped, joined, neighbours
from askhouse.parts.language import READ, Tongue, language_name, tongue
from askhouse.parts.split import at_most, clauses, is_talk, without_joiner
from askhouse.search.search import HouseSearch
from askhouse.topics import Topics
from askhouse.triage.ear import Ear
from askhouse.triage.guidance import Guidance
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
_WHOLE = 0.9  # a whole message is believed where its parts, each heard by itself, said nothing


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
        self._ear = Ear(guidance, calibration.safety, calibration.lockout, calibration.harmless)
        self._topics = topics
        self._cuts = cuts

    @property
    def houses(self) -> Mapping[str, House]:
        """The houses that can be asked about, by slug."""
        return {slug: search.house for slug, search in self._searches.items()}

    @property
    def calibration(self) -> Calibration:
        """Thresholds and weights of the decision."""
        return self._calibration

    def reply(self, message: Message, house: str) -> Reply:
        """The draft reply to a message.

        Raises:
            MessageError: The message is empty or too long.
            UnknownHouseError: No such house.
        """
        search = self._search(house)
        text = clean(message.text)
        whole = tongue(text)
        encoded = Once(self._encoder, self._kinds)
        before = self._ear.before(encoded, message.thread)
        learned = self._cut(text, encoded)
        pieces = learned or self._joined(text, encoded)
        parts = [
            Part(
                text=piece,
                reading=reading(piece, pieces[:order], message.thread),
                order=order,
                language=whole.code if whole.read else "en",
            )
            for order, piece in enumerate(pieces)
        ]
        decided = [self._decide(search, part, message, whole, before, encoded) for part in parts]
        decided = merged(
            self._heard_as_a_whole(text, decided, encoded),
            names_nothing=lambda part: not self._topics.of(part.text),
            together=None
            if learned
            else lambda part: self._decide(search, part, message, whole, before, encoded),
        )
        return self._compose(search.house, decided, message, whole)

    def _cut(self, text: str, encoded: Once) -> tuple[str, ...]:
        """The parts of a cleaned message where they were learned to begin.

        Empty without learned cuts, and where the message is too long to be read to its end.
        """
        if self._cuts is None or (seen := encoded(text)).words is None:
            return ()
        if not seen.reaches_end(text):
            return ()
        first, *others = self._cuts.pieces(text, seen.words, seen.spans)
        pieces = [first, *map(without_joiner, others)]
        return at_most([piece for piece in pieces if not is_talk(piece)] or [text])

    def _joined(self, text: str, encoded: Once) -> tuple[str, ...]:
        """The parts of a cleaned message, cut at joiners and stops and put together by sense."""
        groups = grouped(clauses(text))
        if len(groups) < 2:
            return (groups[0].text if groups else text,)
        return joined(groups, self._reports(groups, encoded))

    def _reports(self, groups: Sequence[Group], encoded: Once) -> list[bool]:
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
            alone, joint = (encoded.kinds(t)[0] for t in (group.text, both))
            new_matter = group.apart or (place + 1 < len(groups) and groups[place + 1].apart)
            reports.append(
                match(group.text, self._guidance) is not None
                or new_matter
                or any(min(alone[name], joint[name]) >= _REPORT for name in _REPORTS)
            )
        return reports

    def _heard_as_a_whole(
        self, text: str, decided: list[ReplyPart], encoded: Once
    ) -> list[ReplyPart]:
        """Harm that shows only in the whole message is raised on the part that sounds worst."""
        if len(decided) == 1 or any(
            part.decision.alarm and not part.decision.stranger for part in decided
        ):
            return decided
        alarm = self._ear.alarm(encoded, text)
        if alarm is None or alarm.probability < _WHOLE:
            return decided
        worst = max(range(len(decided)), key=lambda i: decided[i].kinds.get(alarm.kind, 0.0))
        decision = decide(decided[worst].part, (), {}, alarm, self._calibration, verified=False)
        decided[worst] = replace(decided[worst], decision=decision, hits=())
        return decided

    def hits(self, message: Message, house: str, most: int = MOST_HITS) -> tuple[Hit, ...]:
        """The facts nearest to a whole message, best first; nothing is decided."""
        search = self._search(house)
        text = reading(clean(message.text), (), message.thread)
        text = _mended(text, search, tongue(text))
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
        self,
        search: HouseSearch,
        part: Part,
        message: Message,
        whole: Tongue,
        before: Alarm | None,
        encoded: Once,
    ) -> ReplyPart:
        written = part.reading
        part = replace(part, reading=_mended(written, search, whole))
        seen = encoded(part.reading)
        kinds, _ = encoded.kinds(part.reading)
        alarm = self._alarm(part, written, before, message, whole, search, encoded)
        if not whole.read and alarm and alarm.kind is Kind.LOCKOUT and alarm.probability < 1:
            alarm = None  # the heads read no word of it; a danger they are believed all the same
        if alarm is None and not whole.read:
            return ReplyPart(part=part, decision=_unread(whole), text="", kinds=kinds)
        named = {t: self._topics.title(t) for t in sorted(self._topics.of(part.reading))}
        hits = () if alarm else search.hits(part.reading, seen, day=message.day, most=MOST_HITS)
        hits = rated(part, hits, kinds, self._calibration, self._topics)
        decision = decide(
            part,
            hits,
            kinds,
            alarm,
            self._calibration,
            verified=message.verified,
            # Once a thread: a guest who is asked twice rings the host. Never in danger.
            may_ask_back=before is None and not any(turn.asked_back for turn in message.thread),
            may_be_chat=whole.surely_read or is_talk(part.text),
            named=named,
        )
        if before is not None and self._ear.unsettled(before, decision) and not named:
            again = self._ear.again(before)
            decision = decide(part, (), kinds, again, self._calibration, verified=False)
            hits = ()
        return ReplyPart(part=part, decision=decision, text="", hits=hits, kinds=kinds)

    def _alarm(
        self,
        part: Part,
        written: str,
        before: Alarm | None,
        message: Message,
        whole: Tongue,
        search: HouseSearch,
        encoded: Once,
    ) -> Alarm | None:
        """What a part raises, by itself or with the thread before it.

        Args:
            part: With its reading mended.
            written: Its reading as the guest wrote it.
            before: What the latest messages raised.
            message: The part's.
            whole: The message's language.
            search: Mends words.
            encoded: Encodes texts.
        """
        if not message.thread:
            return self._ear.alarm(encoded, written, part.reading)
        own = self._ear.alarm(encoded, part.text, _mended(part.text, search, whole))
        if own and own.probability < 1 and before is not None and before.kind is Kind.SAFETY:
            # "No answer from 911" is about the fire, whatever else the heads hear in it; and
            # whoever was told to go outside is outside, and not locked out.
            again = self._ear.carried(before, part.text, names_nothing=False)
            own = again or (own if own.kind is Kind.SAFETY else None)
        if own:
            return own
        if before is not None:
            names_nothing = not self._topics.of(part.text)
            again = self._ear.carried(before, part.text, names_nothing=names_nothing)
            if again is not None:
                return again
        return self._ear.together(encoded, part.text, message.thread)

    def _compose(
        self, house: House, decided: list[ReplyPart], message: Message, whole: Tongue
    ) -> Reply:
        decided = [replace(part, decision=_closed(part.decision, message)) for part in decided]
        decided = held_back(decided)

        def text(part: ReplyPart, length: Length) -> str:
            if (
                part.decision.outcome is Outcome.ESCALATE
                and not whole.read
                and not part.decision.alarm
            ):
                return phrase(
                    "unread_language",
                    "en",
                    language=language_name(whole.code),
                    number=house.emergency_number,
                )
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


def _mended(text: str, search: HouseSearch, whole: Tongue) -> str:
    """The text with misspelled words replaced by the house's, which are English ones."""
    return search.mend(text) if whole.code == "en" else text


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

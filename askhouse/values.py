"""What flows through Askhouse: the values every station takes and gives.

They know nobody: no module of the project is imported here. All are frozen,
so that a station can only add, never change what an earlier one found.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

__all__ = [
    "Alarm",
    "Citation",
    "Decision",
    "Fact",
    "Hazard",
    "Hit",
    "House",
    "Kind",
    "Length",
    "Level",
    "Media",
    "Message",
    "Outcome",
    "Part",
    "Reply",
    "ReplyPart",
    "Season",
    "Section",
    "Source",
    "Turn",
    "Units",
]


class Units(StrEnum):
    """The system of measures in which a house speaks."""

    METRIC = "metric"
    IMPERIAL = "imperial"


class Outcome(StrEnum):
    """What becomes of one part of a guest's message."""

    ANSWER = "answer"
    GAP = "gap"
    ESCALATE = "escalate"
    CHAT = "chat"


class Kind(StrEnum):
    """Why a part goes to the host instead of being answered."""

    SAFETY = "safety"
    LOCKOUT = "lockout"
    DAMAGE = "damage"
    REQUEST = "request"
    COMPLAINT = "complaint"


class Level(StrEnum):
    """How fast an alarm must reach someone, the fastest first."""

    EMERGENCY = "emergency"
    URGENT = "urgent"
    SOON = "soon"

    @property
    def slowness(self) -> int:
        """The place in that order, from 0."""
        return list(Level).index(self)


class Hazard(StrEnum):
    """What may hurt someone, as the guidance file groups it."""

    GAS = "gas"
    CARBON_MONOXIDE = "carbon-monoxide"
    FIRE = "fire"
    ELECTRICITY = "electricity"
    WATER_ON_ELECTRICS = "water-on-electrics"
    MEDICAL = "medical"
    DROWNING = "drowning"
    POISONING = "poisoning"
    CHILD_OR_ANIMAL = "child-or-animal"
    FALLING = "falling"
    INTRUDER = "intruder"
    MISSING_PERSON = "missing-person"
    SCALD = "scald"
    WILDLIFE = "wildlife"
    WEATHER = "weather"
    CUT_OFF = "cut-off"
    UNCLEAR = "unclear"


class Length(StrEnum):
    """How long a reply may be: FULL to paste, SHORT for a text message."""

    FULL = "full"
    SHORT = "short"


@dataclass(frozen=True, slots=True)
class Source:
    """Where something is written: a file as the host knows it, and a line (from 1)."""

    file: str
    line: int

    def __str__(self) -> str:
        return f"{self.file}:{self.line}"


@dataclass(frozen=True, slots=True)
class Media:
    """A link to a picture, film or sound, with a start in seconds (W3C Media Fragments `#t=`)."""

    url: str
    start_s: float | None = None

    def __str__(self) -> str:
        return self.url if self.start_s is None else f"{self.url}#t={self.start_s:g}"


@dataclass(frozen=True, slots=True)
class Season:
    """When a fact holds: either dates of one year, or month and day every year.

    `first` and `last` are both included. A yearly season may run over New Year
    (first 11-01, last 03-31); its dates are kept in the leap year 2000.
    """

    first: dt.date
    last: dt.date
    yearly: bool

    def holds_on(self, day: dt.date) -> bool:
        """Whether the fact holds on that day."""
        if not self.yearly:
            return self.first <= day <= self.last
        place = (day.month, day.day)
        first, last = (self.first.month, self.first.day), (self.last.month, self.last.day)
        if first <= last:
            return first <= place <= last
        return place >= first or place <= last


@dataclass(frozen=True, slots=True)
class Section:
    """One section of a how-to note: a heading (may be empty), text, and steps in order."""

    heading: str
    text: str
    steps: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact:
    """One thing the host knows; a how-to note is a fact with sections.

    Attributes:
        id: Unique within the house.
        topic: The host's own grouping.
        title: A few words; made from the id when the host gave none.
        text: The sentence or sentences a guest may read, values filled in.
        asks: Ways in which guests ask for it.
        sections: Sections of a how-to note, in order; empty for a plain fact.
        cautions: Said whenever the fact is said.
        sensitive: Holds a code or password; only for a verified guest.
        emergency_help: Of help in an emergency (exit, shut-off, meeting point), says the host.
        place: Where in the house it is about.
        verified_on: The day on which the host last made sure.
        season: When it holds; always, when None.
        related: Ids of facts about the same thing.
        media: A picture or film that shows it.
        source: Where it is written.
    """

    id: str
    topic: str
    title: str
    text: str
    asks: tuple[str, ...] = ()
    sections: tuple[Section, ...] = ()
    cautions: tuple[str, ...] = ()
    sensitive: bool = False
    emergency_help: bool = False
    place: str | None = None
    verified_on: dt.date | None = None
    season: Season | None = None
    related: tuple[str, ...] = ()
    media: Media | None = None
    source: Source


@dataclass(frozen=True, slots=True, kw_only=True)
class House:
    """One property and all that its host knows about it.

    Attributes:
        slug: Unique name in lower case, digits and hyphens.
        country: ISO 3166-1 alpha-2 code.
        timezone: IANA name.
        check_in: Earliest arrival, local time.
        check_out: Latest departure, local time.
        emergency_number: What a guest dials in this country.
        call_back: A phone number at which the host takes urgent calls, or None.
        greeting: Opening line of a full reply, or None.
        sign_off: Closing line of a full reply, or None.
        facts: In the order of the files.
    """

    slug: str
    name: str
    kind: str
    country: str
    timezone: str
    units: Units
    check_in: dt.time
    check_out: dt.time
    emergency_number: str
    call_back: str | None = None
    greeting: str | None = None
    sign_off: str | None = None
    facts: tuple[Fact, ...] = ()

    def fact(self, fact_id: str) -> Fact:
        """The fact of that id.

        Raises:
            KeyError: The house holds no such fact.
        """
        for fact in self.facts:
            if fact.id == fact_id:
                return fact
        raise KeyError(fact_id)


@dataclass(frozen=True, slots=True)
class Turn:
    """One earlier message of the thread: the guest's words, and the facts the reply cited."""

    text: str
    facts: tuple[str, ...] = ()
    asked_back: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """What a guest wrote.

    Attributes:
        text: As received.
        verified: The caller says that the sender is a guest of the house inside the stay.
        told: Ids of the sensitive facts that a verified sender may be told; None means all.
        later: The others that they may be told later, by id, with the house's local time from
            which; the reply says so.
        thread: Earlier turns, oldest first.
        day: The local date on which it was written; facts out of season are left out.
    """

    text: str
    verified: bool = False
    told: frozenset[str] | None = None
    later: Mapping[str, dt.datetime] = field(default_factory=dict)
    thread: tuple[Turn, ...] = ()
    day: dt.date | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One question or report of a message, in the guest's order (order counts from 0).

    `reading` is what search and triage read: the guest's words, with the thread
    before it filled in for a follow-up such as "and the password?".
    """

    text: str
    reading: str
    order: int
    language: str = "en"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hit:
    """A fact that may answer a part.

    Attributes:
        similarity: Cosine of part and the fact's nearest view, -1 to 1, larger is closer.
            Never rescaled per message, so that it can say "we do not know this".
        whole: Cosine of part and the fact as a whole, -1 to 1.
        wording: BM25 score over the house's words, 0 or more, without an upper bound.
        covered: Share of the part's topical words that the fact holds, weighed by
            rarity, 0 to 1.
        fused: The score that orders the hits; larger is better.
        rank: Place among the hits of this part; the best is 1.
        answers: The reader's estimate that the fact answers the part, 0 to 1;
            None where it was not asked.
        chance: The calibrated probability that the fact answers the part, 0 to 1;
            None before the decision.
    """

    fact: Fact
    similarity: float
    whole: float
    wording: float
    covered: float
    fused: float
    rank: int
    answers: float | None = None
    chance: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Alarm:
    """Triage found harm or a lockout.

    Attributes:
        kind: SAFETY or LOCKOUT.
        hazard: What may hurt; UNCLEAR where only the learned head noticed; None for a lockout.
        level: How fast.
        signal: What in the message raised it, for the host.
        probability: How sure, 0 to 1; 1 for a rule of the guidance file.
    """

    kind: Kind
    hazard: Hazard | None
    level: Level
    signal: str
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Decision:
    """What becomes of a part, how sure, and why.

    Attributes:
        kind: Set when and only when the outcome is ESCALATE.
        confidence: The probability that this outcome is right, 0 to 1.
        reason: One sentence that a host can read. Holds no secret.
        facts: The facts that answer, best first; empty unless the outcome is ANSWER
            (or an ask-back names the facts it asks between).
        alarm: Set for a safety or lockout escalation.
        topic: The trade topic that a gap is about, where one is known.
        ask_back: The facts between which the reply asks; a gap with a question.
        stranger: It went to the host since it asks for a code, and its sender may have none.
    """

    outcome: Outcome
    kind: Kind | None = None
    confidence: float
    reason: str
    facts: tuple[Fact, ...] = ()
    alarm: Alarm | None = None
    topic: str | None = None
    ask_back: tuple[Fact, ...] = ()
    stranger: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Citation:
    """A fact behind an answer: id, title, where it is written, when last verified."""

    fact_id: str
    title: str
    source: Source
    verified_on: dt.date | None
    content_hash: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplyPart:
    """One part: what was decided and is said, on what it rests, and its chances by kind."""

    part: Part
    decision: Decision
    text: str
    citations: tuple[Citation, ...] = ()
    hits: tuple[Hit, ...] = ()
    kinds: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """The draft for a whole message: its text in both lengths, and its parts."""

    house: str
    full: str
    short: str
    parts: tuple[ReplyPart, ...]

    def text(self, length: Length) -> str:
        """The reply in that length."""
        return self.full if length is Length.FULL else self.short

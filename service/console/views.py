"""The rows and cards of which pages are made: plain values, every word ready to be shown."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from service.console.words import Sure, When
from service.gaps.preview import Effects

__all__ = [
    "AlertView",
    "Asked",
    "ChangeRow",
    "Choice",
    "CorrectionView",
    "DraftView",
    "Entry",
    "FactForm",
    "FactRef",
    "FactRow",
    "GapForm",
    "GapRow",
    "HouseRow",
    "Line",
    "NearFact",
    "NewFact",
    "PartView",
    "PersonRow",
    "Plot",
    "Preview",
    "ProblemRow",
    "SendTo",
    "Shown",
    "StayForm",
    "StayGroup",
    "StayRow",
    "StayView",
    "Tally",
    "ThreadHead",
    "ThreadRow",
    "TokenRow",
    "TopicGroup",
]


@dataclass(frozen=True, slots=True)
class Choice:
    """One choice of a list: its value, and its words."""

    value: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FactRef:
    """A fact that is cited.

    Attributes:
        mark: Its number in the draft, from 1; 0 where it has none.
        told_is_current: False where the fact has been changed since.
    """

    id: str
    title: str
    href: str
    mark: int = 0
    written: str = ""
    verified: When | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """One sentence of a reply; `mark` is the number of its fact, 0 for words of ours."""

    text: str
    mark: int


@dataclass(frozen=True, slots=True, kw_only=True)
class NearFact:
    """A fact that came near, and why it did not do."""

    id: str
    title: str
    href: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PartView:
    """One part of a message: what the guest asks, and what became of it."""

    id: int
    asks: str
    outcome: str
    label: str
    kind: str
    level: str
    sure: Sure
    reason: str
    lines: tuple[Line, ...]
    facts: tuple[FactRef, ...]
    near: tuple[NearFact, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DraftView:
    """A draft in both lengths, and the parts it is made of."""

    house: str
    house_name: str
    full: str
    short: str
    full_segments: int
    short_segments: int
    parts: tuple[PartView, ...]
    answered: int
    urgent: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SendTo:
    """The thread that a draft can be sent to; `key` keeps it from being sent twice."""

    thread_id: int
    who: str
    key: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertView:
    """Something that needs the host.

    Attributes:
        words: The guest's own, or what else it is about.
        taken_by: Name of the one who has it; empty while it waits.
        mine: Whether that is the one who looks.
        can_write: Whether an answer can be sent to the guest.
    """

    id: int
    house: str
    kind: str
    level: str
    level_words: str
    state: str
    state_words: str
    words: str
    summary: str
    at: When
    taken_by: str
    mine: bool
    thread_id: int | None
    can_write: bool
    key: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ThreadRow:
    """One thread in the list."""

    id: int
    who: str
    house: str
    line: str
    words: str
    at: When
    state: str
    state_words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ThreadHead:
    """What stands above a thread.

    Attributes:
        closed: Why nothing can be written to the guest; empty where it can.
    """

    id: int
    who: str
    number: str
    house: str
    house_slug: str
    line: str
    stay_id: int | None
    stay_words: str
    closed: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One message of a thread, from the guest or to them."""

    guest: bool
    who: str
    text: str
    at: When
    state: str
    state_words: str
    problem: str
    parts: tuple[PartView, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StayRow:
    """One stay in a list."""

    id: int
    house: str
    guests: str
    arrival: When
    departure: When
    phones: int
    source: str
    cancelled: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StayGroup:
    """The stays of now, of the time to come, or of before."""

    title: str
    stays: tuple[StayRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StayForm:
    """A stay as it was typed, so that nothing is lost when something is wrong with it."""

    house: str = ""
    arrival: str = ""
    departure: str = ""
    guests: str = ""
    phones: str = ""
    door_code: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class StayView:
    """One stay, with all but its door code."""

    id: int
    house: str
    guests: str
    arrival: When
    departure: When
    source: str
    phones: str
    has_code: bool
    cancelled: bool
    threads: tuple[Choice, ...]


@dataclass(frozen=True, slots=True)
class Tally:
    """One number that is written large, and what it counts."""

    number: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """A plot, and the table with the same numbers.

    Attributes:
        legend: The number of each colour, and what it stands for.
    """

    id: str
    title: str
    svg: Markup
    legend: tuple[Choice, ...]
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonRow:
    """Someone of the host's side."""

    id: int
    name: str
    email: str
    number: str
    role: str
    houses: tuple[str, ...]
    house_names: str
    state: str
    me: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class TokenRow:
    """A program's token, without the token."""

    id: int
    name: str
    scopes: str
    houses: str
    made: When
    revoked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """What is shown this once: a link or a token, and for whom."""

    words: str
    value: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HouseRow:
    """A house in the list of houses."""

    slug: str
    name: str
    kind: str
    facts: int
    unchecked: int
    gaps: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FactRow:
    """A fact or note in the list; the secret of a sensitive one is blotted out."""

    id: str
    title: str
    text: str
    href: str
    sensitive: bool
    note: bool
    verified: When | None
    told: int


@dataclass(frozen=True, slots=True, kw_only=True)
class TopicGroup:
    """The facts of one topic."""

    name: str
    facts: tuple[FactRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FactForm:
    """A fact as it is typed; `hash` is of the lines that the person saw."""

    id: str
    title: str
    text: str
    asks: str
    cautions: str
    written: str
    hash: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ProblemRow:
    """One thing to mend in a house's file."""

    words: str
    mend: str
    warning: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """What a guest would be told.

    Attributes:
        said: Empty where the house could not be used.
        refused: Why it cannot be written, where the problems do not say it.
        effects: What it would do to what guests asked before; None where that was not looked at.
    """

    said: str
    segments: int
    problems: tuple[ProblemRow, ...] = ()
    refused: str = ""
    effects: Effects | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeRow:
    """One change of a fact: its own lines before and after."""

    id: int
    fact: str
    href: str
    who: str
    at: When
    before: str
    after: str
    undoes: bool
    undone: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class GapRow:
    """One gap in the list."""

    id: int
    name: str
    topic: str
    house: str
    questions: int
    guests: int
    first: When
    last: When
    here_now: bool
    samples: tuple[str, ...]
    fact: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One question of a gap, and what would be said to it today; empty where it was not asked."""

    id: int
    text: str
    at: When
    outcome: str
    label: str
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GapForm:
    """An answer as it is typed; `asks` are the questions that become ways of asking it."""

    title: str
    text: str
    asks: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionView:
    """A guest who was told words that have changed since.

    Attributes:
        href: Empty where the fact is no longer there.
        said: What they were told, without any secret.
        draft: The correction to look over; it holds no code.
        closed: Why nothing can be sent; empty where it can.
    """

    part_id: int
    fact: str
    title: str
    href: str
    house: str
    who: str
    arrival: When
    departure: When
    at: When
    said: str
    draft: str
    thread_id: int
    closed: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NewFact:
    """A fact that is not there yet, as it is typed."""

    title: str = ""
    topic: str = ""
    text: str = ""
    asks: str = ""
    sensitive: bool = False

"""The rows and cards of which pages are made: plain values, every word ready to be shown."""

from __future__ import annotations

from dataclasses import dataclass

from service.console.words import Sure, When

__all__ = [
    "AlertView",
    "Choice",
    "DraftView",
    "Entry",
    "FactRef",
    "Line",
    "NearFact",
    "PartView",
    "SendTo",
    "StayForm",
    "StayGroup",
    "StayRow",
    "StayView",
    "ThreadHead",
    "ThreadRow",
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
    stay: str
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
    """One stay, with all but its door code.

    Attributes:
        by_hand: Someone entered it, so that its days can be changed here.
    """

    id: int
    house: str
    guests: str
    arrival: When
    departure: When
    source: str
    numbers: tuple[str, ...]
    by_hand: bool
    has_code: bool
    cancelled: bool
    threads: tuple[Choice, ...]

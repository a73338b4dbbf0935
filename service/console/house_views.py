"""Rows and cards of the pages about the house: its facts, gaps, numbers and people."""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup

from service.console.views import Choice
from service.console.words import When
from service.gaps.preview import Effects

__all__ = [
    "Asked",
    "ChangeRow",
    "CorrectionView",
    "FactForm",
    "FactRow",
    "GapAt",
    "GapForm",
    "GapRow",
    "HouseRow",
    "NewFact",
    "PersonRow",
    "Plot",
    "Preview",
    "ProblemRow",
    "Shown",
    "Tally",
    "TokenRow",
    "TopicGroup",
]


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
class GapAt:
    """A gap as it stands at one house.

    Attributes:
        fact: The fact that closed it; empty while it is open.
    """

    id: int
    house: str
    fact: str


@dataclass(frozen=True, slots=True, kw_only=True)
class GapRow:
    """One meaning in the list of gaps, over all houses that the person sees.

    Attributes:
        topic: Its topic of the trade catalogue; empty where that is its name already.
        urgent: Who waits for the answer, in words; empty where nobody in particular does.
        at: The gap of each house.
    """

    name: str
    topic: str
    questions: int
    guests: int
    first: When
    last: When
    urgency: str
    urgent: str
    samples: tuple[str, ...]
    at: tuple[GapAt, ...]


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
    asks: tuple[int, ...]
    topic: str = ""
    text: str = ""
    cautions: str = ""
    sensitive: bool = False


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
    """A fact that is not there yet, as it is typed; or a how-to note."""

    note: bool = False
    title: str = ""
    topic: str = ""
    text: str = ""
    asks: str = ""
    cautions: str = ""
    sensitive: bool = False

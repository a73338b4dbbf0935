"""What each page is given: a frozen dataclass per template, each field with its help.

A test renders every page and compares the fields with the names that its template asks for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, ClassVar

from service.console.house_views import (
    Asked,
    ChangeRow,
    CorrectionView,
    FactForm,
    GapForm,
    GapRow,
    HouseRow,
    NewFact,
    PersonRow,
    Plot,
    Preview,
    Shown,
    Tally,
    TokenRow,
    TopicGroup,
)
from service.console.views import (
    AlertView,
    Choice,
    DraftView,
    Entry,
    NearFact,
    SendTo,
    StayForm,
    StayGroup,
    StayView,
    ThreadHead,
    ThreadRow,
)
from service.console.words import When

__all__ = [
    "AlertsPage",
    "ChangesPage",
    "CorrectionsPage",
    "ErrorPage",
    "FactCheck",
    "FactPage",
    "Frame",
    "GapPage",
    "GapsPage",
    "HousePage",
    "HousesPage",
    "MessagesPage",
    "MorePage",
    "NewFactPage",
    "NumbersPage",
    "PastePage",
    "PeoplePage",
    "SetPasswordPage",
    "SignInPage",
    "StayPage",
    "StaysPage",
    "TakePage",
    "ThreadPage",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """What stands around every page of someone who is signed in."""

    title: Annotated[str, "The page's name: its first heading, and the browser's tab."]
    here: Annotated[str, "Which entry of the navigation is this page."]
    person: Annotated[str, "Name of the one who is signed in."]
    owner: Annotated[bool, "Whether they may see the owner's pages."]
    token: Annotated[str, "The token that every form carries."]
    alerts: Annotated[int, "How many alerts wait for someone."]
    told: Annotated[str, "A line on what was just done; empty for none."]
    version: Annotated[str, "Of the style sheet and the script, so that a browser takes new ones."]


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorPage:
    """Something went wrong."""

    template: ClassVar[str] = "error.html"

    title: Annotated[str, "What went wrong in a few words."]
    words: Annotated[str, "What to do about it."]
    version: Annotated[str, "As in the frame."]
    signed_in: Annotated[bool, "Whether there is a session to go back to."]


@dataclass(frozen=True, slots=True, kw_only=True)
class SignInPage:
    """Where a person of the host's side comes in."""

    template: ClassVar[str] = "sign_in.html"

    version: Annotated[str, "As in the frame."]
    form: Annotated[str, "The form's token."]
    email: Annotated[str, "What was typed before."]
    next: Annotated[str, "The path to go to afterwards; empty for the first page."]
    problem: Annotated[str, "Why it was refused; empty for a first try."]
    told: Annotated[str, "A line on what was just done; empty for none."]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetPasswordPage:
    """Where a one-time link leads: name, address and password."""

    template: ClassVar[str] = "set_password.html"

    version: Annotated[str, "As in the frame."]
    name: Annotated[str, "The person's name so far."]
    email: Annotated[str, "The address to sign in with, so far."]
    fewest: Annotated[int, "The fewest characters of a password."]
    problem: Annotated[str, "What is wrong with what was typed; empty for a first try."]


@dataclass(frozen=True, slots=True, kw_only=True)
class PastePage:
    """A guest's message is pasted, and its draft is shown."""

    template: ClassVar[str] = "paste.html"

    frame: Annotated[Frame, "What stands around the page."]
    houses: Annotated[tuple[Choice, ...], "Houses to choose from."]
    stays: Annotated[tuple[Choice, ...], "Stays of now and of the next days."]
    chosen: Annotated[str, "The choice: house:SLUG or stay:ID."]
    text: Annotated[str, "The message as it was pasted."]
    verified: Annotated[bool, "Whether the host vouches for the writer."]
    opening: Annotated[bool, "Whether the houses are still being opened."]
    problem: Annotated[str, "Why there is no draft; empty for none."]
    draft: Annotated[DraftView | None, "The draft; None before a message is pasted."]
    titles: Annotated[tuple[str, ...], "Titles of the house's facts, to name the right one by."]
    missing: Annotated[
        str, "Why the stay's own door code is not in the draft; empty for no reason."
    ]
    send: Annotated[SendTo | None, "The thread to which the draft can be sent; None for none."]


@dataclass(frozen=True, slots=True, kw_only=True)
class MorePage:
    """The pages that a phone's bar has no room for."""

    template: ClassVar[str] = "more.html"

    frame: Annotated[Frame, "What stands around the page."]


@dataclass(frozen=True, slots=True, kw_only=True)
class AlertsPage:
    """What needs the host now, the most urgent and the oldest first."""

    template: ClassVar[str] = "alerts.html"

    frame: Annotated[Frame, "What stands around the page."]
    waiting: Annotated[tuple[AlertView, ...], "Open and taken alerts, in the order to do them."]
    keep: Annotated[str, "Where the answer just sent can be kept as a fact; empty for none."]
    done: Annotated[tuple[AlertView, ...], "The last ones that were answered or closed."]


@dataclass(frozen=True, slots=True, kw_only=True)
class TakePage:
    """Where the link in an alert leads; it works without sign-in, so it shows no guest's words."""

    template: ClassVar[str] = "take.html"

    version: Annotated[str, "As in the frame."]
    house: Annotated[str, "Name of the house; empty where none is known."]
    kind: Annotated[str, "What it is about, in our words."]
    level: Annotated[str, "How urgent."]
    level_words: Annotated[str, "The same in words."]
    at: Annotated[When, "Since when it waits."]
    state: Annotated[str, "open, yours, or gone: taken by someone or done."]


@dataclass(frozen=True, slots=True, kw_only=True)
class MessagesPage:
    """Threads, the newest first."""

    template: ClassVar[str] = "messages.html"

    frame: Annotated[Frame, "What stands around the page."]
    houses: Annotated[tuple[Choice, ...], "Houses to choose from."]
    house: Annotated[str, "The chosen one; empty for all."]
    states: Annotated[tuple[Choice, ...], "States to choose from."]
    state: Annotated[str, "The chosen one; empty for all."]
    search: Annotated[str, "Words or a number that were searched for."]
    threads: Annotated[tuple[ThreadRow, ...], "This part of the list."]
    page: Annotated[int, "Which part it is, from 1."]
    pages: Annotated[int, "How many there are."]
    query: Annotated[str, "The rest of the address for the other parts."]


@dataclass(frozen=True, slots=True, kw_only=True)
class ThreadPage:
    """One thread: what the guest wrote, what was sent, and from which facts."""

    template: ClassVar[str] = "thread.html"

    frame: Annotated[Frame, "What stands around the page."]
    thread: Annotated[ThreadHead, "Who writes, and about which stay."]
    entries: Annotated[tuple[Entry, ...], "The oldest first."]
    alerts: Annotated[tuple[AlertView, ...], "Alerts of this thread that are not done."]
    key: Annotated[str, "Keeps a message from being sent twice."]


@dataclass(frozen=True, slots=True, kw_only=True)
class StaysPage:
    """Who stays where, and when; and a form to add a stay."""

    template: ClassVar[str] = "stays.html"

    frame: Annotated[Frame, "What stands around the page."]
    houses: Annotated[tuple[Choice, ...], "Houses to choose from."]
    house: Annotated[str, "The chosen one; empty for all."]
    groups: Annotated[tuple[StayGroup, ...], "Now, to come, and before."]
    opening: Annotated[bool, "Whether the houses are still being opened."]
    typed: Annotated[StayForm, "What was typed into the form."]
    problems: Annotated[tuple[str, ...], "What is wrong with it."]


@dataclass(frozen=True, slots=True, kw_only=True)
class StayPage:
    """One stay: changed here, its door code shown on asking, its threads."""

    template: ClassVar[str] = "stay.html"

    frame: Annotated[Frame, "What stands around the page."]
    stay: Annotated[StayView, "The stay."]
    code: Annotated[str, "The door code, where it was asked for; else empty."]
    typed: Annotated[StayForm, "The stay as it stands in the form, but for its door code."]
    problems: Annotated[tuple[str, ...], "What is wrong with what was typed."]


@dataclass(frozen=True, slots=True, kw_only=True)
class NumbersPage:
    """How it goes: a few numbers, plots, and the tables behind them."""

    template: ClassVar[str] = "numbers.html"

    frame: Annotated[Frame, "What stands around the page."]
    houses: Annotated[tuple[Choice, ...], "Houses to choose from."]
    house: Annotated[str, "The chosen one; empty for all."]
    weeks: Annotated[int, "How many weeks are counted."]
    tallies: Annotated[tuple[Tally, ...], "The numbers that are written large."]
    plots: Annotated[tuple[Plot, ...], "Plots with their tables; none where nothing was counted."]


@dataclass(frozen=True, slots=True, kw_only=True)
class PeoplePage:
    """Who may come in: people with their roles and houses, and the tokens of programs."""

    template: ClassVar[str] = "people.html"

    frame: Annotated[Frame, "What stands around the page."]
    people: Annotated[tuple[PersonRow, ...], "Everyone who has not left."]
    tokens: Annotated[tuple[TokenRow, ...], "Tokens of programs, the newest first."]
    houses: Annotated[tuple[Choice, ...], "Houses to choose from."]
    scopes: Annotated[tuple[Choice, ...], "What a token can be good for."]
    shown: Annotated[Shown | None, "A link or a token that was just made."]
    problem: Annotated[str, "What is wrong with what was typed; empty for nothing."]


@dataclass(frozen=True, slots=True, kw_only=True)
class HousesPage:
    """The houses to choose from."""

    template: ClassVar[str] = "houses.html"

    frame: Annotated[Frame, "What stands around the page."]
    houses: Annotated[tuple[HouseRow, ...], "The houses that this person may see."]
    opening: Annotated[bool, "Whether the houses are still being opened."]


@dataclass(frozen=True, slots=True, kw_only=True)
class HousePage:
    """What guests of one house are told: facts and notes by topic."""

    template: ClassVar[str] = "house.html"

    frame: Annotated[Frame, "What stands around the page."]
    slug: Annotated[str, "The house."]
    several: Annotated[bool, "Whether there are other houses to go to."]
    search: Annotated[str, "Words that were searched for."]
    total: Annotated[int, "How many facts and notes the house has."]
    topics: Annotated[tuple[TopicGroup, ...], "What was found, by topic."]


@dataclass(frozen=True, slots=True, kw_only=True)
class FactPage:
    """One fact: its form, what a guest would be told, and its history."""

    template: ClassVar[str] = "fact.html"

    frame: Annotated[Frame, "What stands around the page."]
    slug: Annotated[str, "The house."]
    name: Annotated[str, "The house's name."]
    fact: Annotated[FactForm, "The fact as it stands, or as it was typed."]
    sensitive: Annotated[bool, "Whether it holds a code or password."]
    note: Annotated[bool, "Whether it is a how-to note."]
    verified: Annotated[When | None, "When someone last made sure of it."]
    times: Annotated[int, "How often it was told."]
    theirs: Annotated[str, "The words that someone else wrote meanwhile; empty without conflict."]
    preview: Annotated[Preview, "What a guest would be told, and what is wrong."]
    changes: Annotated[tuple[ChangeRow, ...], "Its changes, the newest first."]


@dataclass(frozen=True, slots=True, kw_only=True)
class FactCheck:
    """The preview alone, for the script that asks as one types."""

    template: ClassVar[str] = "_preview.html"

    preview: Annotated[Preview, "What a guest would be told, and what is wrong."]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangesPage:
    """The last changes of a house's files."""

    template: ClassVar[str] = "changes.html"

    frame: Annotated[Frame, "What stands around the page."]
    slug: Annotated[str, "The house."]
    name: Annotated[str, "The house's name."]
    changes: Annotated[tuple[ChangeRow, ...], "The newest first."]


@dataclass(frozen=True, slots=True, kw_only=True)
class GapsPage:
    """What guests ask and nobody has written, grouped by meaning."""

    template: ClassVar[str] = "gaps.html"

    frame: Annotated[Frame, "What stands around the page."]
    houses: Annotated[tuple[Choice, ...], "Houses to choose from."]
    house: Annotated[str, "The chosen one; empty for all."]
    states: Annotated[tuple[Choice, ...], "States to choose from."]
    state: Annotated[str, "The chosen one."]
    gaps: Annotated[tuple[GapRow, ...], "This part of the list, the most urgent first."]
    page: Annotated[int, "Which part it is, from 1."]
    pages: Annotated[int, "How many there are."]
    query: Annotated[str, "The rest of the address for the other parts."]


@dataclass(frozen=True, slots=True, kw_only=True)
class GapPage:
    """One gap: its questions, the facts that came near, and a form that writes the fact."""

    template: ClassVar[str] = "gap.html"

    frame: Annotated[Frame, "What stands around the page."]
    id: Annotated[int, "The gap."]
    house: Annotated[str, "The house's name."]
    slug: Annotated[str, "The house."]
    topic: Annotated[str, "Its topic of the trade catalogue; empty where none is known."]
    state: Annotated[str, "open, written or dismissed."]
    state_words: Annotated[str, "The same in words."]
    fact: Annotated[str, "The fact that closed it; empty while it is open."]
    fresh: Annotated[bool, "Whether the house is open with that fact already."]
    asked: Annotated[tuple[Asked, ...], "The questions in the guests' words, the newest first."]
    again: Annotated[bool, "Whether the questions were asked again for this page."]
    near: Annotated[tuple[NearFact, ...], "Facts that came near, and why they did not do."]
    others: Annotated[tuple[Choice, ...], "Other gaps of the house, to put it together with."]
    elsewhere: Annotated[tuple[Choice, ...], "The same at other houses of the person's."]
    topics: Annotated[tuple[str, ...], "Topics that the house has already, in words."]
    form: Annotated[GapForm, "The answer as it was typed."]
    preview: Annotated[Preview | None, "What a guest would be told; None before it was checked."]
    problem: Annotated[str, "Why it cannot be saved; empty for nothing."]
    opening: Annotated[bool, "Whether the houses are still being opened."]


@dataclass(frozen=True, slots=True, kw_only=True)
class CorrectionsPage:
    """Guests of present and coming stays who were told words that have changed since."""

    template: ClassVar[str] = "corrections.html"

    frame: Annotated[Frame, "What stands around the page."]
    houses: Annotated[tuple[Choice, ...], "Houses to choose from."]
    house: Annotated[str, "The chosen one; empty for all."]
    corrections: Annotated[tuple[CorrectionView, ...], "One for each guest and fact."]
    left: Annotated[int, "How many more there are."]
    opening: Annotated[bool, "Whether the houses are still being opened."]


@dataclass(frozen=True, slots=True, kw_only=True)
class NewFactPage:
    """A form for a fact or a how-to note that is not there yet."""

    template: ClassVar[str] = "new_fact.html"

    frame: Annotated[Frame, "What stands around the page."]
    slug: Annotated[str, "The house."]
    name: Annotated[str, "The house's name."]
    topics: Annotated[tuple[str, ...], "Topics that the house has already, in words."]
    closed: Annotated[bool, "Whether the house has no place for notes, which are files."]
    typed: Annotated[NewFact, "What was typed."]
    preview: Annotated[Preview | None, "What a guest would be told; None before it was checked."]
    problem: Annotated[str, "Why it cannot be saved; empty for nothing."]

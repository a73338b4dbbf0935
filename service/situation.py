"""What is known when a stored message is taken up: who wrote it, when, and what was said before.

Read in one transaction, so that the assistant can work on it without one.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import NamedTuple, Protocol
from zoneinfo import ZoneInfo

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import Session, selectinload

from askhouse.values import House, Message, Reply, Turn
from askhouse.words import words
from service.lines.arrived import WITHHELD
from service.lines.settings import LineSettings
from service.phrases import phrases
from service.stays.areas import area_named
from service.stays.release import later_facts
from service.stays.settings import StayRules, rules_of
from service.stays.who import Who, who_is
from service.tables import Escalation, Inbound, OptOut, PartRow, Thread

__all__ = ["Answers", "Pace", "Place", "Seen", "look", "opted_out"]

_CONVERSATION = dt.timedelta(days=1)  # earlier turns are another conversation
_TURNS = 10
_NAMED_FOR = dt.timedelta(days=30)  # how long the area that a sender named is remembered
_AN_AREA = 6  # words; a longer message says more than where the house is
_MINUTE, _HOUR = dt.timedelta(minutes=1), dt.timedelta(hours=1)
_CONFIRMATIONS = 4  # of STOP and START in an hour; two telephones that answer each other go on


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How much is answered in a minute; danger is answered always.

    What is not answered is still read, since danger has words that no list knows. That costs
    processor time, some 15 ms a short message, so that it ends where no hand types any more: from
    there on the word list alone reads, and the host is woken to look at the rest.

    Attributes:
        replies: Replies to one sender.
        read: Messages of one sender that are read.
        characters: Characters of one sender that are read.
        strangers: Replies to all senders of a house who are not its verified guests.
    """

    replies: int = 8
    read: int = 300
    characters: int = 20_000
    strangers: int = 60


class Answers(Protocol):
    """Who answers messages: the assistant."""

    @property
    def houses(self) -> Mapping[str, House]:
        """The houses that can be asked about, by slug."""

    def reply(self, message: Message, house: str) -> Reply:
        """The draft reply to a message."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where messages belong and who answers them.

    Attributes:
        lines: By name.
        rules: Rules for stays, by slug; a house without has the defaults.
        assistant: Gives the assistant of the houses as they are written now.
    """

    lines: Mapping[str, LineSettings]
    rules: Mapping[str, StayRules]
    assistant: Callable[[], Answers]

    @property
    def houses(self) -> Mapping[str, House]:
        """The houses that can be asked about, by slug."""
        return self.assistant().houses


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A message as it is taken up.

    Attributes:
        question: What is to be answered: the text, or the earlier question where the text only
            names the house it was about.
        who: Who wrote it.
        house: The house it is about, if that is settled.
        served: Houses of its line.
        named: The house whose area this very message names.
        later: Sensitive facts that may be told from a local time on, by id.
        turns: Earlier messages of the conversation, oldest first.
        confirmed: STOP and START were confirmed so often that they are obeyed in silence now.
        flood: More came from the sender, or from strangers of the house, than is answered.
        unread: So many came that the word list alone reads this one.
        flood_told: How urgently the host was told of the flood already: levels.
    """

    message_id: int
    thread_id: int
    line: str
    sender: str
    text: str
    question: str
    urgent: bool
    language: str
    who: Who
    house: House | None
    served: tuple[House, ...]
    named: str | None
    later: Mapping[str, dt.datetime]
    turns: tuple[Turn, ...]
    opted_out: bool
    day: dt.date | None
    confirmed: bool
    flood: bool
    unread: bool
    flood_told: frozenset[str]


def look(session: Session, message_id: int, place: Place, pace: Pace, now: dt.datetime) -> Seen:
    """All that is needed to answer a message.

    Raises:
        KeyError: Its line is not in the settings any more.
    """
    message = session.get_one(Inbound, message_id)
    thread = session.get_one(Thread, message.thread_id)
    line, houses = place.lines[message.line], place.houses
    known = thread.named if thread.named_at and now - thread.named_at <= _NAMED_FOR else None
    who = who_is(session, line, thread.sender, houses, now, place.rules, known)
    named, question = None, message.text
    if who.ask_area:
        named = area_named(message.text, line.houses, place.rules)
        if named is not None:
            who = who_is(session, line, thread.sender, houses, now, place.rules, named)
            question = _with_open_question(session, message, now)
    house = houses.get(who.house) if who.house else None
    sent = _last_minute(session, Inbound.thread_id == thread.id, now)
    strangers = 0
    if house is not None and not who.verified:
        theirs = (Inbound.house == house.slug) & Inbound.verified.is_(False)
        strangers = _last_minute(session, theirs, now).replies
    return Seen(
        message_id=message.id,
        thread_id=thread.id,
        line=message.line,
        sender=thread.sender,
        text=message.text,
        question=question,
        urgent=message.urgent,
        language=thread.language,
        who=who,
        house=house,
        served=tuple(houses[slug] for slug in line.houses if slug in houses),
        named=named,
        later=_later(who, house, place.rules, now),
        turns=_turns(session, message, house, now),
        opted_out=opted_out(session, thread.line, thread.sender),
        day=_day(message, house),
        confirmed=_confirmed(session, thread, now),
        flood=sent.replies >= pace.replies or strangers >= pace.strangers,
        unread=sent.messages >= pace.read or sent.characters >= pace.characters,
        flood_told=_flood_told(session, thread, now),
    )


def opted_out(session: Session, line: str, number: str) -> bool:
    """Whether a number asked for no more messages on a line."""
    return session.get(OptOut, (line, number)) is not None


def _confirmed(session: Session, thread: Thread, now: dt.datetime) -> bool:
    """Whether STOP and START had as many confirmations in the last hour as they get."""
    said = [text for name in ("stopped", "started") for text in phrases()[name].values()]
    told = session.scalar(
        select(func.count(Inbound.id)).where(
            Inbound.thread_id == thread.id,
            Inbound.draft.in_(said),
            Inbound.answered_at > now - _HOUR,
        )
    )
    return (told or 0) >= _CONFIRMATIONS


class _Minute(NamedTuple):
    """What came of messages that were worked on in the last minute."""

    replies: int
    messages: int
    characters: int


def _last_minute(session: Session, which: ColumnElement[bool], now: dt.datetime) -> _Minute:
    row = session.execute(
        select(
            func.count(Inbound.draft),
            func.count(Inbound.id),
            func.coalesce(func.sum(func.length(Inbound.text)), 0),
        ).where(which, Inbound.answered_at > now - _MINUTE)
    ).one()
    return _Minute(*row)


def _with_open_question(session: Session, message: Inbound, now: dt.datetime) -> str:
    """The question that the sender asked before naming the house, if there is one."""
    before = session.scalars(
        select(Inbound)
        .where(
            Inbound.thread_id == message.thread_id,
            Inbound.id < message.id,
            Inbound.house.is_(None),
            Inbound.received_at > now - _CONVERSATION,
        )
        .order_by(Inbound.id.desc())
        .limit(1)
    ).first()
    if before is None:
        return message.text
    if len(words(message.text)) <= _AN_AREA:
        return before.text
    return f"{before.text}\n{message.text}"


def _later(
    who: Who, house: House | None, rules: Mapping[str, StayRules], now: dt.datetime
) -> Mapping[str, dt.datetime]:
    if who.stay is None or who.release is None or house is None:
        return {}
    opening = later_facts(who.stay, house, rules_of(house.slug, rules), now)
    return {fact_id: window.local_start(house) for fact_id, window in opening.items()}


def _turns(
    session: Session, message: Inbound, house: House | None, now: dt.datetime
) -> tuple[Turn, ...]:
    # Who withholds a number shares the thread with all who do: what one said is no other's.
    if house is None or session.get_one(Thread, message.thread_id).sender == WITHHELD:
        return ()
    before = session.scalars(
        select(Inbound)
        .where(
            Inbound.thread_id == message.thread_id,
            Inbound.id < message.id,
            Inbound.house == house.slug,
            Inbound.received_at > now - _CONVERSATION,
            Inbound.parts.any(),
        )
        .order_by(Inbound.id.desc())
        .limit(_TURNS)
        .options(selectinload(Inbound.parts).selectinload(PartRow.citations))
    ).all()
    return tuple(
        Turn(
            text=turn.text,
            facts=tuple(citation.fact for part in turn.parts for citation in part.citations),
            asked_back=any(part.asked_back for part in turn.parts),
        )
        for turn in reversed(before)
    )


def _day(message: Inbound, house: House | None) -> dt.date | None:
    if house is None:
        return None
    return message.received_at.astimezone(ZoneInfo(house.timezone)).date()


def _flood_told(session: Session, thread: Thread, now: dt.datetime) -> frozenset[str]:
    told = select(Escalation.level).where(
        Escalation.thread_id == thread.id,
        Escalation.kind == "flood",
        Escalation.created_at > now - _HOUR,
    )
    return frozenset(session.scalars(told))

"""What the service remembers: one class a table, and nothing but columns.

Times are UTC and aware; phone numbers are E.164; a house is named by its slug. Texts of guests
and hosts stand only in `messages`, `parts`, `deliveries` and `escalations`, so that erasing a
guest is a matter of these.
"""

from __future__ import annotations

import datetime as dt
from enum import StrEnum
from typing import Any, ClassVar

from sqlalchemy import (
    JSON,
    DateTime,
    Dialect,
    ForeignKey,
    Index,
    LargeBinary,
    String,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship


class Utc(TypeDecorator[dt.datetime]):
    """An aware time, kept in UTC; SQLite knows no zones, so they are put back on reading."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time without a zone cannot be stored")
        return value.astimezone(dt.UTC)

    def process_result_value(
        self, value: dt.datetime | None, dialect: Dialect
    ) -> dt.datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=dt.UTC) if value.tzinfo is None else value.astimezone(dt.UTC)


# SQLite would give the id of an erased row to the next one. These ids stand in idempotency keys
# and links, which must never mean another row.
_NEVER_AGAIN = {"sqlite_autoincrement": True}


class Table(DeclarativeBase):
    """The base of every table."""

    type_annotation_map: ClassVar[dict[Any, Any]] = {
        dt.datetime: Utc,
        dict[str, Any]: JSON,
        list[str]: JSON,
        str: Text,
    }


# --- who -------------------------------------------------------------------------------------


class Role(StrEnum):
    """What a person may do: an owner all, staff only in their houses."""

    OWNER = "owner"
    STAFF = "staff"


class Person(Table):
    """Someone of the host's side."""

    __tablename__ = "people"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    email: Mapped[str | None] = mapped_column(String(320), unique=True)
    number: Mapped[str | None] = mapped_column(String(20), unique=True)
    role: Mapped[str] = mapped_column(String(16))
    houses: Mapped[list[str]]  # slugs; an owner's list is empty and means all
    password_hash: Mapped[str | None]
    created_at: Mapped[dt.datetime]
    left_at: Mapped[dt.datetime | None]


class SignIn(Table):
    """A browser session, or a one-time link to set a password (purpose)."""

    __tablename__ = "sign_ins"

    token_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("people.id", ondelete="CASCADE"))
    purpose: Mapped[str] = mapped_column(String(16))  # session, set-password
    created_at: Mapped[dt.datetime]
    expires_at: Mapped[dt.datetime]


class ApiToken(Table):
    """A program's way in; the token itself is shown once and never kept."""

    __tablename__ = "api_tokens"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(100), unique=True)
    token_hash: Mapped[str] = mapped_column(String(64), unique=True)
    scopes: Mapped[list[str]]  # ask, stays, alerts, metrics
    houses: Mapped[list[str]]  # empty means all
    created_at: Mapped[dt.datetime]
    revoked_at: Mapped[dt.datetime | None]


# --- stays -----------------------------------------------------------------------------------


class Stay(Table):
    """One booking of one house; `arrival` and `departure` are the house's local dates."""

    __tablename__ = "stays"
    __table_args__ = (
        UniqueConstraint("house", "feed", "uid"),
        Index("stays_of_a_house", "house", "departure"),
        _NEVER_AGAIN,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    house: Mapped[str] = mapped_column(String(100))
    guests: Mapped[list[str]]  # names
    arrival: Mapped[dt.date]
    departure: Mapped[dt.date]
    door_code: Mapped[str | None]
    release_from: Mapped[dt.datetime | None]  # overrides the house's release window
    release_until: Mapped[dt.datetime | None]
    feed: Mapped[str] = mapped_column(String(100), default="")  # "" for one entered by hand
    uid: Mapped[str] = mapped_column(String(400))  # the feed's UID, or one of our own
    cancelled_at: Mapped[dt.datetime | None]
    last_seen_at: Mapped[dt.datetime]  # when its feed last named it
    created_at: Mapped[dt.datetime]
    phones: Mapped[list[StayPhone]] = relationship(
        back_populates="stay", cascade="all, delete-orphan", lazy="selectin"
    )


class StayPhone(Table):
    """A number that a guest of a stay texts from."""

    __tablename__ = "stay_phones"

    stay_id: Mapped[int] = mapped_column(
        ForeignKey("stays.id", ondelete="CASCADE"), primary_key=True
    )
    number: Mapped[str] = mapped_column(String(20), primary_key=True, index=True)
    stay: Mapped[Stay] = relationship(back_populates="phones")


class Feed(Table):
    """How an iCalendar feed of a house last fared."""

    __tablename__ = "feeds"

    id: Mapped[int] = mapped_column(primary_key=True)
    house: Mapped[str] = mapped_column(String(100))
    name: Mapped[str] = mapped_column(String(100), unique=True)
    url: Mapped[str]  # holds the feed's own secret: never logged
    etag: Mapped[str | None]
    read_at: Mapped[dt.datetime | None]
    failed_at: Mapped[dt.datetime | None]
    problem: Mapped[str | None]


# --- messages --------------------------------------------------------------------------------


class Thread(Table):
    """One sender on one line; `line` is the gateway's name, or "pages" for pasted messages."""

    __tablename__ = "threads"
    __table_args__ = (UniqueConstraint("line", "sender"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    line: Mapped[str] = mapped_column(String(100))
    sender: Mapped[str] = mapped_column(String(64), index=True)  # E.164, or what stands for it
    house: Mapped[str | None] = mapped_column(String(100), index=True)  # once it is settled
    stay_id: Mapped[int | None] = mapped_column(ForeignKey("stays.id", ondelete="SET NULL"))
    named: Mapped[str | None] = mapped_column(String(100))  # the house whose area they named
    named_at: Mapped[dt.datetime | None]
    language: Mapped[str] = mapped_column(String(8), default="en")  # last read
    rest: Mapped[str | None]  # of a reply too long for its segments: sent on MORE
    rest_secrets: Mapped[list[str]] = mapped_column(default=list)  # as of a delivery
    rest_until: Mapped[dt.datetime | None]  # it is forgotten then
    created_at: Mapped[dt.datetime]
    last_at: Mapped[dt.datetime] = mapped_column(index=True)


class OptOut(Table):
    """A number that asked for no more messages on a line."""

    __tablename__ = "opt_outs"

    line: Mapped[str] = mapped_column(String(100), primary_key=True)
    number: Mapped[str] = mapped_column(String(64), primary_key=True)
    since: Mapped[dt.datetime]


class MessageState(StrEnum):
    """How far an inbound message is."""

    WAITING = "waiting"  # stored, or waiting for the other parts of a long message
    WORKING = "working"  # claimed by a process until `claimed_until`
    ANSWERED = "answered"  # the reply is stored, or there is none to send
    FAILED = "failed"  # given up; the host has been alerted


class Inbound(Table):
    """A message a guest sent, stored before it was acknowledged."""

    __tablename__ = "messages"
    __table_args__ = (
        UniqueConstraint("line", "gateway_id"),
        Index("messages_to_work_on", "state", "urgent", "received_at"),
        Index("messages_of_a_thread", "thread_id", "state"),
        Index("messages_of_a_house", "house", "answered_at"),
        _NEVER_AGAIN,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    thread_id: Mapped[int] = mapped_column(ForeignKey("threads.id", ondelete="CASCADE"))
    line: Mapped[str] = mapped_column(String(100))
    gateway_id: Mapped[str] = mapped_column(String(200))  # the gateway's, or made of what it says
    text: Mapped[str]
    received_at: Mapped[dt.datetime]
    urgent: Mapped[bool] = mapped_column(default=False)  # words of danger: worked on first
    state: Mapped[str] = mapped_column(String(16), default=MessageState.WAITING)
    claimed_by: Mapped[str | None] = mapped_column(String(100))
    claimed_until: Mapped[dt.datetime | None]  # while waiting: not to be claimed before
    attempts: Mapped[int] = mapped_column(default=0)
    answered_at: Mapped[dt.datetime | None]
    house: Mapped[str | None] = mapped_column(String(100))
    stay_id: Mapped[int | None] = mapped_column(ForeignKey("stays.id", ondelete="SET NULL"))
    verified: Mapped[bool] = mapped_column(default=False)
    draft: Mapped[str | None]  # the full reply, as drafted
    parts: Mapped[list[PartRow]] = relationship(
        back_populates="message", cascade="all, delete-orphan", order_by="PartRow.place"
    )


class Piece(Table):
    """A piece of a long message that arrived apart; joined when all are there.

    It stays beside its message, so that a piece handed over again is known.
    """

    __tablename__ = "pieces"

    line: Mapped[str] = mapped_column(String(100), primary_key=True)
    sender: Mapped[str] = mapped_column(String(64), primary_key=True)
    reference: Mapped[str] = mapped_column(String(100), primary_key=True)
    number: Mapped[int] = mapped_column(primary_key=True)  # from 1
    of: Mapped[int]
    text: Mapped[str]
    received_at: Mapped[dt.datetime]
    message_id: Mapped[int | None] = mapped_column(
        ForeignKey("messages.id", ondelete="CASCADE"), index=True
    )


class PartRow(Table):
    """One part of a message and what was decided about it."""

    __tablename__ = "parts"
    __table_args__ = (Index("parts_by_outcome", "outcome", "house"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    message_id: Mapped[int] = mapped_column(
        ForeignKey("messages.id", ondelete="CASCADE"), index=True
    )
    house: Mapped[str] = mapped_column(String(100))
    place: Mapped[int]  # in the guest's order, from 0
    text: Mapped[str]
    language: Mapped[str] = mapped_column(String(8), default="en")
    outcome: Mapped[str] = mapped_column(String(16))
    kind: Mapped[str | None] = mapped_column(String(16))
    level: Mapped[str | None] = mapped_column(String(16))
    hazard: Mapped[str | None] = mapped_column(String(32))
    topic: Mapped[str | None] = mapped_column(String(100))
    confidence: Mapped[float]
    reason: Mapped[str]
    said: Mapped[str]  # what the reply says about it; no secret is kept, see threads.py
    asked_back: Mapped[bool] = mapped_column(default=False)
    gap_id: Mapped[int | None] = mapped_column(ForeignKey("gaps.id", ondelete="SET NULL"))
    message: Mapped[Inbound] = relationship(back_populates="parts")
    citations: Mapped[list[CitationRow]] = relationship(
        back_populates="part", cascade="all, delete-orphan"
    )


class CitationRow(Table):
    """A fact a part was answered from, as it stood then."""

    __tablename__ = "citations"
    __table_args__ = (Index("citations_of_a_fact", "house", "fact"),)

    part_id: Mapped[int] = mapped_column(
        ForeignKey("parts.id", ondelete="CASCADE"), primary_key=True
    )
    fact: Mapped[str] = mapped_column(String(200), primary_key=True)
    house: Mapped[str] = mapped_column(String(100))
    title: Mapped[str]
    content_hash: Mapped[str] = mapped_column(String(64))
    part: Mapped[PartRow] = relationship(back_populates="citations")


# --- out -------------------------------------------------------------------------------------


class DeliveryState(StrEnum):
    """How far something to be sent is."""

    DUE = "due"
    SENDING = "sending"  # claimed by a process until `claimed_until`
    SENT = "sent"
    FAILED = "failed"  # given up; the host has been alerted
    DROPPED = "dropped"  # no longer to be sent: opted out, cancelled


class Delivery(Table):
    """One thing to be sent, once: to a guest by a line, or to the host by a contact."""

    __tablename__ = "deliveries"
    __table_args__ = (Index("deliveries_due", "state", "urgent", "due_at"),)

    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(String(200), unique=True)  # the idempotency key
    # line, apprise, webhook, email; or response: fetched by the line's own inbound request
    channel: Mapped[str] = mapped_column(String(16))
    target: Mapped[str]  # a line's name, or a contact's name in the settings
    thread_id: Mapped[int | None] = mapped_column(
        ForeignKey("threads.id", ondelete="CASCADE"), index=True
    )
    message_id: Mapped[int | None] = mapped_column(
        ForeignKey("messages.id", ondelete="CASCADE"), index=True
    )
    escalation_id: Mapped[int | None] = mapped_column(
        ForeignKey("escalations.id", ondelete="CASCADE")
    )
    stay_id: Mapped[int | None] = mapped_column(ForeignKey("stays.id", ondelete="CASCADE"))
    author: Mapped[str] = mapped_column(String(32), default="askhouse")  # or person:ID
    to: Mapped[str] = mapped_column(default="")  # a guest's number
    title: Mapped[str] = mapped_column(default="")
    text: Mapped[str]
    secrets: Mapped[list[str]] = mapped_column(default=list)  # ids of sensitive facts in the text
    blotted: Mapped[str | None]  # what a text with secrets becomes at `blot_at`, or when dropped
    blot_at: Mapped[dt.datetime | None] = mapped_column(index=True)
    secret_until: Mapped[dt.datetime | None]  # a text with secrets is not sent after this
    emergency: Mapped[bool] = mapped_column(default=False)  # sent even to someone opted out
    farewell: Mapped[bool] = mapped_column(default=False)  # says that they are opted out: sent too
    urgent: Mapped[bool] = mapped_column(default=False)
    state: Mapped[str] = mapped_column(String(16), default=DeliveryState.DUE)
    due_at: Mapped[dt.datetime]
    claimed_by: Mapped[str | None] = mapped_column(String(100))
    claimed_until: Mapped[dt.datetime | None]
    attempts: Mapped[int] = mapped_column(default=0)
    problem: Mapped[str | None]
    created_at: Mapped[dt.datetime]
    sent_at: Mapped[dt.datetime | None]
    segments: Mapped[int | None]


# --- what needs the host ---------------------------------------------------------------------


class EscalationState(StrEnum):
    """How far something that needs the host is."""

    OPEN = "open"
    TAKEN = "taken"
    ANSWERED = "answered"
    CLOSED = "closed"


class Escalation(Table):
    """Something that needs the host; it climbs its house's ladder until someone takes it."""

    __tablename__ = "escalations"
    __table_args__ = (
        UniqueConstraint("message_id", "kind"),
        Index("escalations_to_climb", "state", "next_at"),
        _NEVER_AGAIN,
    )

    id: Mapped[int] = mapped_column(primary_key=True)
    house: Mapped[str | None] = mapped_column(String(100))
    thread_id: Mapped[int | None] = mapped_column(
        ForeignKey("threads.id", ondelete="CASCADE"), index=True
    )
    message_id: Mapped[int | None] = mapped_column(ForeignKey("messages.id", ondelete="CASCADE"))
    # a Kind; or gap, code, flood, unread (message and reply), delivery (it cannot be sent),
    # houses (none can be opened)
    kind: Mapped[str] = mapped_column(String(16))
    level: Mapped[str] = mapped_column(String(16))  # emergency, urgent, soon
    summary: Mapped[str]
    state: Mapped[str] = mapped_column(String(16), default=EscalationState.OPEN)
    take_hash: Mapped[str | None] = mapped_column(String(64))  # of the one-tap link's token
    rung: Mapped[int] = mapped_column(default=0)  # contacts told so far
    next_at: Mapped[dt.datetime | None]
    created_at: Mapped[dt.datetime]
    taken_at: Mapped[dt.datetime | None]
    taken_by: Mapped[str | None]  # person:ID, or the contact's name
    answered_at: Mapped[dt.datetime | None]
    closed_at: Mapped[dt.datetime | None]


# --- what is learned -------------------------------------------------------------------------


class Gap(Table):
    """Questions with one meaning that no fact answered."""

    __tablename__ = "gaps"

    id: Mapped[int] = mapped_column(primary_key=True)
    house: Mapped[str] = mapped_column(String(100), index=True)
    topic: Mapped[str | None] = mapped_column(String(100))
    name: Mapped[str]
    state: Mapped[str] = mapped_column(String(16), default="open")  # open, written, dismissed
    fact: Mapped[str | None] = mapped_column(String(200))  # that closed it
    centre: Mapped[bytes | None] = mapped_column(LargeBinary)  # mean unit vector, float32
    first_at: Mapped[dt.datetime]
    last_at: Mapped[dt.datetime]


class Lesson(Table):
    """What the host made of a draft."""

    __tablename__ = "lessons"

    id: Mapped[int] = mapped_column(primary_key=True)
    house: Mapped[str] = mapped_column(String(100))
    part_id: Mapped[int | None] = mapped_column(ForeignKey("parts.id", ondelete="CASCADE"))
    verdict: Mapped[str] = mapped_column(String(16))  # right, answered-by, gap, fact-wrong
    fact: Mapped[str | None] = mapped_column(String(200))
    text: Mapped[str]  # the guest's words
    person: Mapped[str | None]
    at: Mapped[dt.datetime]


class Change(Table):
    """One change of a house's files, with what stood there before, so that it can be undone."""

    __tablename__ = "changes"

    id: Mapped[int] = mapped_column(primary_key=True)
    house: Mapped[str] = mapped_column(String(100), index=True)
    file: Mapped[str]
    fact: Mapped[str] = mapped_column(String(200))
    before: Mapped[str | None]  # the fact's own lines; None where it was new
    after: Mapped[str | None]
    old_hash: Mapped[str | None] = mapped_column(String(64))
    new_hash: Mapped[str | None] = mapped_column(String(64))
    person: Mapped[str]
    at: Mapped[dt.datetime]
    undoes: Mapped[int | None]


class Trail(Table):
    """Who saw or changed what; each line holds the hash of the one before it."""

    __tablename__ = "trail"

    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[dt.datetime]
    who: Mapped[str]  # person:ID, token:ID, askhouse, command
    did: Mapped[str] = mapped_column(String(64))  # such as "stay.cancel"
    subject: Mapped[str]  # such as "stay:12"; no name, number or text
    details: Mapped[dict[str, Any]]
    before: Mapped[str] = mapped_column(String(64))
    hash: Mapped[str] = mapped_column(String(64), unique=True)

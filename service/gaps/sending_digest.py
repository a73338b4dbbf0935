"""The week's gaps put among what is to be sent: once a week to each contact that gets them.

A digest's idempotency key names the ISO week and the contact, and is added unless it is there: a
process may be killed anywhere, several may look at once, and a service that was down at the hour
sends when it is back within the week. In a week without questions nothing is sent.
"""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.gaps import Meaning
from askhouse.values import House
from service.access.roles import caller_of, visible
from service.alerts.contact_settings import Contact
from service.alerts.people import person_of
from service.database import Database, add_new
from service.gaps.assigning import assign
from service.gaps.digest import Digest, digest
from service.gaps.digest_settings import WEEKDAYS, DigestSettings
from service.gaps.report import Row, report, with_samples
from service.tables import Delivery

__all__ = ["Digests", "Week", "digest_key", "week_before"]

log = logging.getLogger(__name__)

# The digest hangs on no guest's message, so that erasing a guest would not find their words in it.
_WORDS_KEPT = dt.timedelta(hours=2)
_WEEK = dt.timedelta(days=7)
_NO_TOPIC = "Something of no known topic"


@dataclass(frozen=True, slots=True)
class Week:
    """The seven days that a digest is about.

    Attributes:
        day: The local date on which it is sent.
        start: UTC; the same local time a week earlier than `end`.
        end: UTC; when it is sent, and what is asked from then on is for the next one.
    """

    day: dt.date
    start: dt.datetime
    end: dt.datetime


def week_before(settings: DigestSettings, now: dt.datetime) -> Week:
    """The last week whose digest is due.

    A time that a clock change skips or repeats is read as in `service.stays.release`.
    """
    zone = ZoneInfo(settings.timezone)

    def moment(day: dt.date) -> dt.datetime:
        time = settings.at.replace(fold=0)
        return dt.datetime.combine(day, time, zone).astimezone(dt.UTC)

    today = now.astimezone(zone).date()
    day = today - dt.timedelta(days=(today.weekday() - WEEKDAYS.index(settings.weekday)) % 7)
    if moment(day) > now:
        day -= _WEEK
    return Week(day, moment(day - _WEEK), moment(day))


def digest_key(week: Week, contact: str) -> str:
    """The idempotency key of a contact's digest: by ISO week (ISO 8601) and name."""
    year, number, _ = week.day.isocalendar()
    return f"digest:{year}-W{number:02}:{contact}"


class Digests:
    """Queues the digests that are due.

    Args:
        database: Where gaps and deliveries are.
        settings: Whom they go to, and when.
        contacts: All of them, by name.
        houses: As they are written now, by slug.
        meaning: What groups the questions.
        clock: What time it is, UTC.
        link: Where the gaps can be answered.
    """

    def __init__(
        self,
        database: Database,
        settings: DigestSettings,
        contacts: Mapping[str, Contact],
        *,
        houses: Callable[[], Mapping[str, House]],
        meaning: Meaning,
        clock: Callable[[], dt.datetime],
        link: str,
    ) -> None:
        self._database = database
        self._settings = settings
        self._contacts = contacts
        self._houses = houses
        self._meaning = meaning
        self._clock = clock
        self._link = link
        self._seen: Week | None = None

    def step(self) -> bool:
        """Queues what is due; whether there was any. Meant to be called every minute."""
        now = self._clock()
        week = week_before(self._settings, now)
        keys = {name: digest_key(week, name) for name in self._settings.contacts}
        if week == self._seen:
            return False  # what was asked in it does not change any more
        while assign(self._database, self._meaning):
            pass  # what was asked a moment ago is in no gap yet
        with self._database.reading() as session:
            sent = select(Delivery.key).where(Delivery.key.in_(keys.values()))
            known = set(session.scalars(sent))
            due = {
                name: self._digest(session, name, week, now)
                for name, key in keys.items()
                if key not in known
            }
        queued = False
        for name, mail in due.items():
            if mail is not None:
                queued |= self._queue(keys[name], name, mail, now)
        self._seen = week
        return queued

    def _digest(self, session: Session, name: str, week: Week, now: dt.datetime) -> Digest | None:
        contact, houses = self._contacts[name], self._houses()
        person = person_of(session, contact)
        if contact.person is not None and person is None:
            log.error("contact %s gets no digest: it belongs to no one who is here", name)
            return None
        caller = caller_of(person) if person is not None else None
        rows = report(
            session,
            houses,
            now,
            only=None if caller is None or caller.everywhere else visible(caller, caller.houses),
            since=week.start,
            before=week.end,
        )
        shown = with_samples(session, rows) if contact.reads else _without_words(rows)
        return digest(shown, houses, week.day - _WEEK, self._link)

    def _queue(self, key: str, name: str, mail: Digest, now: dt.datetime) -> bool:
        with self._database.writing() as session:
            return add_new(
                session,
                Delivery,
                key=key,
                channel="email",
                target=name,
                title=mail.subject,
                text=mail.text,
                secrets=[],
                # Without words, and still worth sending where the mail server was away that long.
                blotted=f"{mail.subject}: {self._link}",
                blot_at=now + _WORDS_KEPT,
                due_at=now,
                created_at=now,
            )


def _without_words(rows: Sequence[Row]) -> list[Row]:
    """The rows without what guests wrote; a gap of no topic is named in their words."""
    return [replace(row, name=row.name if row.topic is not None else _NO_TOPIC) for row in rows]

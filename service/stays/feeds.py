"""A feed's bookings, brought into the stays of its house.

What a feed says, it may say; what it no longer says, it may only have lost:

- A stay that is cancelled in the feed is cancelled, whenever.
- A stay that is missing is never cancelled from its arrival day on. Before, it is cancelled when it
  is missing in `missing_readings` good readings in a row that cover `missing_hours`, or at once
  when a new booking takes its nights.
- A reading that cannot be fetched, is broken, or has a single event that cannot be read cancels
  nothing by absence.
- A booking that is over is not added: who was erased must not come back.
- A booking with a new UID takes over a missing stay with its numbers, code and window: in
  progress, if it begins on the same day and the names do not contradict; before, if the days and
  a name are the same, or the feed is known to change its UIDs. Otherwise it is another guest's,
  who must not be taken for the one before, nor that one for this.
- What someone cancelled by hand stays cancelled. What the feed cancelled comes back with it.
- Numbers are added, never taken away: those that the host added stay.

A stay's `last_seen_at` is when its feed last named it, moved on by pauses in reading: a service
that stood still for a week has not seen a stay missing for a week. A cancellation by the feed is
marked by the same time in `cancelled_at` and `last_seen_at`.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import logging
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from askhouse.values import House
from service.database import Database
from service.stays.bookings import Booking, BrokenCalendarError, Reading, read_calendar
from service.stays.fetching import FetchError, fetch
from service.stays.release import staying
from service.stays.settings import FeedSettings
from service.stays.stays import set_phones
from service.tables import Feed, Stay

__all__ = ["FeedNews", "apply_reading", "read_feed"]

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedNews:
    """What one reading of a feed brought.

    Attributes:
        problem: Why it could not be read; nothing was changed then.
        unchanged: The feed says that it is as it was.
        renamed: Stays that were recognised under a new UID.
        missing: Stays to come or in progress that it no longer names, and that stand.
        unread: Events that could not be read.
        blocked: Events that keep days free.
        stays: Ids of the stays that were added, changed or cancelled, for the trail.
    """

    feed: str
    problem: str | None = None
    unchanged: bool = False
    added: int = 0
    changed: int = 0
    renamed: int = 0
    cancelled: int = 0
    missing: int = 0
    unread: int = 0
    blocked: int = 0
    stays: tuple[int, ...] = ()


def read_feed(
    database: Database, house: House, feed: FeedSettings, clock: Callable[[], dt.datetime]
) -> FeedNews:
    """Fetches a feed and brings its bookings into the stays; what fails is told, and changes none.

    Raises:
        SettingsError: The feed's address is not set.
    """
    address = feed.address()
    # An address is a secret, and only needed to know whether the ETag still belongs to it.
    fingerprint = f"sha256:{hashlib.sha256(address.encode()).hexdigest()}"
    now = clock()
    with database.writing() as session:
        row = _row(session, house, feed)
        if row.url != fingerprint:
            row.url, row.etag = fingerprint, None
        # While a stay is missing the whole text is asked for: "unchanged" would not count.
        etag = None if _missing_to_come(session, house, feed, row, now) else row.etag
    try:
        fetched = fetch(
            address, etag, timeout_s=feed.timeout_s, size_limit_bytes=feed.size_limit_bytes
        )
        reading = None
        if fetched.content is not None:
            reading = read_calendar(fetched.content, house, feed, _today(house, now))
    except (FetchError, BrokenCalendarError) as error:
        return _failed(database, house, feed, now, str(error))
    with database.writing() as session:
        row = _row(session, house, feed)
        if row.read_at is not None and row.read_at >= now:
            # Another process has applied a later reading in the meantime.
            return FeedNews(feed=feed.name, unchanged=True)
        if reading is None:
            news = _unchanged(session, house, feed, row, now)
        else:
            news = apply_reading(session, house, feed, reading, now, row.read_at)
        row.read_at, row.problem = now, None
        # An event that could not be read must be met again next time.
        row.etag = fetched.etag if not news.unread else None
    if news.unread:
        log.warning("feed %s: %d events cannot be read", feed.name, news.unread)
    return news


def _row(session: Session, house: House, feed: FeedSettings) -> Feed:
    """The feed's row, locked, so that two processes apply one reading after the other."""
    name = f"{house.slug}/{feed.name}"
    query = select(Feed).where(Feed.name == name).with_for_update()
    row = session.scalar(query)
    if row is None:
        try:
            with session.begin_nested():
                session.add(Feed(house=house.slug, name=name, url=""))
        except IntegrityError:
            pass  # another process has just made it
        row = session.scalars(query).one()
    return row


def _failed(
    database: Database, house: House, feed: FeedSettings, now: dt.datetime, problem: str
) -> FeedNews:
    log.warning("feed %s of %s: %s", feed.name, house.slug, problem)
    with database.writing() as session:
        row = _row(session, house, feed)
        row.failed_at, row.problem = now, problem
    return FeedNews(feed=feed.name, problem=problem)


def _known(session: Session, house: House, feed: FeedSettings) -> dict[str, Stay]:
    """All stays that the feed ever named, by UID."""
    query = select(Stay).where(Stay.house == house.slug, Stay.feed == feed.name)
    return {stay.uid: stay for stay in session.scalars(query.order_by(Stay.arrival, Stay.id))}


def _missing_to_come(
    session: Session, house: House, feed: FeedSettings, row: Feed, now: dt.datetime
) -> bool:
    return row.read_at is not None and any(
        stay.cancelled_at is None
        and stay.last_seen_at < row.read_at
        and stay.arrival > _today(house, now)
        for stay in _known(session, house, feed).values()
    )


def _unchanged(
    session: Session, house: House, feed: FeedSettings, row: Feed, now: dt.datetime
) -> FeedNews:
    """The feed is as it was: what it named then, it names now."""
    for stay in _known(session, house, feed).values():
        if row.read_at is not None and stay.last_seen_at >= row.read_at:
            _seen(stay, now)
    return FeedNews(feed=feed.name, unchanged=True)


def _today(house: House, now: dt.datetime) -> dt.date:
    return now.astimezone(ZoneInfo(house.timezone)).date()


# --- one reading -----------------------------------------------------------------------------


@dataclass(slots=True)
class _Work:
    """One reading as it is applied, and what has come of it so far."""

    house: House
    feed: FeedSettings
    now: dt.datetime
    touched: list[Stay] = field(default_factory=list)


def apply_reading(
    session: Session,
    house: House,
    feed: FeedSettings,
    reading: Reading,
    now: dt.datetime,
    before: dt.datetime | None,
) -> FeedNews:
    """Brings a reading into the stays.

    Args:
        before: When the last good reading was.
    """
    work = _Work(house, feed, now)
    known = _known(session, house, feed)
    named = {booking.uid for booking in reading.bookings}
    gone = [
        stay
        for uid, stay in known.items()
        if uid not in named and not reading.holds_unread(uid) and _stands(stay, work)
    ]
    news = FeedNews(feed=feed.name, unread=len(reading.unread), blocked=reading.blocked)
    new: list[Booking] = []
    for booking in reading.bookings:
        stay = known.get(booking.uid)
        if stay is None:
            if booking.departure >= _today(house, now):
                new.append(booking)
        elif _update(stay, booking, work):
            news = replace(news, changed=news.changed + 1)
    for booking in new:
        heir = next((stay for stay in gone if _is_the_same(stay, booking, work)), None)
        if heir is not None:
            gone.remove(heir)
            heir.uid = booking.uid
            _update(heir, booking, work)
            news = replace(news, renamed=news.renamed + 1)
        else:
            work.touched.append(_add(session, booking, work))
            news = replace(news, added=news.added + 1)
    for stay in gone:
        if reading.cancels(stay.uid) or (reading.whole and _is_lost(stay, new, work, before)):
            _cancel(stay, work)
            news = replace(news, cancelled=news.cancelled + 1)
    session.flush()  # new stays get their ids
    standing = [stay for stay in gone if stay.cancelled_at is None]
    return replace(
        news,
        missing=len(standing),
        stays=tuple(dict.fromkeys(stay.id for stay in work.touched)),
    )


def _stands(stay: Stay, work: _Work) -> bool:
    """Whether the stay is to come or in progress, and not cancelled."""
    return stay.cancelled_at is None and work.now < staying(stay, work.house).end


def _update(stay: Stay, booking: Booking, work: _Work) -> bool:
    """Makes the stay what the feed says of it; whether anything was otherwise."""
    if stay.cancelled_at is not None:
        if stay.cancelled_at != stay.last_seen_at:  # by hand
            _seen(stay, work.now)
            return False
        stay.cancelled_at = None
        work.touched.append(stay)
    _seen(stay, work.now)
    numbers = [phone.number for phone in stay.phones]
    added = [number for number in booking.phones if number not in numbers]
    days = (booking.arrival, booking.departure)
    guests = list(booking.guests) or stay.guests
    if (stay.arrival, stay.departure) == days and stay.guests == guests and not added:
        return stay in work.touched
    stay.arrival, stay.departure = days
    stay.guests = guests
    set_phones(stay, [*numbers, *added])
    work.touched.append(stay)
    return True


def _seen(stay: Stay, now: dt.datetime) -> None:
    stay.last_seen_at = now
    if stay.cancelled_at == now:  # by hand, in this very moment: told from the feed's
        stay.cancelled_at = now + dt.timedelta(microseconds=1)


def _add(session: Session, booking: Booking, work: _Work) -> Stay:
    stay = Stay(
        house=work.house.slug,
        guests=list(booking.guests),
        arrival=booking.arrival,
        departure=booking.departure,
        feed=work.feed.name,
        uid=booking.uid,
        last_seen_at=work.now,
        created_at=work.now,
    )
    set_phones(stay, booking.phones)
    session.add(stay)
    return stay


def _cancel(stay: Stay, work: _Work) -> None:
    stay.cancelled_at = stay.last_seen_at = work.now
    work.touched.append(stay)


def _is_the_same(stay: Stay, booking: Booking, work: _Work) -> bool:
    """Whether a new UID is a new name of a stay that its feed no longer names."""
    if stay.arrival != booking.arrival:
        return False
    before, after = _names(stay.guests), _names(booking.guests)
    contradict = bool(before and after and not before & after)
    if staying(stay, work.house).holds(work.now):
        return not contradict  # whatever the feed calls them, and for however long
    if stay.departure != booking.departure:
        return False
    if work.feed.uids == "changing":
        return not contradict
    return bool(before & after)


def _names(guests: Sequence[str]) -> frozenset[str]:
    return frozenset(" ".join(name.split()).casefold() for name in guests)


def _is_lost(stay: Stay, new: Sequence[Booking], work: _Work, before: dt.datetime | None) -> bool:
    """Whether a missing stay is to be cancelled: see the top."""
    if any(
        booking.arrival < stay.departure and stay.arrival < booking.departure for booking in new
    ):
        return not staying(stay, work.house).holds(work.now)
    if stay.arrival <= _today(work.house, work.now):
        return False
    # Each good reading counts for at most its share of the hours, however long the pause
    # before it: so it takes that many readings, and that many hours.
    most = dt.timedelta(hours=work.feed.missing_hours)
    share = most / work.feed.missing_readings
    pause = work.now - (before or work.now)
    stay.last_seen_at += max(pause - share, dt.timedelta())
    return work.now - stay.last_seen_at >= most

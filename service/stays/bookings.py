"""An iCalendar text (RFC 5545) as bookings: which nights, whose, cancelled or not.

- A booking's days are the house's: a time with a zone is read on the house's clocks, a floating
  one as the house's own (3.3.5). DTEND is exclusive (3.6.1), and so is a departure day.
- STATUS:CANCELLED and METHOD:CANCEL (3.8.1.11, RFC 5546 3.2.5) cancel.
- Of several revisions of one event the highest SEQUENCE counts (3.8.7.4), then the last DTSTAMP.
- A series is spread out into its occurrences with RECURRENCE-ID in their names (3.8.4.4, 3.8.5).
- An event that cannot be read is counted, and its UID kept where there is one: it is not missing.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import recurring_ical_events
from icalendar import Calendar, Event

from askhouse.values import House
from service.stays.drafts import FIRST_DAY, LAST_DAY, MOST_NIGHTS
from service.stays.phone_numbers import numbers_in
from service.stays.settings import FeedSettings

__all__ = ["Booking", "BrokenCalendarError", "Reading", "read_calendar"]

# Bookings are made at most two years ahead; an endless series must end somewhere.
_BACK, _AHEAD = dt.timedelta(days=400), dt.timedelta(days=800)
# Stays begin on days. A series by the hour would be no booking, but millions of occurrences.
_BY_DAY = frozenset(("DAILY", "WEEKLY", "MONTHLY", "YEARLY"))
_MOST_UID = 400  # the column's
_MOST_NAME = 200


class BrokenCalendarError(ValueError):
    """A text is no whole iCalendar object; says why, and repeats nothing of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Booking:
    """One booking of a feed.

    Attributes:
        uid: The event's UID, with the RECURRENCE-ID behind it for one of a series.
        phones: E.164, from the description.
    """

    uid: str
    arrival: dt.date
    departure: dt.date
    guests: tuple[str, ...] = ()
    phones: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What a calendar says.

    Attributes:
        bookings: In the order of the calendar, each UID once; without the cancelled ones.
        cancelled: UIDs of bookings that it cancels; that of a series for all of it.
        blocked: Events that keep days free of guests.
        unread: UIDs of events that could not be read; "" for one without any.
        whole: It names all bookings there are: no event is unread, and it is not a mere notice
            of cancellations. Only then can one be missing.
    """

    bookings: tuple[Booking, ...]
    cancelled: tuple[str, ...] = ()
    blocked: int = 0
    unread: tuple[str, ...] = ()
    whole: bool = True

    def cancels(self, uid: str) -> bool:
        """Whether it cancels the booking of that UID."""
        return _among(uid, self.cancelled)

    def holds_unread(self, uid: str) -> bool:
        """Whether the booking's event is there and could not be read."""
        return _among(uid, self.unread)


def _among(uid: str, names: Iterable[str]) -> bool:
    """Whether one of the names is the UID's, or its series'."""
    return any(uid == name or uid.startswith(f"{name}/") for name in names if name)


def read_calendar(content: bytes, house: House, feed: FeedSettings, today: dt.date) -> Reading:
    """The bookings of an iCalendar text.

    Raises:
        BrokenCalendarError: It is not one, or is cut off.
    """
    bookings: dict[str, Booking] = {}
    cancelled: list[str] = []
    unread: list[str] = []
    blocked, whole = 0, False
    for calendar in _calendars(content):
        cancels = str(calendar.get("METHOD", "")).upper() == "CANCEL"
        whole = whole or not cancels
        for uid, events in _by_uid(calendar).items():
            if cancels:  # such events need not even have a start (3.6.1)
                cancelled += [_name(event) for event in events]
                continue
            # What a foreign file can make a parser raise has no list; one event must not
            # keep the others from being read.
            try:
                for event in _occurrences(events, today):
                    if _text(event, "STATUS").upper() == "CANCELLED":
                        cancelled.append(_name(event))
                    elif re.search(feed.blocked, _text(event, "SUMMARY"), re.IGNORECASE):
                        blocked += 1
                    elif (booking := _booking(event, house, feed)) is not None:
                        bookings[booking.uid] = booking
            except Exception:
                unread.append(uid)
    standing = [b for uid, b in bookings.items() if not _among(uid, cancelled)]
    return Reading(
        bookings=tuple(standing),
        cancelled=tuple(dict.fromkeys(cancelled)),
        blocked=blocked,
        unread=tuple(unread),
        whole=whole and not unread,
    )


def _calendars(content: bytes) -> Sequence[Calendar]:
    try:
        # Unfolded as octets: a fold may cut a character in two (3.1).
        text = re.sub(rb"\r?\n[ \t]", b"", content).decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BrokenCalendarError("it is not UTF-8 (RFC 5545, 3.1.4)") from None
    lines = [line for line in text.splitlines() if line.strip()]
    if not lines or lines[0].strip().upper() != "BEGIN:VCALENDAR":
        raise BrokenCalendarError("it does not begin with BEGIN:VCALENDAR (RFC 5545, 3.4)")
    if lines[-1].strip().upper() != "END:VCALENDAR":
        raise BrokenCalendarError("it does not end with END:VCALENDAR: it was cut off")
    try:
        found = Calendar.from_ical(text, multiple=True)
    except Exception:
        # Neither the library's words nor its chain: they repeat the line, and so a guest's words.
        raise BrokenCalendarError("a line of it cannot be read (RFC 5545, 3.1)") from None
    return [calendar for calendar in found if isinstance(calendar, Calendar)]


def _by_uid(calendar: Calendar) -> dict[str, list[Event]]:
    groups: dict[str, list[Event]] = defaultdict(list)
    for event in calendar.events:
        groups[_text(event, "UID")].append(event)
    return groups


def _occurrences(events: Sequence[Event], today: dt.date) -> Iterator[Event]:
    """The events of one UID as they happen; a single one is its own occurrence.

    Raises:
        ValueError: One is broken, or has no UID.
    """
    for event in events:
        if event.errors or not _text(event, "UID") or "DTSTART" not in event:
            raise ValueError("a broken event")
        for rule in _several(event.get("RRULE")):
            if not set(map(str, rule.get("FREQ", ()))) <= _BY_DAY:
                raise ValueError("a series by the hour")
    latest = _latest(events)
    if not any(name in event for event in latest for name in ("RRULE", "RDATE", "RECURRENCE-ID")):
        yield from latest
        return
    series = Calendar()
    for event in latest:
        series.add_component(event)
    query = recurring_ical_events.of(series)
    for occurrence in query.between(today - _BACK, today + _AHEAD):
        assert isinstance(occurrence, Event)
        yield occurrence


def _latest(events: Iterable[Event]) -> list[Event]:
    """Of each event, and of each occurrence that was changed, the last revision."""
    latest: dict[str, Event] = {}
    for event in events:
        which = _stamp(event, "RECURRENCE-ID")
        if which not in latest or _revision(event) >= _revision(latest[which]):
            latest[which] = event
    return list(latest.values())


def _revision(event: Event) -> tuple[int, str]:
    return int(event.get("SEQUENCE", 0)), _stamp(event, "DTSTAMP")


def _stamp(event: Event, name: str) -> str:
    """A time as the calendar writes it; empty where there is none."""
    value = event.get(name)
    return bytes(value.to_ical()).decode() if value is not None else ""


def _several(value: object) -> list[dict[str, list[object]]]:
    """A property that may stand once, several times or not at all."""
    if value is None:
        return []
    return value if isinstance(value, list) else [value]  # type: ignore[list-item]


def _booking(event: Event, house: House, feed: FeedSettings) -> Booking | None:
    """The event as a booking; None for one that no night lies in, such as a visit by day.

    Raises:
        ValueError: Its days are no booking's.
    """
    arrival, departure = _day(event.start, house), _day(event.end, house)
    if departure == arrival:
        return None
    nights = (departure - arrival).days
    if not (0 < nights <= MOST_NIGHTS and arrival >= FIRST_DAY and departure <= LAST_DAY):
        raise ValueError("no days of a booking")
    uid = _name(event)
    if len(uid) > _MOST_UID:
        raise ValueError("a UID that is too long")
    return Booking(
        uid=uid,
        arrival=arrival,
        departure=departure,
        guests=_guests(_text(event, "SUMMARY"), feed),
        phones=_phones(_text(event, "DESCRIPTION"), house, feed),
    )


def _name(event: Event) -> str:
    """The event's UID, with the RECURRENCE-ID behind it for one of a series."""
    uid, occurrence = _text(event, "UID"), _stamp(event, "RECURRENCE-ID")
    return f"{uid}/{occurrence}" if uid and occurrence else uid


def _day(time: dt.date, house: House) -> dt.date:
    """The date on the house's clocks."""
    if not isinstance(time, dt.datetime):
        return time
    return time.astimezone(ZoneInfo(house.timezone)).date() if time.tzinfo else time.date()


def _guests(summary: str, feed: FeedSettings) -> tuple[str, ...]:
    if re.search(feed.nameless, summary, re.IGNORECASE):
        return ()
    if feed.guest is not None:
        found = re.search(feed.guest, summary, re.IGNORECASE)
        if found is None:
            return ()
        summary = found["guest"] if "guest" in found.re.groupindex else found[0]
    name = " ".join((summary or "").split())[:_MOST_NAME]
    return (name,) if name else ()


def _phones(description: str, house: House, feed: FeedSettings) -> tuple[str, ...]:
    """Numbers on lines that say that they are; never the host's own, which would verify the host's
    callers as guests."""
    lines = [s for s in description.splitlines() if re.search(feed.phone, s, re.IGNORECASE)]
    numbers = [number for line in lines for number in numbers_in(line, house.country)]
    hosts = numbers_in(house.call_back or "", house.country)
    return tuple(number for number in dict.fromkeys(numbers) if number not in hosts)


def _text(event: Event, name: str) -> str:
    """A text property without what a database cannot keep; empty where there is none."""
    value = event.get(name)
    if isinstance(value, list):  # twice, against the standard: the first counts
        value = value[0]
    text = str(value) if value is not None else ""
    return "".join(c for c in text if c in "\n\t" or c.isprintable()).strip()

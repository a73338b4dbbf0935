"""Stays in the database: added, changed, cancelled, listed, and found by number.

Adding is idempotent: the same house and reference again is the same stay, changed to what is given.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from askhouse.values import House
from service.stays.drafts import Draft, Place, checked
from service.stays.errors import StayError, UnknownStayError
from service.stays.release import staying
from service.tables import Stay, StayPhone

__all__ = [
    "BY_HAND",
    "Done",
    "Saved",
    "When",
    "add_stay",
    "cancel_stay",
    "change_stay",
    "draft_of",
    "list_stays",
    "save_draft",
    "set_phones",
    "stay_of",
    "stays_of_number",
]

BY_HAND = ""  # the feed of a stay that someone entered

_REQUEST = Place("request")


class Done(StrEnum):
    """What became of a draft."""

    ADDED = "added"
    CHANGED = "changed"
    SAME = "same"


class When(StrEnum):
    """Where a stay lies in time, by check-in and check-out."""

    PRESENT = "present"
    COMING = "coming"
    PAST = "past"


@dataclass(frozen=True, slots=True)
class Saved:
    """A stay that was stored, and what was done for it."""

    stay: Stay
    done: Done


def add_stay(
    session: Session,
    draft: Draft,
    houses: Mapping[str, House],
    now: dt.datetime,
    place: Place = _REQUEST,
) -> Saved:
    """Stores a stay that someone entered; one of the same reference is changed instead.

    Raises:
        StayError: Something in it cannot be used, or that stay was cancelled; names everything.
    """
    draft, problems = checked(draft, houses, place)
    if problems:
        raise StayError(problems)
    return save_draft(session, draft, now, place)


def save_draft(session: Session, draft: Draft, now: dt.datetime, place: Place) -> Saved:
    """Stores a draft that has been checked.

    Raises:
        StayError: The stay of that reference was cancelled.
    """
    stay = _find(session, draft.house, draft.uid)
    if stay is None:
        stay = _insert(session, draft, now)
        if stay is not None:
            return Saved(stay, Done.ADDED)
        # Another process entered it just now.
        stay = _find(session, draft.house, draft.uid)
        assert stay is not None
    if stay.cancelled_at is not None:
        # Importing a file again must not bring back what was cancelled since.
        raise StayError(
            [
                place.problem(
                    "reference",
                    "names a stay that was cancelled",
                    "Give another reference for a new booking, or leave the stay out.",
                )
            ]
        )
    return Saved(stay, Done.CHANGED if _put(stay, draft) else Done.SAME)


def _find(session: Session, house: str, uid: str) -> Stay | None:
    return session.scalar(
        select(Stay).where(Stay.house == house, Stay.feed == BY_HAND, Stay.uid == uid)
    )


def _insert(session: Session, draft: Draft, now: dt.datetime) -> Stay | None:
    """The new stay; None where it is there already."""
    stay = Stay(
        house=draft.house,
        guests=[],
        arrival=draft.arrival,
        departure=draft.departure,
        feed=BY_HAND,
        uid=draft.uid,
        last_seen_at=now,
        created_at=now,
    )
    _put(stay, draft)
    try:
        with session.begin_nested():
            session.add(stay)
    except IntegrityError:
        return None
    return stay


def _put(stay: Stay, draft: Draft) -> bool:
    """Makes the stay what the draft says; whether anything was otherwise."""
    numbers = tuple(sorted(draft.phones))
    if draft_of(stay) == replace(draft, reference=stay.uid, phones=numbers):
        return False
    stay.guests = list(draft.guests)
    stay.arrival, stay.departure = draft.arrival, draft.departure
    stay.door_code = draft.door_code
    stay.release_from, stay.release_until = draft.release_from, draft.release_until
    set_phones(stay, draft.phones)
    return True


def draft_of(stay: Stay) -> Draft:
    """A stored stay as someone would enter it; to change a part of it, replace that."""
    return Draft(
        house=stay.house,
        arrival=stay.arrival,
        departure=stay.departure,
        guests=tuple(stay.guests),
        phones=tuple(sorted(phone.number for phone in stay.phones)),
        door_code=stay.door_code,
        reference=stay.uid,
        release_from=stay.release_from,
        release_until=stay.release_until,
    )


def set_phones(stay: Stay, numbers: Iterable[str]) -> None:
    """Makes these E.164 numbers the stay's, keeping the rows of those it has."""
    kept = {phone.number: phone for phone in stay.phones}
    stay.phones = [kept.get(n) or StayPhone(number=n) for n in dict.fromkeys(numbers)]


def change_stay(session: Session, stay_id: int, draft: Draft, houses: Mapping[str, House]) -> Saved:
    """Makes a stay what the draft says; its house, reference and feed stay what they are.

    Raises:
        UnknownStayError: There is no such stay.
        StayError: Something cannot be used, or dates come from a feed that would change them back.
    """
    stay = stay_of(session, stay_id)
    given = replace(draft, house=stay.house, reference=stay.uid)
    # A feed's UID may be longer than a reference that someone types.
    wanted, found = checked(replace(given, reference=None), houses, _REQUEST)
    problems = list(found)
    wanted = replace(wanted, reference=stay.uid)
    moved = (wanted.arrival, wanted.departure) != (stay.arrival, stay.departure)
    if stay.feed != BY_HAND and moved:
        problems.append(
            _REQUEST.problem(
                "arrival",
                f"and departure come from the feed {stay.feed}",
                "Change them where the feed comes from; the release window can be changed here.",
            )
        )
    if stay.cancelled_at is not None:
        problems.append(
            _REQUEST.problem("stay", "was cancelled", "Add it again with another reference.")
        )
    if problems:
        raise StayError(problems)
    return Saved(stay, Done.CHANGED if _put(stay, wanted) else Done.SAME)


def cancel_stay(session: Session, stay_id: int, now: dt.datetime) -> Stay:
    """Cancels a stay for good: no feed and no file brings it back. Again, it changes nothing.

    Raises:
        UnknownStayError: There is no such stay.
    """
    stay = stay_of(session, stay_id)
    if stay.feed == BY_HAND:
        stay.cancelled_at = stay.cancelled_at or now
    elif stay.cancelled_at is None or stay.cancelled_at == stay.last_seen_at:
        # Later than its feed's last word, so that it is told from a cancellation by the feed.
        stay.cancelled_at = max(now, stay.last_seen_at + dt.timedelta(microseconds=1))
    return stay


def stay_of(session: Session, stay_id: int) -> Stay:
    """The stay of that id, locked until the transaction ends.

    Raises:
        UnknownStayError: There is no such stay.
    """
    stay = session.get(Stay, stay_id, with_for_update=True)
    if stay is None:
        raise UnknownStayError(stay_id)
    return stay


def stays_of_number(session: Session, number: str, houses: Collection[str]) -> Sequence[Stay]:
    """All stays of those houses that the E.164 number belongs to, but for cancelled ones."""
    found = select(Stay).join(Stay.phones).where(StayPhone.number == number)
    open_ones = found.where(Stay.house.in_(houses), Stay.cancelled_at.is_(None))
    return session.scalars(open_ones.order_by(Stay.arrival, Stay.id)).all()


def list_stays(
    session: Session,
    houses: Mapping[str, House],
    now: dt.datetime,
    *,
    when: When | None = None,
    days: int | None = None,
    number: str | None = None,
    cancelled: bool = False,
) -> Sequence[Stay]:
    """The stays of these houses, by arrival.

    Args:
        when: Only those in progress, to come, or over; all where None.
        days: Only those that begin (coming) or ended (past) within so many days.
        number: Only those that this E.164 number belongs to.
        cancelled: Also the cancelled ones.
    """
    query = select(Stay).where(Stay.house.in_(houses)).order_by(Stay.arrival, Stay.id)
    if not cancelled:
        query = query.where(Stay.cancelled_at.is_(None))
    if number is not None:
        query = query.join(Stay.phones).where(StayPhone.number == number)
    return [
        stay
        for stay in session.scalars(query)
        if when is None or _lies(stay, houses[stay.house], now, when, days)
    ]


def _lies(stay: Stay, house: House, now: dt.datetime, when: When, days: int | None) -> bool:
    times = staying(stay, house)
    reach = dt.timedelta(days=days) if days is not None else None
    if when is When.PRESENT:
        return times.holds(now)
    if when is When.COMING:
        return now < times.start and (reach is None or times.start - now <= reach)
    return times.end <= now and (reach is None or now - times.end <= reach)

"""Stays: who is where and when; added, changed, cancelled; the door code only on asking."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from askhouse.values import House
from service.console.contexts import StayPage, StaysPage
from service.console.noting import note
from service.console.page import (
    Id,
    PageRoute,
    Poster,
    Text,
    Visit,
    Visitor,
    go,
    render,
)
from service.console.queries import stays_around, threads_of_stay
from service.console.views import Choice, StayForm, StayGroup, StayRow, StayView
from service.console.words import day
from service.stays.drafts import Draft
from service.stays.errors import StayError
from service.stays.release import staying
from service.stays.stays import When as Lies
from service.stays.stays import add_stay, cancel_stay, change_stay, draft_of
from service.tables import Stay

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)

_MOST, _MOST_PAST = 100, 20
_GROUPS = ((Lies.PRESENT, "Here now"), (Lies.COMING, "To come"), (Lies.PAST, "Before"))


@router.get("/stays")
def stays_page(request: Request, seen: Visitor, house: str = "", told: str = "") -> Response:
    return _page(request, seen, house=house, told=told)


def _typed(
    house: Annotated[Text, Form(max_length=100)] = "",
    arrival: Annotated[Text, Form(max_length=10)] = "",
    departure: Annotated[Text, Form(max_length=10)] = "",
    guests: Annotated[Text, Form(max_length=2000)] = "",
    phones: Annotated[Text, Form(max_length=2000)] = "",
    door_code: Annotated[Text, Form(max_length=200)] = "",
) -> StayForm:
    return StayForm(
        house=house,
        arrival=arrival,
        departure=departure,
        guests=guests,
        phones=phones,
        door_code=door_code,
    )


Typed = Annotated[StayForm, Depends(_typed)]


@router.post("/stays")
def add(request: Request, seen: Poster, typed: Typed) -> Response:
    first, last = _date(typed.arrival), _date(typed.departure)
    if first is None or last is None:
        problems = ("Give the day of arrival and the day of departure.",)
        return _page(request, seen, typed=typed, problems=problems)
    draft = Draft(
        house=typed.house,
        arrival=first,
        departure=last,
        guests=_lines(typed.guests),
        phones=_lines(typed.phones),
        door_code=typed.door_code or None,
    )
    try:
        with seen.database.writing() as session:
            saved = add_stay(session, draft, seen.houses, seen.now)
            session.flush()
            note(session, seen, "stay.add", f"stay:{saved.stay.id}")
    except StayError as error:
        return _page(request, seen, typed=typed, problems=_told(error))
    return go("/stays", "stay-added")


@router.get("/stays/{stay_id}")
def stay_page(request: Request, seen: Visitor, stay_id: Id, told: str = "") -> Response:
    with seen.database.reading() as session:
        return _stay_page(request, seen, session, seen.theirs(session, Stay, stay_id), told=told)


@router.post("/stays/{stay_id}/code")
def show_code(request: Request, seen: Poster, stay_id: Id) -> Response:
    """Shows the door code this once; that it was looked at is in the trail."""
    with seen.database.writing() as session:
        stay = seen.theirs(session, Stay, stay_id)
        note(session, seen, "stay.code.see", f"stay:{stay.id}")
        return _stay_page(request, seen, session, stay, code=stay.door_code or "")


@router.post("/stays/{stay_id}")
def change(request: Request, seen: Poster, stay_id: Id, typed: Typed) -> Response:
    """Makes the stay what the form says; a door code that is left empty stays what it is."""
    try:
        with seen.database.writing() as session:
            stands = draft_of(seen.theirs(session, Stay, stay_id))
            wanted = replace(
                stands,
                # A stay of a feed has its days from there, and no fields for them.
                arrival=_date(typed.arrival) or stands.arrival,
                departure=_date(typed.departure) or stands.departure,
                guests=_lines(typed.guests),
                phones=_lines(typed.phones),
                door_code=typed.door_code.strip() or stands.door_code,
            )
            change_stay(session, stay_id, wanted, seen.houses)
            note(session, seen, "stay.change", f"stay:{stay_id}")
    except StayError as error:
        with seen.database.reading() as session:
            stay = seen.theirs(session, Stay, stay_id)
            again = replace(typed, house="", door_code="")
            return _stay_page(request, seen, session, stay, typed=again, problems=_told(error))
    return go(f"/stays/{stay_id}", "stay-changed")


@router.post("/stays/{stay_id}/cancel")
def cancel(seen: Poster, stay_id: Id) -> Response:
    with seen.database.writing() as session:
        seen.theirs(session, Stay, stay_id)
        cancel_stay(session, stay_id, seen.now)
        note(session, seen, "stay.cancel", f"stay:{stay_id}")
    return go(f"/stays/{stay_id}", "stay-cancelled")


def _page(
    request: Request,
    seen: Visit,
    *,
    house: str = "",
    told: str = "",
    typed: StayForm | None = None,
    problems: tuple[str, ...] = (),
) -> Response:
    houses = {slug: each for slug, each in seen.houses.items() if house in ("", slug)}
    with seen.database.reading() as session:
        found = stays_around(session, list(houses), seen.now.date(), _MOST, _MOST_PAST)
    lie = {stay.id: _lies(stay, houses[stay.house], seen.now) for stay in found}
    groups = tuple(
        StayGroup(
            title=title, stays=tuple(_row(seen, stay) for stay in found if lie[stay.id] is lies)
        )
        for lies, title in _GROUPS
    )
    page = StaysPage(
        frame=seen.frame("Stays", "stays", told),
        houses=tuple(Choice(slug, each.name) for slug, each in seen.houses.items()),
        house=house,
        groups=tuple(group for group in groups if group.stays),
        opening=seen.opening,
        typed=typed or StayForm(house=house),
        problems=problems,
    )
    return render(request, page, 422 if problems else 200)


def _lies(stay: Stay, house: House, now: dt.datetime) -> Lies:
    times = staying(stay, house)
    if times.holds(now):
        return Lies.PRESENT
    return Lies.COMING if now < times.start else Lies.PAST


def _row(seen: Visit, stay: Stay) -> StayRow:
    today = seen.now.date()
    return StayRow(
        id=stay.id,
        house=seen.house_name(stay.house),
        guests=", ".join(stay.guests) or "No name given",
        arrival=day(stay.arrival, today),
        departure=day(stay.departure, today),
        phones=len(stay.phones),
        source=f"from {stay.feed}" if stay.feed else "entered by hand",
        cancelled=stay.cancelled_at is not None,
    )


def _stay_page(
    request: Request,
    seen: Visit,
    session: Session,
    stay: Stay,
    *,
    code: str = "",
    told: str = "",
    typed: StayForm | None = None,
    problems: tuple[str, ...] = (),
) -> Response:
    row = _row(seen, stay)
    numbers = tuple(sorted(phone.number for phone in stay.phones))
    stands = StayForm(
        arrival=stay.arrival.isoformat(),
        departure=stay.departure.isoformat(),
        guests="\n".join(stay.guests),
        phones="\n".join(numbers),
    )
    view = StayView(
        id=stay.id,
        house=row.house,
        guests=row.guests,
        arrival=row.arrival,
        departure=row.departure,
        source=row.source,
        numbers=numbers,
        by_hand=not stay.feed,
        has_code=bool(stay.door_code),
        cancelled=row.cancelled,
        threads=tuple(
            Choice(f"/messages/{thread.id}", thread.sender)
            for thread in threads_of_stay(session, stay.id)
        ),
    )
    page = StayPage(
        frame=seen.frame(row.guests, "stays", told),
        stay=view,
        code=code,
        typed=typed or stands,
        problems=problems,
    )
    return render(request, page, 422 if problems else 200)


# Of a list as a whole, and of one of it.
_FIELDS = {"phones": ("Phone numbers", "Phone number"), "guests": ("Guests", "Guest")}


def _told(error: StayError) -> tuple[str, ...]:
    return tuple(
        f"{_field(problem.field)} {problem.what}. {problem.mend}" for problem in error.problems
    )


def _field(name: str) -> str:
    """A field as a person says it: `phones[0]` is phone number 1."""
    of, _, index = name.partition("[")
    if of not in _FIELDS:
        return of.replace("_", " ").capitalize()
    every, one = _FIELDS[of]
    return f"{one} {int(index.rstrip(']')) + 1}" if index else every


def _lines(text: str) -> tuple[str, ...]:
    """Names or numbers, one a line or with commas between."""
    return tuple(each.strip() for each in text.replace(",", "\n").splitlines() if each.strip())


def _date(text: str) -> dt.date | None:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        return None

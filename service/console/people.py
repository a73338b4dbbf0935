"""People: an owner invites, gives roles and houses, and makes the tokens of programs."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response
from sqlalchemy import delete, func, select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from service.access.sign_in import INVITATION, EmailTakenError, invite, new_link
from service.access.tokens import Scope, new_token, revoke
from service.console.contexts import PeoplePage
from service.console.house_views import (
    PersonRow,
    Shown,
    TokenRow,
)
from service.console.noting import note
from service.console.page import (
    Id,
    NotHereError,
    PageRoute,
    Poster,
    Text,
    Visit,
    Visitor,
    go,
    render,
)
from service.console.views import (
    Choice,
)
from service.console.words import when
from service.stays.phone_numbers import NumberError, to_e164
from service.tables import ApiToken, Person, Role, SignIn

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)

_SCOPES = (
    Choice(Scope.ASK, "Ask: draft replies"),
    Choice(Scope.STAYS, "Stays: read and change them"),
    Choice(Scope.ALERTS, "Alerts: read, take and close them"),
    Choice(Scope.METRICS, "Metrics: read the counters"),
)
_LAST = "There must be an owner: give someone else that role first."


@router.get("/people")
def people_page(request: Request, seen: Visitor, told: str = "") -> Response:
    seen.must_own()
    return _page(request, seen, told=told)


@router.post("/people")
def add(
    request: Request,
    seen: Poster,
    name: Annotated[Text, Form(max_length=100)],
    email: Annotated[Text, Form(max_length=320)],
    role: Annotated[Role, Form()] = Role.STAFF,
    houses: Annotated[list[str] | None, Form()] = None,
) -> Response:
    seen.must_own()
    chosen = sorted(set(houses or []) & set(seen.houses))
    if "@" not in email.strip("@ ") or not name.strip():
        return _page(request, seen, problem="Write a name and an e-mail address.")
    if role is Role.STAFF and not chosen:
        return _page(request, seen, problem="Choose at least one house for them.")
    try:
        with seen.database.writing() as session:
            person, key = invite(
                session,
                name=name.strip(),
                email=email.strip(),
                role=role,
                houses=[] if role is Role.OWNER else chosen,
                now=seen.now,
            )
            note(session, seen, "person.invite", f"person:{person.id}")
    except (EmailTakenError, IntegrityError):
        return _page(request, seen, problem="Someone signs in with that address already.")
    return _page(request, seen, told="invited", shown=_link(request, name.strip(), key))


@router.post("/people/{person_id}")
def change(
    request: Request,
    seen: Poster,
    person_id: Id,
    role: Annotated[Role, Form()],
    number: Annotated[Text, Form(max_length=40)] = "",
    houses: Annotated[list[str] | None, Form()] = None,
) -> Response:
    seen.must_own()
    country = next((house.country for house in seen.houses.values()), None)
    try:
        e164 = to_e164(number, country) if number.strip() else None
    except NumberError:
        return _page(
            request, seen, problem="That is no phone number; begin with + and the country."
        )
    try:
        with seen.database.writing() as session:
            person = _person(session, person_id)
            if role is not Role.OWNER and _is_last_owner(session, person):
                return _page(request, seen, problem=_LAST)
            person.role, person.number = role, e164
            known = set(seen.houses)
            # A house that is not open just now is kept: its files may be mended tomorrow.
            kept = set(person.houses) - known
            person.houses = [] if role is Role.OWNER else sorted(kept | (set(houses or []) & known))
            note(session, seen, "person.change", f"person:{person.id}")
    except IntegrityError:
        return _page(request, seen, problem="Someone else has that phone number.")
    return go("/people", "person")


@router.post("/people/{person_id}/link")
def link(request: Request, seen: Poster, person_id: Id) -> Response:
    seen.must_own()
    with seen.database.writing() as session:
        person = _person(session, person_id)
        key = new_link(session, person, seen.now, INVITATION)
        note(session, seen, "person.link", f"person:{person.id}")
        name = person.name
    return _page(request, seen, told="invited", shown=_link(request, name, key))


@router.post("/people/{person_id}/leave")
def leave(request: Request, seen: Poster, person_id: Id) -> Response:
    seen.must_own()
    with seen.database.writing() as session:
        person = _person(session, person_id)
        if _is_last_owner(session, person):
            return _page(request, seen, problem=_LAST)
        person.left_at, person.number, person.email = seen.now, None, None
        session.execute(delete(SignIn).where(SignIn.person_id == person.id))
        note(session, seen, "person.leave", f"person:{person.id}")
    return go("/people", "person")


@router.post("/tokens")
def make_token(
    request: Request,
    seen: Poster,
    name: Annotated[Text, Form(max_length=100)],
    scopes: Annotated[list[Scope] | None, Form()] = None,
    houses: Annotated[list[str] | None, Form()] = None,
) -> Response:
    seen.must_own()
    if not name.strip() or not scopes:
        return _page(request, seen, problem="Name the program, and choose what it may do.")
    chosen = sorted(set(houses or []) & set(seen.houses))
    try:
        with seen.database.writing() as session:
            row, token = new_token(
                session, name=name.strip(), scopes=scopes, houses=chosen, now=seen.now
            )
            note(session, seen, "token.make", f"token:{row.id}")
    except IntegrityError:
        return _page(request, seen, problem="Another token has that name.")
    return _page(request, seen, shown=Shown(words=f"The token of {name.strip()}", value=token))


@router.post("/tokens/{token_id}/revoke")
def revoke_token(seen: Poster, token_id: Id) -> Response:
    seen.must_own()
    with seen.database.writing() as session:
        revoke(session, token_id, seen.now)
        note(session, seen, "token.revoke", f"token:{token_id}")
    return go("/people", "revoked")


def _link(request: Request, name: str, key: str) -> Shown:
    return Shown(
        words=f"The link for {name}; it works for three days, once",
        value=f"{request.base_url}start/{key}",
    )


def _person(session: Session, person_id: int) -> Person:
    person = session.get(Person, person_id)
    if person is None or person.left_at is not None:
        raise NotHereError
    return person


def _is_last_owner(session: Session, person: Person) -> bool:
    owners = session.scalar(
        select(func.count()).where(
            Person.role == Role.OWNER, Person.left_at.is_(None), Person.password_hash.is_not(None)
        )
    )
    return person.role == Role.OWNER and person.password_hash is not None and owners == 1


def _page(
    request: Request,
    seen: Visit,
    *,
    told: str = "",
    problem: str = "",
    shown: Shown | None = None,
) -> Response:
    with seen.database.reading() as session:
        people = session.scalars(
            select(Person).where(Person.left_at.is_(None)).order_by(Person.role, Person.name)
        ).all()
        tokens = session.scalars(select(ApiToken).order_by(ApiToken.id.desc())).all()
    page = PeoplePage(
        frame=seen.frame("People", "people", told),
        people=tuple(_row(seen, person) for person in people),
        tokens=tuple(_token(seen, token) for token in tokens),
        houses=tuple(Choice(slug, each.name) for slug, each in seen.houses.items()),
        scopes=_SCOPES,
        shown=shown,
        problem=problem,
    )
    return render(request, page, 422 if problem else 200)


def _row(seen: Visit, person: Person) -> PersonRow:
    owner = person.role == Role.OWNER
    names = "all houses" if owner else ", ".join(map(seen.house_name, person.houses)) or "no house"
    return PersonRow(
        id=person.id,
        name=person.name,
        email=person.email or "",
        number=person.number or "",
        role=person.role,
        houses=tuple(person.houses),
        house_names=names,
        state="" if person.password_hash else "Invited",
        me=person.id == seen.person_id,
    )


def _token(seen: Visit, token: ApiToken) -> TokenRow:
    return TokenRow(
        id=token.id,
        name=token.name,
        scopes=", ".join(token.scopes),
        houses=", ".join(map(seen.house_name, token.houses)) or "all houses",
        made=when(token.created_at, seen.now, seen.zone(None)),
        revoked=token.revoked_at is not None,
    )

"""Coming in and going out: sign-in, the one-time link, sign-out."""

from __future__ import annotations

import math
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from service.access.forms import check_form, check_origin, form_token
from service.access.keys import new_key
from service.access.passwords import FEWEST, hash_password, is_dated, matches, weakness
from service.access.sign_in import (
    SESSION,
    EmailTakenError,
    LinkSpentError,
    open_session,
    person_of_link,
    set_password,
    sign_out,
    stored_password,
    sweep,
)
from service.access.tries import Tries, network_of
from service.console.contexts import SetPasswordPage, SignInPage
from service.console.page import (
    NotThisError,
    PageRoute,
    Poster,
    Text,
    cookie_name,
    database_of,
    go,
    now_of,
    render,
)
from service.console.words import TOLD
from service.tables import Person

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)

_WRONG = "That is not the e-mail address and password of anyone here."
_BEFORE = "before"  # the cookie that a form is bound to while there is no session
_SPENT = (
    "This link was used already, or is too old. Whoever sent it can make a new one; the owner's "
    "own is printed when the service starts, as long as nobody has a password."
)


@router.get("/sign-in")
def sign_in_page(request: Request, next: str = "", told: str = "") -> Response:
    return _sign_in_page(request, next=next, told=told)


@router.post("/sign-in")
def sign_in(
    request: Request,
    email: Annotated[Text, Form(max_length=320)],
    password: Annotated[Text, Form(max_length=1000)],
    form: Annotated[Text, Form()] = "",
    next: Annotated[Text, Form()] = "",
) -> Response:
    check_origin(request)
    check_form(request.cookies.get(cookie_name(request, _BEFORE), ""), form)
    names: Tries = request.app.state.name_tries
    addresses: Tries = request.app.state.address_tries
    name, address = email.strip().lower(), network_of(request.client.host if request.client else "")
    wait = max(names.wait(name), addresses.wait(address))
    if wait > 0:
        minutes = math.ceil(wait / 60)
        problem = f"Too many tries. Try again in {minutes} min."
        return _sign_in_page(request, email=email, next=next, problem=problem, status=429)
    database, now = database_of(request), now_of(request)
    with database.reading() as session:
        stored = stored_password(session, name)
    if not matches(stored.password_hash, password) or stored.person_id is None:
        names.failed(name)
        addresses.failed(address)
        return _sign_in_page(request, email=email, next=next, problem=_WRONG, status=401)
    names.forgive(name)
    # A hash of older parameters can be made anew only now, while the password is at hand.
    anew = hash_password(password) if is_dated(stored.password_hash or "") else None
    with database.writing() as session:
        sweep(session, now)
        if anew is not None:
            session.get_one(Person, stored.person_id).password_hash = anew
        key = open_session(session, stored.person_id, now)
    return _entered(request, key, next)


@router.post("/sign-out")
def leave(request: Request, seen: Poster) -> Response:
    with seen.database.writing() as session:
        sign_out(session, seen.key)
    response = go("/sign-in", "signed-out")
    response.delete_cookie(cookie_name(request), path="/")
    return response


@router.get("/start/{key}")
def start_page(request: Request, key: str) -> Response:
    try:
        with database_of(request).reading() as session:
            person = person_of_link(session, key, now_of(request))
    except LinkSpentError:
        raise NotThisError(_SPENT, 410) from None
    return _start_page(request, person.name, person.email or "")


@router.post("/start/{key}")
def start(
    request: Request,
    key: str,
    name: Annotated[Text, Form(max_length=100)],
    email: Annotated[Text, Form(max_length=320)],
    password: Annotated[Text, Form(max_length=1000)],
) -> Response:
    check_origin(request)  # the link's key is what another site cannot know
    problem = weakness(password)
    if "@" not in email.strip("@ "):
        problem = "Write an e-mail address; it is your name for signing in."
    if problem:
        return _start_page(request, name, email, problem)
    try:
        with database_of(request).reading() as session:
            person_of_link(session, key, now_of(request))
        hashed = hash_password(password)
        with database_of(request).writing() as session:
            opened = set_password(
                session,
                key,
                name=name.strip() or "Owner",
                email=email.strip(),
                password_hash=hashed,
                now=now_of(request),
            )
    except LinkSpentError:
        raise NotThisError(_SPENT, 410) from None
    except EmailTakenError:
        return _start_page(request, name, email, "Someone else signs in with that address.")
    return _entered(request, opened, "")


def _sign_in_page(
    request: Request,
    *,
    email: str = "",
    next: str = "",
    problem: str = "",
    told: str = "",
    status: int = 200,
) -> Response:
    name = cookie_name(request, _BEFORE)
    before = request.cookies.get(name) or new_key()
    page = SignInPage(
        version=str(request.app.state.console_version),
        form=form_token(before),
        email=email,
        next=next,
        problem=problem,
        told=TOLD.get(told, ""),
    )
    response = render(request, page, status)
    _keep(request, response, name, before, None)
    return response


def _start_page(request: Request, name: str, email: str, problem: str = "") -> Response:
    page = SetPasswordPage(
        version=str(request.app.state.console_version),
        name=name,
        email=email,
        fewest=FEWEST,
        problem=problem,
    )
    return render(request, page, 422 if problem else 200)


def _entered(request: Request, key: str, next: str) -> Response:
    # Only a path of our own: //elsewhere and /\elsewhere are addresses of another site.
    own = next.startswith("/") and not next.startswith(("//", "/\\")) and next.isprintable()
    response = go(next if own else "/paste")
    _keep(request, response, cookie_name(request), key, int(SESSION.total_seconds()))
    response.delete_cookie(cookie_name(request, _BEFORE), path="/")
    return response


def _keep(request: Request, response: Response, name: str, value: str, age_s: int | None) -> None:
    response.set_cookie(
        name,
        value,
        max_age=age_s,
        path="/",
        secure=request.url.scheme == "https",
        httponly=True,
        samesite="lax",
    )

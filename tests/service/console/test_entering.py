"""Coming in: the one-time link, signing in, what a guesser meets, and going out."""

from __future__ import annotations

import datetime as dt
import re

import httpx
import pytest
from argon2 import PasswordHasher

from service.access.sign_in import SESSION, first_link, invite
from service.database import Database
from service.tables import Person, Role, SignIn
from tests.service.console.conftest import NOW, Enter, Served, Visitor

PASSWORD = "a ferry with a blue door"


@pytest.fixture
def browser(served: Served):  # type: ignore[no-untyped-def]
    """A browser of nobody yet."""
    served.app.state.name_tries._failed.clear()
    served.app.state.address_tries._failed.clear()
    with httpx.Client(base_url=served.url, timeout=30) as client:
        yield client


def set_up(browser: httpx.Client, database: Database) -> httpx.Response:
    """The owner follows the link of the first start."""
    with database.writing() as session:
        key = first_link(session, NOW)
    values = {"name": "Wilma", "email": "Wilma@example.org", "password": PASSWORD}
    return browser.post(f"/start/{key}", data=values)


def sign_in(browser: httpx.Client, password: str, next: str = "") -> httpx.Response:
    """Fills in the sign-in page as it comes."""
    page = browser.get("/sign-in").text
    form = re.search(r'name="form" value="(\w+)"', page)
    assert form
    values = {"email": "wilma@example.org", "password": password, "form": form[1], "next": next}
    return browser.post("/sign-in", data=values)


def test_the_first_link_makes_an_owner(browser: httpx.Client, database: Database) -> None:
    """
    The link of the first start sets the owner's password, signs them in, and works once.
    """
    answer = set_up(browser, database)

    assert answer.status_code == 303
    assert browser.get("/paste").status_code == 200
    with database.reading() as session:
        owner = session.query(Person).one()
        assert (owner.role, owner.email) == (Role.OWNER, "wilma@example.org")
        assert owner.password_hash is not None
        assert owner.password_hash.startswith("$argon2id$")
        assert first_link(session, NOW) is None
    again = browser.post(
        "/start/anything", data={"name": "x", "email": "x@y", "password": PASSWORD}
    )
    assert again.status_code == 410


def test_only_the_newest_link_opens(browser: httpx.Client, database: Database) -> None:
    """
    A second start makes a new link, and the one in the older log opens nothing.
    """
    with database.writing() as session:
        first = first_link(session, NOW)
        second = first_link(session, NOW)

    assert browser.get(f"/start/{first}").status_code == 410
    assert browser.get(f"/start/{second}").status_code == 200


def test_a_weak_password_is_refused(browser: httpx.Client, database: Database) -> None:
    """
    Eleven characters are too few: the link stays good, and what was typed stays in the form.
    """
    with database.writing() as session:
        key = first_link(session, NOW)
    answer = browser.post(
        f"/start/{key}", data={"name": "Wilma", "email": "w@example.org", "password": "11 letters!"}
    )

    assert answer.status_code == 422
    assert "At least 12" in answer.text or "at least 12" in answer.text
    assert 'value="Wilma"' in answer.text
    assert browser.get(f"/start/{key}").status_code == 200


def test_the_cookie_is_kept_from_scripts(browser: httpx.Client, database: Database) -> None:
    """
    The session's cookie is HttpOnly and SameSite=Lax, and only its hash is stored.
    """
    header = set_up(browser, database).headers["set-cookie"]

    assert "HttpOnly" in header
    assert "SameSite=lax" in header
    key = browser.cookies["askhouse-session"]
    with database.reading() as session:
        assert key not in {row.token_hash for row in session.query(SignIn)}


def test_signing_in_and_out(browser: httpx.Client, database: Database) -> None:
    """
    The right password opens the page that was asked for; after signing out the session is no more.
    """
    set_up(browser, database)
    browser.cookies.clear()
    refused = sign_in(browser, "a ferry with a red door")
    assert refused.status_code == 401
    assert browser.get("/alerts").headers["location"] == "/sign-in?next=%2Falerts"

    answer = sign_in(browser, PASSWORD, next="/alerts")

    assert answer.headers["location"] == "/alerts"
    page = browser.get("/alerts")
    assert page.status_code == 200
    token = re.search(r'name="form" value="(\w+)"', page.text)
    assert token
    key = browser.cookies["askhouse-session"]
    browser.post("/sign-out", data={"form": token[1]})
    browser.cookies.set("askhouse-session", key)
    assert browser.get("/alerts").status_code == 303


@pytest.mark.parametrize(
    "next", ["//elsewhere.example", "/\\elsewhere.example", "https://e.example"]
)
def test_nobody_is_sent_elsewhere(browser: httpx.Client, database: Database, next: str) -> None:
    """
    After signing in one goes to a page of ours, whatever the address said.
    """
    set_up(browser, database)
    browser.cookies.clear()

    assert sign_in(browser, PASSWORD, next).headers["location"] == "/paste"


def test_a_guesser_has_to_wait(browser: httpx.Client, database: Database) -> None:
    """
    After ten wrong passwords for a name even the right one is refused, with 429.
    """
    set_up(browser, database)
    browser.cookies.clear()

    answers = [sign_in(browser, "a ferry with no door").status_code for _ in range(10)]

    assert answers == [401] * 10
    assert sign_in(browser, PASSWORD).status_code == 429


def test_an_older_hash_is_made_anew(browser: httpx.Client, database: Database) -> None:
    """
    Signing in with a hash of weaker parameters leaves one of today's.
    """
    set_up(browser, database)
    browser.cookies.clear()
    weaker = PasswordHasher(time_cost=1, memory_cost=8192, parallelism=1).hash(PASSWORD)
    with database.writing() as session:
        session.query(Person).one().password_hash = weaker

    assert sign_in(browser, PASSWORD).status_code == 303

    with database.reading() as session:
        stored = session.query(Person).one().password_hash
        assert stored is not None
        assert "m=65536,t=3,p=4" in stored


def test_a_session_ends(owner: Visitor, served: Served) -> None:
    """
    A session works until its last moment, and not at the end of it.
    """
    served.clock.now = NOW + SESSION - dt.timedelta(seconds=1)
    assert owner.get("/alerts").status_code == 200
    served.clock.now = NOW + SESSION
    assert owner.get("/alerts").status_code == 303


def test_who_left_is_out(enter: Enter, database: Database) -> None:
    """
    A person who has left is signed out at once, wherever they are.
    """
    owner, staff = enter("ada"), enter("tom", "ferry-lodge")
    assert staff.get("/alerts").status_code == 200
    with database.reading() as session:
        tom = session.query(Person).filter_by(name="Tom").one().id

    owner.send_form(f"/people/{tom}/leave")

    assert staff.get("/alerts").status_code == 303


def test_an_address_is_one_persons(browser: httpx.Client, database: Database) -> None:
    """
    Who is invited cannot take the address of someone else when they set their password.
    """
    set_up(browser, database)
    with database.writing() as session:
        _, key = invite(
            session,
            name="Tom",
            email="tom@example.org",
            role=Role.STAFF,
            houses=["ferry-lodge"],
            now=NOW,
        )
    answer = browser.post(
        f"/start/{key}",
        data={"name": "Tom", "email": "wilma@example.org", "password": "a mill with two sails"},
    )

    assert answer.status_code == 422
    assert "Someone else signs in with that address" in answer.text

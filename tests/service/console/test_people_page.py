"""People: invited, given houses, sent a new link, gone; and the tokens of programs."""

from __future__ import annotations

import re

import httpx

from service.database import Database
from service.tables import ApiToken, Person, Role, Trail
from tests.service.console.conftest import LODGE, LOFT, Enter, Served, Visitor

TOM = {"name": "Tom", "email": "Tom@example.org", "role": "staff", "houses": LODGE}


def link_in(page: str) -> str:
    found = re.search(r'readonly value="([^"]+)"', page)
    assert found
    return found[1]


def test_an_invitation(owner: Visitor, served: Served, database: Database) -> None:
    """
    The link that is shown once lets the invited person set a password, and see only their house.
    """
    page = owner.send_form("/people", **TOM)
    with httpx.Client() as browser:
        link = link_in(page.text)
        values = {"name": "Tom", "email": "tom@example.org", "password": "a mill with two sails"}
        assert browser.post(link, data=values).status_code == 303
        seen = browser.get(f"{served.url}/houses/{LODGE}")
        assert seen.status_code == 200
        assert browser.get(f"{served.url}/houses/{LOFT}").status_code == 404
    assert link not in owner.get("/people").text
    with database.reading() as session:
        assert [line.did for line in session.query(Trail)] == ["person.invite"]


def test_an_address_is_taken_once(owner: Visitor, database: Database) -> None:
    """
    Two people cannot have one address, however it is written.
    """
    owner.send_form("/people", **TOM)
    answer = owner.send_form("/people", **(TOM | {"email": "TOM@EXAMPLE.ORG"}))

    assert answer.status_code == 422
    with database.reading() as session:
        assert session.query(Person).count() == 2


def test_staff_need_a_house(owner: Visitor) -> None:
    """
    Staff without a house would see nothing; the page asks for one.
    """
    answer = owner.send_form("/people", name="Tom", email="t@example.org", role="staff")

    assert answer.status_code == 422
    assert "Choose at least one house" in answer.text


def test_the_last_owner_stays(owner: Visitor, enter: Enter, database: Database) -> None:
    """
    The last owner can neither leave nor become staff; with a second owner they can.
    """
    for path, values in (("/people/1/leave", {}), ("/people/1", {"role": "staff"})):
        answer = owner.send_form(path, **values)
        assert answer.status_code == 422
        assert "There must be an owner" in answer.text
    enter("eve")

    assert owner.send_form("/people/1/leave").status_code == 303


def test_houses_and_number_are_changed(owner: Visitor, enter: Enter, database: Database) -> None:
    """
    What the form says is what they have from then on, at once.
    """
    tom = enter("tom", LODGE)
    assert tom.get(f"/houses/{LOFT}").status_code == 404

    values = {"role": "staff", "houses": [LODGE, LOFT], "number": "020 7946 0777"}
    assert owner.send_form("/people/2", **values).status_code == 303

    assert tom.get(f"/houses/{LOFT}").status_code == 200
    with database.reading() as session:
        person = session.get_one(Person, 2)
        assert (person.number, person.role) == ("+442079460777", Role.STAFF)


def test_a_token_is_shown_once(owner: Visitor, database: Database) -> None:
    """
    A new token is shown on the page that made it, and on no other; revoked, it says so.
    """
    page = owner.send_form("/tokens", name="calendar", scopes=["stays", "ask"], houses=LODGE)
    token = link_in(page.text)
    assert token.startswith("askhouse_")
    assert token not in owner.get("/people").text
    with database.reading() as session:
        row = session.query(ApiToken).one()
        assert (row.scopes, row.houses) == (["stays", "ask"], [LODGE])

    owner.send_form(f"/tokens/{row.id}/revoke")

    assert "Revoked" in owner.get("/people").text


def test_a_token_needs_a_scope(owner: Visitor) -> None:
    """
    A token for nothing is not made.
    """
    assert owner.send_form("/tokens", name="calendar").status_code == 422

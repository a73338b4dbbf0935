"""askhouse people."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest
from sqlalchemy import select

from askhouse.errors import SettingsError
from service.access.sign_in import LinkSpentError, new_link, person_of_link
from service.database import Database
from service.privacy.trail import verify
from service.tables import Person, Trail
from tests.service.commands.running import run
from tests.service.privacy.filling import NOW


@pytest.fixture(autouse=True)
def _people(database: Database) -> None:
    """Ola owns, Sam looks after one house and was invited, Kim has left."""
    with database.writing() as session:
        for name, role, password, left in (
            ("Ola", "owner", "a hash", None),
            ("Sam", "staff", None, None),
            ("Kim", "owner", "a hash", NOW),
        ):
            session.add(
                Person(
                    name=name,
                    email=f"{name.lower()}@example.org",
                    role=role,
                    houses=["pine-hut"] if role == "staff" else [],
                    password_hash=password,
                    created_at=NOW,
                    left_at=left,
                )
            )


@pytest.mark.parametrize(
    ("who", "name"),
    [("owner", "Ola"), ("ola@example.org", "Ola"), (" Sam@Example.ORG ", "Sam")],
)
def test_a_link_lets_them_in_again(database: Database, who: str, name: str) -> None:
    """
    Standard output is the link alone; it opens for three days, and an earlier one no more.
    """
    now = dt.datetime.now(dt.UTC)
    with database.writing() as session:
        person = session.scalars(select(Person).where(Person.name == name)).one()
        old = new_link(session, person, now, dt.timedelta(days=3))

    made = run(database, "people", "link", who)

    assert made.exit_code == 0
    start, _, key = made.stdout.strip().rpartition("/")
    assert start == "http://127.0.0.1:8321/start"
    with database.reading() as session:
        assert person_of_link(session, key, now + dt.timedelta(days=2, hours=23)).name == name
        for spent, when in ((old, now), (key, now + dt.timedelta(days=3, minutes=1))):
            with pytest.raises(LinkSpentError):
                person_of_link(session, spent, when)


def test_the_link_names_where_the_service_is_reached(database: Database, tmp_path: Path) -> None:
    """
    `alerts.base_url` of the service's file, without a slash at its end.
    """
    file = tmp_path / "service.yaml"
    file.write_text("alerts: {base_url: 'https://stay.example.org/'}\n", encoding="utf-8")

    made = run(database, "people", "link", "owner", "--service-file", str(file))

    assert made.stdout.startswith("https://stay.example.org/start/")


def test_it_is_in_the_trail_without_the_link(database: Database) -> None:
    """
    That the shell made it, and for whom by number; neither address nor key.
    """
    made = run(database, "people", "link", "owner")

    with database.reading() as session:
        ola = session.scalars(select(Person.id).where(Person.name == "Ola")).one()
        (line,) = session.scalars(select(Trail)).all()
        assert (line.who, line.did, line.subject) == ("command", "person.link", f"person:{ola}")
        assert verify(session) is None
        assert made.stdout.strip().rpartition("/")[2] not in repr(line.details)


@pytest.mark.parametrize("who", ["kim@example.org", "nobody@example.org"])
def test_who_is_not_here_gets_none(database: Database, who: str) -> None:
    """
    Nothing is made for one who left, nor for a stranger, and nothing is in the trail.
    """
    result = run(database, "people", "link", who)

    assert isinstance(result.exception, SettingsError)
    assert "askhouse people list" in str(result.exception)
    with database.reading() as session:
        assert session.scalars(select(Trail)).all() == []


def test_one_of_two_owners_must_be_named(database: Database) -> None:
    """
    A guess would let the wrong one in.
    """
    with database.writing() as session:
        session.scalars(select(Person).where(Person.name == "Sam")).one().role = "owner"

    result = run(database, "people", "link", "owner")

    assert isinstance(result.exception, SettingsError)
    assert "2 owners" in str(result.exception)


def test_list_names_who_is_here(database: Database) -> None:
    """
    Number, name, address, role, houses, and who has no password yet.
    """
    with database.reading() as session:
        ids = {each.name: each.id for each in session.scalars(select(Person))}

    assert run(database, "people", "list").stdout.splitlines() == [
        f"{ids['Ola']} Ola, ola@example.org: owner; all houses",
        f"{ids['Sam']} Sam, sam@example.org: staff; pine-hut; has no password yet",
    ]

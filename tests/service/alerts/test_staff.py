"""TAKE by text message: what it takes, and what it answers."""

from __future__ import annotations

import re

import pytest
from sqlalchemy import select

from service.alerts.ladder import climb
from service.alerts.settings import AlertSettings
from service.alerts.staff import read_staff
from service.alerts.take import close
from service.database import Database
from service.tables import Delivery, Escalation, Person
from tests.service.alerts.staging import (
    HOUSES,
    LINES,
    NOON,
    add_alert,
    add_people,
    add_thread,
    make_settings,
    minutes,
)

SETTINGS = make_settings()


def texted(database: Database, text: str, name: str = "Ola", **more: bool) -> str | None:
    with database.writing() as session:
        person = session.scalars(select(Person).where(Person.name == name)).one()
        return read_staff(
            session, person, text, NOON + minutes(2), houses=HOUSES, lines=LINES, **more
        )


def stage(database: Database, *levels: str, settings: AlertSettings = SETTINGS) -> list[int]:
    with database.writing() as session:
        add_people(session)
        thread = add_thread(session)
        ids = [add_alert(session, thread, level=level).id for level in levels]
        climb(session, settings, HOUSES, NOON)
    return ids


def states(database: Database) -> list[str]:
    with database.reading() as session:
        return list(session.scalars(select(Escalation.state).order_by(Escalation.id)))


@pytest.mark.parametrize(
    "text", ["TAKE", "take", " Take. ", "TAKE {id}", "take #{id}!", "Take{id}"]
)
def test_take_takes_what_was_texted(database: Database, text: str) -> None:
    """The word, with the alert's number or without, in any case and with common marks."""
    (alert_id,) = stage(database, "emergency")

    said = texted(database, text.format(id=alert_id))

    assert said == (
        f"You have alert {alert_id} now. EMERGENCY: someone may be in danger, Ferry Lodge."
    )
    assert states(database) == ["taken"]


@pytest.mark.parametrize(
    "text", ["take the bins out", "I take it", "mistake", "TAKE 1 2", "", "where do I take it?"]
)
def test_other_words_steer_nothing(database: Database, text: str) -> None:
    """A message that is more than the word is an ordinary one, and is answered as such."""
    stage(database, "emergency")

    assert texted(database, text) is None
    assert states(database) == ["open"]


def test_of_several_none_is_taken_by_guess(database: Database) -> None:
    """To take another than was meant would silence it: they are named, and the number takes one."""
    first, second = stage(database, "emergency", "urgent")

    said = texted(database, "TAKE")

    assert said is not None
    assert said.split("\n") == [
        "Several are open. Reply with one of:",
        f"TAKE {second}: Urgent: someone may be in danger, Ferry Lodge",
        f"TAKE {first}: EMERGENCY: someone may be in danger, Ferry Lodge",
    ]
    assert states(database) == ["open", "open"]
    texted(database, f"TAKE {second}")
    assert states(database) == ["open", "taken"]
    assert str(texted(database, "TAKE")).startswith(f"You have alert {first} now.")


@pytest.mark.parametrize("alerts", [{"base_url": "https://stay.example.org"}, {}])
def test_with_a_code_a_forged_number_takes_nothing(
    database: Database, alerts: dict[str, object]
) -> None:
    """
    Who only knows the staff's number, and can count alerts, silences none; the six digits of the
    alert's own text take that one, in every round the same.
    """
    settings = make_settings(alerts={**alerts, "take_code": True})
    alert_id, _ = stage(database, "emergency", "urgent", settings=settings)
    with database.writing() as session:
        for hour in range(1, 6):
            climb(session, settings, HOUSES, NOON + minutes(60 * hour))
        told = session.scalars(
            select(Delivery.text).where(
                Delivery.channel == "line", Delivery.escalation_id == alert_id
            )
        ).all()
    codes = {code for text in told for code in re.findall(r"Reply TAKE (\d+)", text)}
    (code,) = codes
    assert len(told) > 1
    assert len(code) == 6

    for forged in ("TAKE", f"TAKE {alert_id}", f"TAKE {(int(code) + 1) % 10**6:06}"):
        said = texted(database, forged, take_code=True)
        assert said == "Reply TAKE and the six digits that the alert's text names."
    assert states(database) == ["open", "open"]
    assert str(texted(database, f"take {code}", take_code=True)).startswith(
        f"You have alert {alert_id} now."
    )
    assert states(database) == ["taken", "open"]


def test_what_was_not_texted_is_not_taken_without_its_number(database: Database) -> None:
    """An alert that went to others' mailboxes alone is not what the person means."""
    with database.writing() as session:
        add_people(session)
        add_alert(session, house="pine-hut")
        climb(session, SETTINGS, HOUSES, NOON)

    assert texted(database, "TAKE") == "No alert that was texted to you is open."
    assert states(database) == ["open"]


def test_staff_take_only_alerts_of_their_houses(database: Database) -> None:
    """To staff of another house an alert is not there; its house is not told."""
    (alert_id,) = stage(database, "emergency")

    assert texted(database, f"TAKE {alert_id}", "Sam") == f"There is no alert {alert_id} for you."
    assert texted(database, "TAKE 999999999", "Ola") == "There is no alert 999999999 for you."
    assert states(database) == ["open"]


def test_who_comes_second_is_told_who_has_it(database: Database) -> None:
    """By name, and that they have it themselves where they do."""
    (alert_id,) = stage(database, "emergency")
    with database.writing() as session:
        session.add(
            Person(name="Kim", number="+442079460044", role="owner", houses=[], created_at=NOON)
        )
    texted(database, "TAKE")

    assert str(texted(database, f"TAKE {alert_id}")).startswith(
        f"You have alert {alert_id} already"
    )
    assert str(texted(database, f"TAKE {alert_id}", "Kim")).startswith(
        f"Ola has alert {alert_id} already."
    )
    with database.writing() as session:
        close(session, alert_id, "person:1", NOON)
    assert str(texted(database, f"TAKE {alert_id}", "Kim")).startswith("Ola has")

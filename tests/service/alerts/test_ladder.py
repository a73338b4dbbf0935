"""Climbing in the database: who is told when, once each, until someone takes it."""

from __future__ import annotations

import logging
import re
import threading

import pytest
from sqlalchemy import select

from service.access.keys import key_hash
from service.alerts.ladder import climb
from service.alerts.settings import AlertSettings
from service.database import Database
from service.tables import Escalation, EscalationState, Person
from tests.service.alerts.staging import (
    ADA,
    HOUSES,
    LINE,
    NOON,
    OLA_NUMBER,
    SECTIONS,
    add_alert,
    add_people,
    add_thread,
    deliveries,
    make_settings,
    minutes,
)

SETTINGS = make_settings()


def stage(database: Database, **alert: object) -> int:
    """People, a thread of Ada's and an alert about it."""
    with database.writing() as session:
        add_people(session)
        return add_alert(session, add_thread(session), **alert).id


def at(database: Database, after_min: float, settings: AlertSettings = SETTINGS) -> int:
    with database.writing() as session:
        return climb(session, settings, HOUSES, NOON + minutes(after_min))


def keys(database: Database) -> list[str]:
    return [delivery.key for delivery in deliveries(database)]


def test_an_alert_climbs_until_it_has_gone_round(database: Database) -> None:
    """Each rung's contacts are told at their time, in rounds, whatever the looks in between."""
    alert = stage(database)

    for after_min in (0, 1, 4.9, 5, 19, 20, 30, 39, 40, 45):
        at(database, after_min)

    told = [(d.key, (d.created_at - NOON) / minutes(1)) for d in deliveries(database)]
    assert told == [
        (f"alert:{alert}:0:0:ola-push", 0),
        (f"alert:{alert}:0:0:ola-text", 0),
        (f"alert:{alert}:0:1:sam-mail", 5),
        (f"alert:{alert}:0:2:desk-hook", 20),
        (f"alert:{alert}:1:0:ola-push", 40),
        (f"alert:{alert}:1:0:ola-text", 40),
        (f"alert:{alert}:1:1:sam-mail", 45),
    ]


def test_what_a_delivery_of_an_alert_is(database: Database) -> None:
    """Each channel has its target; a text message has the line and the person's own number."""
    alert = stage(database)

    at(database, 0)

    push, text = deliveries(database)
    assert (push.channel, push.target, push.to) == ("apprise", "ola-push", "")
    assert (text.channel, text.target, text.to) == ("line", LINE, OLA_NUMBER)
    assert (text.title, push.title) == ("", "EMERGENCY: someone may be in danger, Ferry Lodge")
    for delivery in (push, text):
        assert delivery.emergency
        assert delivery.urgent
        assert delivery.escalation_id == alert
        # It is no part of the guest's thread, where the host would read it as sent to the guest.
        assert (delivery.thread_id, delivery.message_id) == (None, None)
    assert "smells of gas" in push.text
    assert "smells of gas" not in text.text
    assert f"Reply TAKE {alert}" in text.text


@pytest.mark.parametrize(
    "state", [EscalationState.TAKEN, EscalationState.ANSWERED, EscalationState.CLOSED]
)
def test_nobody_is_told_of_what_is_taken(database: Database, state: str) -> None:
    """Only an open alert climbs, even if something set its time anew."""
    stage(database, state=state)

    assert at(database, 60) == 0
    assert keys(database) == []


def test_the_most_urgent_is_told_first(database: Database) -> None:
    """An emergency goes before what came earlier and can wait."""
    with database.writing() as session:
        add_people(session)
        ids = [
            add_alert(session, level=level, kind=kind).id
            for level, kind in (("soon", "gap"), ("urgent", "damage"), ("emergency", "safety"))
        ]

    assert at(database, 0) == 3

    assert [int(key.split(":")[1]) for key in keys(database)][::2] == ids[::-1]


def test_quiet_hours_hold_back_what_can_wait(database: Database) -> None:
    """A gap of the night is told the moment the quiet hours end, an emergency at once."""
    night = NOON + minutes(11 * 60)  # 00:00 in London
    with database.writing() as session:
        add_people(session)
        gap = add_alert(session, kind="gap", level="soon", next_at=night, created_at=night).id
        gas = add_alert(session, created_at=night, next_at=night).id

    def told_of() -> set[int]:
        return {int(key.split(":")[1]) for key in keys(database)}

    at(database, 11 * 60)
    assert told_of() == {gas}
    at(database, 18 * 60 - 1)
    assert told_of() == {gas}
    at(database, 18 * 60)  # 07:00 in London
    assert told_of() == {gap, gas}


def test_every_alert_of_one_escalation_has_the_same_link(database: Database) -> None:
    """The first link works as well as the last; the escalation holds its hash alone."""
    stage(database)

    for after_min in (0, 5, 20, 40):
        at(database, after_min)

    links = {
        found
        for d in deliveries(database)
        for found in re.findall(r"https://stay\.example\.org/take/([\w-]+)\?by=([\w-]+)", d.text)
    }
    (token,) = {token for token, _ in links}
    assert {contact for _, contact in links} == {"ola-push", "ola-text", "sam-mail", "desk-hook"}
    with database.reading() as session:
        assert session.scalar(select(Escalation.take_hash)) == key_hash(token)


def test_no_address_no_link(database: Database) -> None:
    """A service that does not know its own address sends no link, and makes no token."""
    stage(database)

    at(database, 0, make_settings(alerts={}))

    assert not any("http" in delivery.text for delivery in deliveries(database))
    with database.reading() as session:
        assert session.scalar(select(Escalation.take_hash)) is None


def test_who_has_left_is_not_told(database: Database, caplog: pytest.LogCaptureFixture) -> None:
    """A rung that reaches nobody is stepped over at once, and the log says which contact it is."""
    stage(database)
    with database.writing() as session:
        session.scalars(select(Person).where(Person.name == "Ola")).one().left_at = NOON

    with caplog.at_level(logging.ERROR):
        at(database, 0)
        at(database, 0)

    assert [key.rpartition(":")[2] for key in keys(database)] == ["sam-mail"]
    assert "contact ola-text reaches nobody" in caplog.text
    assert OLA_NUMBER not in caplog.text


def test_without_a_ladder_the_log_cries_out(
    database: Database, caplog: pytest.LogCaptureFixture
) -> None:
    """Nobody to tell is for the operator to mend; it is looked at again, and not each second."""
    stage(database)

    with caplog.at_level(logging.ERROR):
        at(database, 0, make_settings(houses={}))
    at(database, 59, make_settings())
    assert keys(database) == []
    at(database, 60, make_settings())

    assert "houses.ferry-lodge.ladder" in caplog.text
    assert len(keys(database)) == 2


def test_a_house_that_is_not_settled_reaches_all_without_words(database: Database) -> None:
    """Where no ladder is named for them, everyone is told, and nobody reads another's guest."""
    with database.writing() as session:
        add_people(session)
        add_alert(session, add_thread(session, house=None), house=None)

    at(database, 0)

    told = deliveries(database)
    assert [d.target for d in told] == ["ola-push", LINE, "sam-mail"]
    assert not any("smells of gas" in d.text for d in told)


def test_a_house_that_is_not_settled_has_its_own_ladder_if_one_is_set(database: Database) -> None:
    """Whoever is named under alerts is told, with the guest's words."""
    with database.writing() as session:
        add_people(session)
        add_alert(session, add_thread(session, house=None), house=None)

    general = SECTIONS["alerts"] | {"ladder": [{"contacts": ["sam-mail"]}]}
    at(database, 0, make_settings(alerts=general))

    (mail,) = deliveries(database)
    assert mail.target == "sam-mail"
    assert "smells of gas" in mail.text


def test_contacts_that_all_fail_do_not_spin_the_ladder(database: Database) -> None:
    """
    The outbox sends the ladder on at once when an alert is given up; a new round waits all the
    same, or a broken gateway would be asked without end.
    """
    stage(database)

    for _ in range(12):
        at(database, 0)
        with database.writing() as session:
            session.scalars(select(Escalation)).one().next_at = NOON  # as the outbox does

    assert {key.split(":")[2] for key in keys(database)} == {"0"}
    at(database, 20)
    assert {key.split(":")[2] for key in keys(database)} == {"0", "1"}


def test_a_guest_hides_in_every_alert(database: Database) -> None:
    """No alert and no key holds the guest's number."""
    stage(database)

    for after_min in (0, 5, 20):
        at(database, after_min)

    everything = " ".join(f"{d.key} {d.title} {d.text}" for d in deliveries(database))
    assert ADA not in everything


def test_several_processes_tell_each_contact_once(database: Database) -> None:
    """Eight climbers on one database: every rung's contacts are told once, none left out."""
    with database.writing() as session:
        add_people(session)
        thread = add_thread(session)
        ids = [add_alert(session, thread).id for _ in range(60)]

    for after_min in (0, 5, 20):
        climbers = [threading.Thread(target=at, args=(database, after_min)) for _ in range(8)]
        for climber in climbers:
            climber.start()
        for climber in climbers:
            climber.join()

    rungs = [(0, "ola-push"), (0, "ola-text"), (1, "sam-mail"), (2, "desk-hook")]
    expected = {f"alert:{id_}:0:{rung}:{name}" for id_ in ids for rung, name in rungs}
    found = keys(database)
    assert len(found) == len(set(found))
    assert set(found) == expected

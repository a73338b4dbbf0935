"""Taking, answering and closing: once, recorded, and the guest told."""

from __future__ import annotations

import re
import threading
from contextlib import nullcontext
from typing import Any

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from service.alerts.errors import AlertOverError, NotWritableError, UnknownAlertError
from service.alerts.guests import Lines
from service.alerts.ladder import climb
from service.alerts.links import alert_of
from service.alerts.people import name_of
from service.alerts.take import Answered, Taken, answer, close, take, take_by_link
from service.alerts.tick import run_due
from service.database import Database
from service.tables import Delivery, DeliveryState, Escalation, EscalationState, OptOut, Person
from tests.service.alerts.staging import (
    ADA,
    DOOR_CODE,
    HOUSES,
    LINE,
    LINES,
    NOON,
    SECRET,
    add_alert,
    add_message,
    add_people,
    add_stay,
    add_thread,
    deliveries,
    make_settings,
    minutes,
    part,
)
from tests.service.texting import make_line

SETTINGS = make_settings()
LATER = NOON + minutes(3)


def stage(database: Database, language: str = "en", **alert: Any) -> int:
    """An alert about Ada's thread that has climbed its first rung."""
    with database.writing() as session:
        add_people(session)
        thread = add_thread(session, language=language)
        alert_id = add_alert(session, thread, **alert).id
        climb(session, SETTINGS, HOUSES, NOON)
    return alert_id


def taken(database: Database, alert_id: int, by: str = "person:1", lines: Lines = LINES) -> Taken:
    with database.writing() as session:
        return take(session, alert_id, by, LATER, houses=HOUSES, lines=lines)


def answered(database: Database, alert_id: int, text: str, **more: Any) -> Answered:
    given: dict[str, Any] = {"houses": HOUSES, "lines": LINES, **more}
    with database.writing() as session:
        return answer(session, alert_id, "person:1", text, LATER, **given)


def tapped(database: Database, token: str, contact: str | None) -> Taken | None:
    with database.writing() as session:
        return take_by_link(
            session, token, contact, LATER, settings=SETTINGS, houses=HOUSES, lines=LINES
        )


def link_of(database: Database) -> str:
    found = re.search(r"/take/([\w-]+)", deliveries(database)[0].text)
    assert found is not None
    return found[1]


def alert_row(database: Database, alert_id: int) -> Escalation:
    with database.reading() as session:
        return session.get_one(Escalation, alert_id)


def to_guest(database: Database) -> list[Delivery]:
    return [d for d in deliveries(database) if d.thread_id is not None]


def test_taking_stops_the_ladder_and_tells_the_guest(database: Database) -> None:
    """Who took it and when is kept; nobody else is called; the guest hears it once."""
    alert_id = stage(database)

    assert taken(database, alert_id).done

    row = alert_row(database, alert_id)
    assert (row.state, row.taken_by, row.taken_at) == (EscalationState.TAKEN, "person:1", LATER)
    assert (
        run_due(database, SETTINGS, HOUSES, lambda: NOON + minutes(90), lines=LINES, rules={}) == 0
    )
    told = [d for d in deliveries(database) if d.escalation_id is not None]
    assert {d.state for d in told} == {DeliveryState.DROPPED}
    (message,) = to_guest(database)
    assert (message.key, message.to, message.target) == (f"taken:{alert_id}", ADA, LINE)
    assert message.text == (
        "The host knows and is looking after it. In danger, leave first and call 999; do not wait "
        "for the host."
    )
    assert message.emergency


@pytest.mark.parametrize(
    ("language", "begins"),
    [
        ("en", "The host has"),
        ("es", "El anfitrión"),
        ("fr", "L'hôte"),
        ("de", "Der Gastgeber"),
        ("it", "L'host"),
        ("nl", "De gastheer"),
        ("pt", "O anfitrião"),
        ("fi", "The host has"),
    ],
)
def test_the_guest_is_told_in_their_language(
    database: Database, language: str, begins: str
) -> None:
    """In the language they last wrote, or in English; one text message does."""
    alert_id = stage(database, language=language, kind="request", level="soon")

    taken(database, alert_id)

    (message,) = to_guest(database)
    assert message.text.startswith(begins)
    assert message.segments == 1


@pytest.mark.parametrize("kind", ["delivery", "flood"])
def test_what_no_guest_waits_for_is_not_told(database: Database, kind: str) -> None:
    """A failure of ours is between Askhouse and the host."""
    taken(database, stage(database, kind=kind))

    assert to_guest(database) == []


def test_a_second_taker_is_told_who_has_it(database: Database) -> None:
    """Only the first one takes it; the guest is not told again."""
    alert_id = stage(database)
    taken(database, alert_id, "sam-mail")

    second, again = taken(database, alert_id, "person:1"), taken(database, alert_id, "sam-mail")

    assert (second.done, second.yours, second.by) == (False, False, "sam-mail")
    assert (again.done, again.yours) == (False, True)
    assert len(to_guest(database)) == 1


def test_of_many_who_take_it_at_once_one_has_it(database: Database) -> None:
    """Twelve tap at the same moment: one takes it, eleven are told who, the guest hears it once."""
    alert_id = stage(database)
    found: list[Taken] = []

    takers = [
        threading.Thread(target=lambda n=n: found.append(taken(database, alert_id, f"person:{n}")))
        for n in range(1, 13)
    ]
    for taker in takers:
        taker.start()
    for taker in takers:
        taker.join()

    (first,) = [one for one in found if one.done]
    assert len(found) == 12
    assert {one.by for one in found} == {first.by}
    assert len(to_guest(database)) == 1


def test_a_link_takes_it_for_whose_it_is(database: Database) -> None:
    """A link knows its contact, and a contact its person."""
    alert_id = stage(database)

    found = tapped(database, link_of(database), "ola-push")

    assert found is not None
    assert found.done
    with database.reading() as session:
        ola = session.scalars(select(Person).where(Person.name == "Ola")).one()
        assert found.by == f"person:{ola.id}"
        assert name_of(session, str(found.by)) == "Ola"
    assert alert_row(database, alert_id).taken_by == found.by


@pytest.mark.parametrize("contact", [None, "sam-mail", "nobody", "ola-push' or 1=1"])
def test_a_link_that_names_who_was_not_told(database: Database, contact: str | None) -> None:
    """It takes the alert for whoever has the link: a name that was not told proves nothing."""
    stage(database)

    found = tapped(database, link_of(database), contact)

    assert found is not None
    assert found.done
    assert found.by == "link"


@pytest.mark.parametrize("token", ["", "x" * 22, "x" * 5000, "é\x00"])
def test_a_token_of_no_alert(database: Database, token: str) -> None:
    """It takes nothing."""
    alert_id = stage(database)

    assert tapped(database, token, "ola-push") is None
    assert alert_row(database, alert_id).state == EscalationState.OPEN


def test_once_taken_the_token_is_nowhere(database: Database) -> None:
    """It is blotted out of what was sent; the link still says who has it."""
    stage(database)
    token = link_of(database)

    tapped(database, token, "ola-push")

    assert not any(token in d.text for d in deliveries(database))
    with database.reading() as session:
        assert alert_of(session, token) is not None


def test_what_the_outbox_held_meanwhile_is_dropped_later(database: Database) -> None:
    """An alert that failed while it was being taken is not tried again."""
    alert_id = stage(database)
    with database.writing() as session:
        for delivery in session.scalars(select(Delivery)):
            delivery.state = DeliveryState.SENDING
    taken(database, alert_id)
    with database.writing() as session:
        for delivery in session.scalars(
            select(Delivery).where(Delivery.escalation_id.is_not(None))
        ):
            delivery.state = DeliveryState.DUE

    assert run_due(database, SETTINGS, HOUSES, lambda: LATER, lines=LINES, rules={}) == 1

    states = {d.state for d in deliveries(database) if d.escalation_id is not None}
    assert states == {DeliveryState.DROPPED}


def test_an_answer_goes_into_the_thread(database: Database) -> None:
    """The host's words go to the guest as they are, in the host's name; the alert is answered."""
    alert_id = stage(database, kind="request", level="soon")

    answered(database, alert_id, "  Yes, you may stay until noon – gladly. ")

    (message,) = to_guest(database)
    assert message.text == "Yes, you may stay until noon - gladly."
    assert (message.author, message.to, message.target) == ("person:1", ADA, LINE)
    # No escalation: if it cannot be sent, the host must hear of it.
    assert message.escalation_id is None
    row = alert_row(database, alert_id)
    assert (row.state, row.taken_by, row.answered_at) == ("answered", "person:1", LATER)


def test_the_same_answer_is_sent_once(database: Database) -> None:
    """A form that is sent twice sends once; other words are another answer."""
    alert_id = stage(database)

    first = answered(database, alert_id, "I am on my way.", key="a")
    second = answered(database, alert_id, "I am on my way!", key="a")
    answered(database, alert_id, "I am at the door.")
    answered(database, alert_id, "I am at the door.")

    assert first.delivery_id == second.delivery_id
    assert [d.text for d in to_guest(database)] == ["I am on my way.", "I am at the door."]


def test_an_answer_after_taking_keeps_who_took_it(database: Database) -> None:
    """Taken by one, answered by another: both are kept."""
    alert_id = stage(database)
    taken(database, alert_id, "person:2")

    answered(database, alert_id, "Coming.")

    row = alert_row(database, alert_id)
    assert (row.taken_by, row.state) == ("person:2", "answered")
    assert to_guest(database)[-1].author == "person:1"


def test_what_it_takes_to_keep_an_answer_as_a_fact(database: Database) -> None:
    """House and questions, of the parts that the alert is about, and no secret in them."""
    with database.writing() as session:
        stay = add_stay(session, door_code=DOOR_CODE)
        thread = add_thread(session, stay_id=stay.id)
        message = add_message(
            session,
            thread,
            part("where are the bins", "answer", 0),
            part(f"is there a dryer, {SECRET} or {DOOR_CODE}", "gap", 1),
            part("which of the two", "gap", 2, asked_back=True),
            part("may we bring a dog", "escalate", 3, kind="request"),
        )
        gap = add_alert(session, thread, message_id=message.id, kind="gap", level="soon").id
        dog = add_alert(session, thread, message_id=message.id, kind="request", level="soon").id

    kept = answered(database, gap, "In the cellar.")

    assert (kept.house, kept.questions) == ("ferry-lodge", ("is there a dryer, ••• or •••",))
    assert answered(database, dog, "Gladly.").questions == ("may we bring a dog",)


def test_a_code_that_the_host_writes_is_not_kept(database: Database) -> None:
    """It is sent as written, and blotted like any other an hour later."""
    alert_id = stage(database, kind="code", level="urgent")

    answered(database, alert_id, f"The password is {SECRET}.")

    (message,) = to_guest(database)
    assert message.text == f"The password is {SECRET}."
    assert message.secrets
    assert message.blotted == "The password is •••."


@pytest.mark.parametrize(
    ("thread", "line", "said"),
    [
        ({"line": "pages"}, make_line("ferry-lodge"), "came by no line that is set up"),
        ({"sender": "withheld"}, make_line("ferry-lodge"), "hides their number"),
        ({}, make_line("ferry-lodge", send=None, respond={}), "can only reply at once: add send"),
    ],
)
def test_where_nothing_can_be_sent(
    database: Database, thread: dict[str, Any], line: Any, said: str
) -> None:
    """The host is told why, nothing is queued, and the alert stays as it is; taking it works."""
    with database.writing() as session:
        alert_id = add_alert(session, add_thread(session, **thread)).id

    with pytest.raises(NotWritableError, match=said):
        answered(database, alert_id, "Coming.", lines={LINE: line})
    assert alert_row(database, alert_id).state == EscalationState.OPEN

    assert taken(database, alert_id, lines={LINE: line}).done
    assert to_guest(database) == []


@pytest.mark.parametrize(("level", "sent"), [("emergency", 2), ("urgent", 0)])
def test_someone_who_asked_for_silence(database: Database, level: str, sent: int) -> None:
    """Nothing is sent to them, save about the emergency that they wrote of themselves."""
    alert_id = stage(database, level=level)
    with database.writing() as session:
        session.add(OptOut(line=LINE, number=ADA, since=NOON))

    taken(database, alert_id)
    with nullcontext() if sent else pytest.raises(NotWritableError, match="no more messages"):
        answered(database, alert_id, "Coming.")

    messages = to_guest(database)
    assert len(messages) == sent
    assert all(message.emergency for message in messages)


def test_an_answer_needs_a_guest_and_words(database: Database) -> None:
    """An alert without a thread is closed instead; blank words are no answer."""
    with database.writing() as session:
        lone = add_alert(session).id
    alert_id = stage(database)

    with pytest.raises(NotWritableError, match="has no guest to answer"):
        answered(database, lone, "Coming.")
    with pytest.raises(NotWritableError, match="is empty"):
        answered(database, alert_id, " \n ")
    with pytest.raises(UnknownAlertError):
        answered(database, alert_id + 100, "Coming.")


def test_closing(database: Database) -> None:
    """A closed alert climbs no more, tells the guest nothing, and takes no answer."""
    alert_id = stage(database)

    with database.writing() as session:
        close(session, alert_id, "person:1", LATER)
        close(session, alert_id, "person:2", LATER + minutes(5))

    row = alert_row(database, alert_id)
    assert (row.state, row.taken_by, row.closed_at) == ("closed", "person:1", LATER)
    assert (
        run_due(database, SETTINGS, HOUSES, lambda: NOON + minutes(90), lines=LINES, rules={}) == 0
    )
    assert to_guest(database) == []
    assert not taken(database, alert_id, "person:3").done
    with pytest.raises(AlertOverError, match="is closed: write to the guest in the thread"):
        answered(database, alert_id, "Coming.")


def test_names_of_who_has_it(database: Database) -> None:
    """A person by name, one who is gone as such, a contact by its own name."""

    def name(named: str, session: Session) -> str:
        return name_of(session, named)

    with database.writing() as session:
        ola = add_people(session)
        assert name(f"person:{ola.id}", session) == "Ola"
        assert name("person:4711", session) == "someone who is not here any more"
        assert name("token:4711", session) == "someone who is not here any more"
        assert name("sam-mail", session) == "sam-mail"
        assert name("link", session) == "someone with the link"

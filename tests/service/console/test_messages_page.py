"""Messages: found by state and words, read with their facts, written to once."""

from __future__ import annotations

import re

import pytest

from service.database import Database
from service.tables import Delivery, OptOut, Stay
from tests.service.console.conftest import NOW, Visitor
from tests.service.console.filling import Filled


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ({}, {"Mabel", "Juniper", "Fennel"}),
        ({"state": "open"}, {"Mabel", "Juniper"}),
        ({"state": "gap"}, {"Mabel", "Fennel"}),
        ({"state": "failed"}, {"Fennel"}),
        ({"state": "pasted"}, set()),
        ({"search": "HAIRDRYER"}, {"Fennel"}),
        ({"search": "460456"}, {"Juniper"}),
        ({"search": "100%"}, set()),
        ({"search": "juniper v"}, {"Juniper"}),
        ({"search": "left KNOB"}, {"Mabel"}),
        ({"house": "mill-loft"}, {"Juniper"}),
    ],
)
def test_what_is_found(
    owner: Visitor, filled: Filled, query: dict[str, str], found: set[str]
) -> None:
    """
    The list holds the threads of that state, house and search, and no other.
    """
    page = owner.get("/messages", params=query).text

    assert {name for name in ("Mabel", "Juniper", "Fennel") if name in page} == found


def test_a_name_with_an_accent_is_found(owner: Visitor, filled: Filled, database: Database) -> None:
    """
    A guest is found by a name that has letters beyond ASCII.
    """
    with database.writing() as session:
        session.get_one(Stay, filled.stays["juniper"]).guests = ["Zoë Vale"]
    page = owner.get("/messages", params={"search": "zoë"}).text

    assert "Zoë Vale" in page
    assert "Mabel" not in page


def test_the_list_says_what_is_not_written(owner: Visitor, filled: Filled) -> None:
    """
    A thread whose last message has a gap is not called answered; one that waits says so first.
    """
    page = owner.get("/messages").text
    chips = re.findall(r'class="chip chip-\w+">([^<]*)<', page)

    assert chips == ["Waiting for you", "Waiting for you", "Not written yet"]


def test_a_thread_says_from_what_it_was_answered(owner: Visitor, filled: Filled) -> None:
    """
    A thread shows what the guest wrote, what was sent, and the facts it came from.
    """
    page = owner.get(f"/messages/{filled.threads['mabel']}").text

    talk = page[page.index('class="talk"') :]
    assert talk.index("How do I turn on the oven?") < talk.index("The stove smokes back")
    assert 'href="/houses/ferry-lodge/facts/heating"' in page
    assert "Turn the left knob to the fan and the right" in page


def test_writing_is_sent_once(owner: Visitor, filled: Filled, database: Database) -> None:
    """
    The host's words go out once, however often the form is sent.
    """
    path = f"/messages/{filled.threads['mabel']}/write"
    for _ in range(3):
        assert owner.send_form(path, text="On my way.", key="once").status_code == 303

    with database.reading() as session:
        sent = session.query(Delivery).filter(Delivery.author == "person:1").one()
        assert (sent.text, sent.channel, sent.target) == ("On my way.", "line", "texts")


def test_a_code_that_the_host_writes(owner: Visitor, filled: Filled, database: Database) -> None:
    """
    A code in the host's own words is sent, and what is kept afterwards has it blotted out.
    """
    path = f"/messages/{filled.threads['mabel']}/write"
    owner.send_form(path, text="The door opens with 4826.", key="code")

    with database.reading() as session:
        sent = session.query(Delivery).filter(Delivery.author == "person:1").one()
        assert "4826" in sent.text
        assert sent.secrets != []
        assert sent.blotted is not None
        assert "4826" not in sent.blotted


def test_nobody_writes_to_who_wants_no_more(
    owner: Visitor, filled: Filled, database: Database
) -> None:
    """
    To a guest who opted out nothing is sent, and the page says so instead of offering it.
    """
    with database.writing() as session:
        session.add(OptOut(line="texts", number="+442079460123", since=NOW))

    path = f"/messages/{filled.threads['mabel']}"
    assert "asked for no more messages" in owner.get(path).text
    assert owner.send_form(f"{path}/write", text="Hello?", key="k").status_code == 422
    with database.reading() as session:
        assert session.query(Delivery).filter(Delivery.author == "person:1").count() == 0


def test_no_messages(owner: Visitor) -> None:
    """
    Without messages the page leads to Paste.
    """
    assert "No messages yet" in owner.get("/messages").text


def test_nothing_found(owner: Visitor, filled: Filled) -> None:
    """
    A search that finds nothing says so, and leads back.
    """
    assert "Nothing found" in owner.get("/messages?search=zeppelin").text

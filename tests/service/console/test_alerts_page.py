"""Alerts: their order, taking by two people at once, answering once, and the one-tap link."""

from __future__ import annotations

import re

import httpx
import pytest

from service.database import Database
from service.tables import Delivery, Escalation, Trail
from tests.service.console.conftest import LODGE, LOFT, Enter, Served, Visitor
from tests.service.console.filling import TAKE_KEY, Filled


def test_the_most_urgent_stands_first(owner: Visitor, filled: Filled) -> None:
    """
    An emergency of twelve minutes stands before a request that waits since an hour and a half.
    """
    page = owner.get("/alerts").text

    assert page.index("Someone may be in danger") < page.index("Asks for your decision")
    assert "2<span class" in page  # the count in the navigation


def test_nothing_needs_the_host(owner: Visitor) -> None:
    """
    Without alerts the page says so.
    """
    assert "Nothing needs you" in owner.get("/alerts").text


def test_the_faster_one_has_it(enter: Enter, filled: Filled, database: Database) -> None:
    """
    Of two people who take an alert the first has it; the second is told, and changes nothing.
    """
    ada, tom = enter("ada"), enter("tom", LODGE)
    path = f"/alerts/{filled.alerts['heat']}/take"

    assert ada.send_form(path).headers["location"] == "/alerts?told=taken"
    assert tom.send_form(path).headers["location"] == "/alerts?told=already"

    with database.reading() as session:
        alert = session.get(Escalation, filled.alerts["heat"])
        assert alert is not None
        assert (alert.state, alert.taken_by) == ("taken", "person:1")
    assert "by Ada" in tom.get("/alerts").text
    assert "You have it" in ada.get("/alerts").text


def test_an_answer_is_sent_once(owner: Visitor, filled: Filled, database: Database) -> None:
    """
    An answer sent twice by a nervous thumb goes to the guest once, and the alert is answered.
    """
    page = owner.get("/alerts").text
    key = re.search(r'name="key" value="([^"]+)"', page)
    assert key
    path = f"/alerts/{filled.alerts['heat']}/answer"
    for _ in range(2):
        answer = owner.send_form(path, text="Open both levers; I am on my way.", key=key[1])
        assert answer.headers["location"].startswith("/alerts?kept=")

    with database.reading() as session:
        sent = session.query(Delivery).filter(Delivery.author == "person:1").all()
        assert [(d.text, d.to) for d in sent] == [
            ("Open both levers; I am on my way.", "+442079460123")
        ]
        alert = session.get(Escalation, filled.alerts["heat"])
        assert alert is not None
        assert alert.state == "answered"
        assert [line.did for line in session.query(Trail)] == ["alert.answer", "alert.answer"]
    assert "Open both levers" in owner.get(f"/messages/{filled.threads['mabel']}").text


def test_an_answer_is_kept_as_a_fact(owner: Visitor, filled: Filled) -> None:
    """
    After an answer the page offers to keep it: the form holds the answer without its code, and
    what the guest asked as a way of asking.
    """
    path = f"/alerts/{filled.alerts['heat']}/answer"
    sent = owner.send_form(path, text="It smokes when cold. The door is 4826.", key="k")
    page = owner.get(sent.headers["location"]).text
    link = re.search(rf'href="(/houses/{LODGE}/new\?answer=\d+)"', page)
    assert link

    form = owner.get(link[1]).text

    assert "It smokes when cold. The door is •••." in form
    assert "And do you have a hair dryer?" in form
    assert "4826" not in form
    of_the_other = link[1].replace(LODGE, LOFT)
    assert "It smokes" not in owner.get(of_the_other).text


def test_an_empty_answer_is_refused(owner: Visitor, filled: Filled) -> None:
    """
    An answer without words is not sent, and the page says why.
    """
    answer = owner.send_form(f"/alerts/{filled.alerts['heat']}/answer", text=" ", key="k")

    assert answer.status_code == 409
    assert "empty" in answer.text


def test_closing(owner: Visitor, filled: Filled) -> None:
    """
    A closed alert is no longer among those that wait.
    """
    owner.send_form(f"/alerts/{filled.alerts['late']}/close")
    owner.send_form(f"/alerts/{filled.alerts['heat']}/close")

    assert "Nothing needs you" in owner.get("/alerts").text


def test_the_link_takes_without_sign_in(served: Served, filled: Filled, database: Database) -> None:
    """
    The link shows what and where without a word of the guest; only the button takes, and once.
    """
    with httpx.Client(base_url=served.url) as phone:
        page = phone.get(f"/take/{TAKE_KEY}")
        assert page.status_code == 200
        assert "Asks for your decision, Mill Loft" in page.text
        assert "1 pm" not in page.text
        assert "Juniper" not in page.text
        with database.reading() as session:
            assert session.get(Escalation, filled.alerts["late"]).state == "open"  # type: ignore[union-attr]

        assert "You have it now" in phone.post(f"/take/{TAKE_KEY}").text
        assert "Someone has it already" in phone.post(f"/take/{TAKE_KEY}").text
        assert "Someone has it already" in phone.get(f"/take/{TAKE_KEY}").text
    with database.reading() as session:
        alert = session.get(Escalation, filled.alerts["late"])
        assert alert is not None
        assert (alert.house, alert.state, alert.taken_by) == (LOFT, "taken", "link")


@pytest.mark.parametrize("key", ["x", "take-key", "%00", "é"])
def test_a_wrong_link_opens_nothing(served: Served, filled: Filled, key: str) -> None:
    """
    A link that is of no alert is not found, whatever stands in it.
    """
    assert httpx.get(f"{served.url}/take/{key}").status_code == 404
    assert httpx.post(f"{served.url}/take/{key}").status_code == 404

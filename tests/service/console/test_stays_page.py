"""Stays: added, with every mistake said at once; numbers; the code on asking; cancelled."""

from __future__ import annotations

import datetime as dt

from service.database import Database
from service.tables import Stay, Trail
from tests.service.console.conftest import LODGE, LOFT, Enter, Visitor
from tests.service.console.filling import DOOR_CODE, Filled

NEW = {
    "house": LODGE,
    "arrival": "2026-12-01",
    "departure": "2026-12-05",
    "guests": "Tansy Reed\nRowan Reed",
    "phones": "020 7946 0555",
}


def test_a_stay_is_added(owner: Visitor, database: Database) -> None:
    """
    A stay is stored with its numbers in E.164, read as the house's country writes them.
    """
    assert owner.send_form("/stays", **NEW).status_code == 303

    with database.reading() as session:
        stay = session.query(Stay).one()
        assert (stay.house, stay.guests) == (LODGE, ["Tansy Reed", "Rowan Reed"])
        assert [phone.number for phone in stay.phones] == ["+442079460555"]
    assert "Tansy Reed" in owner.get("/stays").text


def test_mistakes_are_told_at_once(owner: Visitor, database: Database) -> None:
    """
    A departure before arrival and a number that is none are told together; what was typed stays.
    """
    answer = owner.send_form("/stays", **(NEW | {"departure": "2026-11-30", "phones": "12"}))

    assert answer.status_code == 422
    assert "Departure is not after arrival" in answer.text
    assert "Phone number 1 " in answer.text
    assert "Tansy Reed" in answer.text
    with database.reading() as session:
        assert session.query(Stay).count() == 0


def test_staff_add_only_to_their_house(enter: Enter, database: Database) -> None:
    """
    Staff cannot add a stay to a house that is not theirs.
    """
    answer = enter("tom", LODGE).send_form("/stays", **(NEW | {"house": LOFT}))

    assert answer.status_code == 422
    with database.reading() as session:
        assert session.query(Stay).count() == 0


def test_the_code_is_shown_on_asking(owner: Visitor, filled: Filled, database: Database) -> None:
    """
    The door code is on no page until someone asks for it, and that they did is in the trail.
    """
    path = f"/stays/{filled.stays['mabel']}"
    assert DOOR_CODE not in owner.get(path).text
    assert DOOR_CODE not in owner.get("/stays").text

    assert DOOR_CODE in owner.send_form(f"{path}/code").text

    assert DOOR_CODE not in owner.get(path).text
    with database.reading() as session:
        line = session.query(Trail).one()
        assert (line.who, line.did) == ("person:1", "stay.code.see")
        assert line.subject == f"stay:{filled.stays['mabel']}"


def test_a_stay_is_changed(owner: Visitor, filled: Filled, database: Database) -> None:
    """
    A stay becomes what the form says, and its page shows it; a door code left empty stays, and a
    new one is shown on asking alone. A number that is none changes nothing.
    """
    path = f"/stays/{filled.stays['mabel']}"
    form = {
        "arrival": "2026-11-23",
        "departure": "2026-11-30",
        "guests": "Mabel Quince",
        "phones": "020 7946 0666\n+442079460123",
    }
    assert owner.send_form(path, **(form | {"phones": "nonsense"})).status_code == 422
    assert owner.send_form(path, **form).status_code == 303

    with database.reading() as session:
        stay = session.get_one(Stay, filled.stays["mabel"])
        assert {p.number for p in stay.phones} == {"+442079460666", "+442079460123"}
        assert (stay.guests, stay.departure) == (["Mabel Quince"], dt.date(2026, 11, 30))
        assert stay.door_code == DOOR_CODE
    assert 'value="2026-11-30"' in owner.get(path).text

    assert owner.send_form(path, **form, door_code="9081").status_code == 303
    assert "9081" not in owner.get(path).text
    assert "9081" in owner.send_form(f"{path}/code").text


def test_the_days_of_a_feeds_stay_stay(owner: Visitor, filled: Filled, database: Database) -> None:
    """
    A stay of a feed has no fields for its days, and its number and code can be entered.
    """
    with database.writing() as session:
        session.get_one(Stay, filled.stays["sorrel"]).feed = "bookings"
    path = f"/stays/{filled.stays['sorrel']}"
    assert 'name="arrival"' not in owner.get(path).text

    answer = owner.send_form(path, guests="Sorrel Tamm", phones="+442079460777", door_code="9081")

    assert answer.status_code == 303
    moved = {"arrival": "2026-12-01", "departure": "2026-12-02", "guests": "Sorrel Tamm"}
    assert "come from the feed bookings" in owner.send_form(path, **moved).text
    with database.reading() as session:
        stay = session.get_one(Stay, filled.stays["sorrel"])
        assert (stay.arrival, stay.door_code) == (dt.date(2026, 11, 29), "9081")
        assert [p.number for p in stay.phones] == ["+442079460777"]


def test_cancelled_for_good(owner: Visitor, filled: Filled, database: Database) -> None:
    """
    A cancelled stay says so, and offers no more to be done.
    """
    path = f"/stays/{filled.stays['mabel']}"
    owner.send_form(f"{path}/cancel")

    page = owner.get(path).text
    assert "Cancelled" in page
    assert 'name="phones"' not in page
    with database.reading() as session:
        assert session.get_one(Stay, filled.stays["mabel"]).cancelled_at is not None


def test_no_stays(owner: Visitor) -> None:
    """
    Without stays the page says how they come.
    """
    assert "No stays yet" in owner.get("/stays").text

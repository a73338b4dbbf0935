"""One guest: all that is held about them given out, or erased."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping

import pytest
from sqlalchemy import select

from askhouse.values import House
from service.database import Database
from service.errors import GuestError
from service.privacy.person import erase, export
from service.privacy.trail import verify
from service.tables import Delivery, Escalation, Inbound, OptOut, Stay, StayPhone, Thread, Trail
from service.threads import locked_message
from tests.service.privacy.filling import (
    DOOR_CODE,
    NOW,
    PERSONAL,
    ROWAN,
    WREN,
    add_guest,
    everything,
    found_of,
)

AGO = dt.timedelta(days=2)


def _both(database: Database) -> None:
    with database.writing() as session:
        add_guest(session, WREN, AGO)
        add_guest(session, ROWAN, AGO)


def test_export_holds_all_but_the_codes(
    database: Database, demo_houses: Mapping[str, House]
) -> None:
    """
    Number, name, words, gateway's ids: all is told, in JSON, and no code; nothing of another guest.
    """
    _both(database)
    with database.writing() as session:
        told = export(session, WREN, demo_houses, "command", NOW)
    text = json.dumps(told, ensure_ascii=False)

    assert found_of(WREN, text) == [value for value in PERSONAL[WREN] if value != DOOR_CODE]
    assert found_of(ROWAN, text) == []
    assert told["stays"][0]["door_code"] == "•••"
    assert told["deliveries"][0]["text"] == "the walrus code is •••"
    assert told["messages"][0]["text"].endswith("the code ••• does not work")
    kinds = ("stays", "threads", "messages", "alerts", "lessons", "pieces", "opted_out")
    assert [kind for kind in kinds if len(told[kind]) != 1] == []
    assert len(told["deliveries"]) == 2


def test_export_holds_nothing_about_anybody_else(
    database: Database, demo_houses: Mapping[str, House]
) -> None:
    """
    Neither another guest of the same stay, nor whom the host's alerts reach, nor a link that takes
    one: not even where the number is one that alerts about others are texted to.
    """
    link = "https://stay.example.org/take/4-abcdefghijkl"
    host = "+447700900789"
    with database.writing() as session:
        add_guest(session, WREN, AGO)
        add_guest(session, ROWAN, AGO)
        stay, _ = session.scalars(select(Stay).order_by(Stay.id))
        stay.guests = [*stay.guests, "Sorrel Vane"]
        stay.phones = [*stay.phones, StayPhone(number=ROWAN)]
        alert, others = session.scalars(select(Escalation).order_by(Escalation.id))
        alert.take_hash, alert.taken_by = "f" * 64, "boss-telephone"
        for about, to in ((alert, host), (others, WREN)):
            session.add(
                Delivery(
                    key=f"alert:{about.id}:text",
                    channel="line",
                    target="boss-telephone",
                    escalation_id=about.id,
                    to=to,
                    text=f"{about.summary}: {link}",
                    due_at=NOW,
                    created_at=NOW,
                )
            )
        session.flush()
        told = export(session, WREN, demo_houses, "command", NOW)
    text = json.dumps(told, ensure_ascii=False)

    assert found_of(ROWAN, text) == []
    for foreign in ("Sorrel", host, "boss-telephone", "stay.example.org", "f" * 64):
        assert foreign not in text
    assert told["stays"][0]["numbers"] == [WREN]
    assert told["stays"][0]["guests"] == []  # whose name is whose is not known
    assert told["alerts"][0]["summary"] == "is there a walrus dryer"


def test_house_secrets_a_guest_repeated_are_blotted(
    database: Database, demo_houses: Mapping[str, House]
) -> None:
    """
    A code of the house in a guest's own message is not in the export either.
    """
    with database.writing() as session:
        add_guest(session, WREN, AGO)
        session.scalars(select(Inbound)).one().text = "4719 or russet-ladder-47 do not work"
        told = export(session, WREN, demo_houses, "command", NOW)

    assert told["messages"][0]["text"] == "••• or ••• do not work"


def test_erasing_leaves_nothing_of_the_guest(database: Database) -> None:
    """
    No value of any table tells of the guest any more; the other guest's are untouched.
    """
    _both(database)
    with database.writing() as session:
        others = found_of(ROWAN, everything(session))
        forgotten = erase(session, WREN, "command", NOW, also_opt_out=True)

    with database.reading() as session:
        assert found_of(WREN, everything(session)) == []
        assert found_of(ROWAN, everything(session)) == others
    assert (forgotten.stays, forgotten.messages, forgotten.deliveries) == (1, 1, 3)
    assert forgotten.feeds == ("bookings",)


def test_opt_out_stays_unless_asked_otherwise(database: Database) -> None:
    """
    Who asked for no more messages gets none after the erasing either, and the operator is told.
    """
    _both(database)
    with database.writing() as session:
        forgotten = erase(session, WREN, "command", NOW)

    assert forgotten.opted_out == ("village",)
    with database.reading() as session:
        assert session.get(OptOut, ("village", WREN)) is not None
        assert found_of(WREN, everything(session, but=("opt_outs",))) == []


def test_both_are_in_the_trail_which_stays_valid(
    database: Database, demo_houses: Mapping[str, House]
) -> None:
    """
    The trail tells that a guest was given out and erased, and of how much, but not of whom.
    """
    _both(database)
    with database.writing() as session:
        thread = session.scalar(select(Thread.id).where(Thread.sender == WREN))
        export(session, WREN, demo_houses, "person:1", NOW)
        erase(session, WREN, "command", NOW)

    with database.reading() as session:
        lines = session.scalars(select(Trail).order_by(Trail.id)).all()
        assert [(line.who, line.did) for line in lines] == [
            ("person:1", "guest.export"),
            ("command", "guest.erase"),
        ]
        assert lines[1].details["threads"] == [thread]
        assert found_of(WREN, everything(session, but=("opt_outs",))) == []
        assert verify(session) is None


def test_message_in_work_is_let_go(database: Database) -> None:
    """
    A process that works on the guest's message keeps nothing, and what was due is not sent.
    """
    with database.writing() as session:
        add_guest(session, WREN, AGO)
        message = session.scalars(select(Inbound)).one()
        message.state, message.claimed_by = "working", "worker:1"
        for delivery in session.scalars(select(Delivery)):
            delivery.state = "due"
        erase(session, WREN, "command", NOW)

    with database.writing() as session:
        assert (
            locked_message(session, session.scalars(select(Inbound.id)).one(), "worker:1") is None
        )
        assert set(session.scalars(select(Delivery.state))) == {"dropped"}


def test_shared_stay_keeps_the_other_number(database: Database) -> None:
    """
    The number goes from a shared stay and with it all names; the other guest is still known.
    """
    with database.writing() as session:
        add_guest(session, WREN, AGO)
        stay = session.scalars(select(Stay)).one()
        stay.phones = [*stay.phones, StayPhone(number=ROWAN)]
        session.flush()
        erase(session, WREN, "command", NOW)

    with database.reading() as session:
        stay = session.scalars(select(Stay)).one()
        assert ([phone.number for phone in stay.phones], stay.guests) == ([ROWAN], [])


def test_unknown_number_is_an_empty_export(
    database: Database, demo_houses: Mapping[str, House]
) -> None:
    """
    Of a number that never wrote nothing is held, and that is what is told.
    """
    with database.writing() as session:
        told = export(session, WREN, demo_houses, "command", NOW)

    assert {kind for kind, rows in told.items() if isinstance(rows, list) and rows} == set()


@pytest.mark.parametrize("number", ["withheld", "", " "])
def test_withheld_number_is_nobody(
    database: Database, demo_houses: Mapping[str, House], number: str
) -> None:
    """
    Those who hide their number are not one guest: neither given out nor erased together.
    """
    with database.writing() as session:
        with pytest.raises(GuestError, match="hide their number"):
            export(session, number, demo_houses, "command", NOW)
        with pytest.raises(GuestError, match="hide their number"):
            erase(session, number, "command", NOW)

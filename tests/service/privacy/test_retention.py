"""Retention: what is old loses its words and its guest; what is counted stays."""

from __future__ import annotations

import datetime as dt

import pytest
from sqlalchemy import func, select

from service.access.sign_in import open_session
from service.alerts.planned import planned_key
from service.database import Database
from service.privacy.erasing import NOBODYS_LINE
from service.privacy.retention import Erased, Retention, erase_old
from service.privacy.trail import verify
from service.tables import (
    CitationRow,
    Delivery,
    Escalation,
    Gap,
    Inbound,
    PartRow,
    Person,
    SignIn,
    Stay,
    Thread,
)
from tests.service.privacy.filling import NOW, ROWAN, WREN, add_guest, everything, found_of

DAYS = 90
OLD = dt.timedelta(days=100)
YOUNG = dt.timedelta(days=80)


def _erase_all(database: Database, now: dt.datetime = NOW) -> None:
    retention = Retention(database, DAYS, lambda: now)
    while retention.step():
        pass


def test_nothing_of_an_old_guest_is_left(database: Database) -> None:
    """
    Afterwards no value of any table tells of the guest whose messages are old, but that a number
    asked for no more messages; the other guest's values are all there.
    """
    with database.writing() as session:
        add_guest(session, WREN, OLD)
        add_guest(session, ROWAN, YOUNG)
        assert len(found_of(WREN, everything(session))) == 6
        others = found_of(ROWAN, everything(session))
    _erase_all(database)

    with database.reading() as session:
        assert found_of(WREN, everything(session, but=("opt_outs",))) == []
        assert found_of(ROWAN, everything(session)) == others
        assert found_of(WREN, everything(session)) == [WREN]
        assert verify(session) is None


def test_what_is_counted_stays(database: Database) -> None:
    """
    Outcome, topic, house and hour of an old part can still be counted, on no one's thread.
    """
    with database.writing() as session:
        add_guest(session, WREN, OLD)
    _erase_all(database)

    with database.reading() as session:
        message = session.scalars(select(Inbound)).one()
        (part,) = message.parts
        thread = session.get_one(Thread, message.thread_id)
        assert (part.outcome, part.topic, part.house) == ("gap", "hair-dryer", "orchard-barn")
        assert message.received_at == (NOW - OLD).replace(minute=0, second=0, microsecond=0)
        assert (thread.line, message.stay_id, message.text) == (NOBODYS_LINE, None, "")
        assert session.scalar(select(func.count()).select_from(Thread)) == 1
        assert session.scalar(select(func.count()).select_from(CitationRow)) == 0
        assert session.scalar(select(func.count()).select_from(Escalation)) == 1
        delivery = session.scalars(select(Delivery).where(Delivery.channel == "line")).first()
        assert delivery is not None
        assert (delivery.state, delivery.segments, delivery.to) == ("sent", 1, "")


def test_gap_named_in_old_words_gets_a_younger_name(database: Database) -> None:
    """
    A gap whose name was an old question takes another question's words, or its topic's name.
    """
    with database.writing() as session:
        add_guest(session, WREN, OLD)
        young = add_guest(session, ROWAN, YOUNG)
        named, other = session.scalars(select(Gap).order_by(Gap.id)).all()
        part = session.scalars(
            select(PartRow).join(Inbound).where(Inbound.thread_id == young.id)
        ).one()
        part.gap_id = named.id
        session.flush()
        session.delete(other)
    _erase_all(database)

    with database.reading() as session:
        assert session.scalars(select(Gap.name)).one() == "is there a narwhal dryer"
    _erase_all(database, NOW + OLD)

    with database.reading() as session:
        gap = session.scalars(select(Gap)).one()
        assert (gap.name, gap.centre) == ("hair dryer", None)


def test_second_time_there_is_nothing(database: Database) -> None:
    """
    Once erased, nothing is erased again, and the trail gets no further line.
    """
    with database.writing() as session:
        add_guest(session, WREN, OLD)
    _erase_all(database)

    with database.writing() as session:
        before = everything(session)
        assert not erase_old(session, DAYS, NOW)
        assert everything(session) == before


def test_message_still_to_be_answered_is_kept(database: Database) -> None:
    """
    However old, a message that waits for its answer keeps its words: nothing is lost.
    """
    with database.writing() as session:
        add_guest(session, WREN, OLD)
        message = session.scalars(select(Inbound)).one()
        message.state = "waiting"
    _erase_all(database)

    with database.reading() as session:
        assert "walrus" in session.scalars(select(Inbound.text)).one()


@pytest.mark.parametrize(
    ("days_after_departure", "kept"),
    # The day is counted from departure, and that of the ninetieth day is still kept.
    [(89, True), (90, True), (91, False)],
)
def test_stay_is_anonymous_days_after_departure(
    database: Database, days_after_departure: int, kept: bool
) -> None:
    """
    Names, numbers and code go after the days; house, dates and the feed's UID stay, so that the
    feed does not bring the booking back as a new one.
    """
    with database.writing() as session:
        add_guest(session, WREN, dt.timedelta(days=days_after_departure + 3))
    _erase_all(database)

    with database.reading() as session:
        stay = session.scalars(select(Stay)).one()
        assert bool(stay.guests) is bool(stay.phones) is bool(stay.door_code) is kept
        assert (stay.house, stay.uid) == ("orchard-barn", "booking-123")


def test_cancelled_stay_is_anonymous_days_after_it(database: Database) -> None:
    """
    A booking cancelled long ago keeps no guest, though its dates are still to come.
    """
    with database.writing() as session:
        add_guest(session, WREN, dt.timedelta(days=-30))
        session.scalars(select(Stay)).one().cancelled_at = NOW - OLD
    _erase_all(database)

    with database.reading() as session:
        assert session.scalars(select(Stay)).one().guests == []


def test_little_at_a_time(database: Database) -> None:
    """
    A transaction erases as many as it is told, and says that it did, so that one can come again.
    """
    with database.writing() as session:
        add_guest(session, WREN, OLD)
        add_guest(session, ROWAN, OLD)
        first = erase_old(session, DAYS, NOW, most=1)
        second = erase_old(session, DAYS, NOW, most=1)

    assert first.messages == second.messages == 1
    assert bool(Erased()) is False


def test_sign_ins_that_ran_out_end(database: Database) -> None:
    """
    Sessions past their time are gone, whatever their age.
    """
    with database.writing() as session:
        person = Person(name="Host", role="owner", houses=[], created_at=NOW)
        session.add(person)
        session.flush()
        open_session(session, person.id, NOW - dt.timedelta(days=31))
        open_session(session, person.id, NOW)
    _erase_all(database)

    with database.reading() as session:
        assert session.scalar(select(func.count()).select_from(SignIn)) == 1


def test_planned_message_is_not_sent_again_while_its_stay_is_to_come(database: Database) -> None:
    """
    The words of an old delivery go at once; its key, which keeps it from being sent again, goes
    with the guests of its stay.
    """
    with database.writing() as session:
        add_guest(session, WREN, OLD)
        stay = session.scalars(select(Stay)).one()
        stay.departure = NOW.date() + dt.timedelta(days=3)
        key = planned_key(stay.id, "welcome", WREN)
    _erase_all(database)

    with database.reading() as session:
        planned = session.scalars(select(Delivery).where(Delivery.key == key)).one()
        assert (planned.text, planned.to) == ("", "")
    _erase_all(database, NOW + OLD)

    with database.reading() as session:
        assert session.scalars(select(Delivery).where(Delivery.key == key)).first() is None

"""Messages in: stored once, however often, in whatever order and pieces they come."""

from __future__ import annotations

import datetime as dt
import threading
from typing import Any

import pytest
from sqlalchemy import func, select

from service.database import Database
from service.inbox import PIECES_WAIT, Stored, join_late, store
from service.lines.arrived import PieceOf
from service.tables import Inbound, Piece, Thread
from tests.service.texting import ADA, BEN, LINE, NOON, arrived


def put(database: Database, text: str, now: dt.datetime = NOON, **more: Any) -> Stored:
    with database.writing() as session:
        return store(session, arrived(text, **more), now)


def piece(database: Database, number: int, text: str, of: int = 3, **more: Any) -> Stored:
    reference = more.pop("reference", "77")
    more.setdefault("gateway_id", f"{reference}-{number}-{text}")
    return put(database, text, piece=PieceOf(reference=reference, number=number, of=of), **more)


def stored(database: Database) -> list[Inbound]:
    with database.reading() as session:
        return list(session.scalars(select(Inbound).order_by(Inbound.id)))


def late(database: Database, now: dt.datetime) -> int:
    with database.writing() as session:
        return join_late(session, now)


def test_a_message_is_stored_with_its_thread(database: Database) -> None:
    """
    What arrived is there as it came, waiting, in the thread of its sender on its line.
    """
    first = put(database, "where are the bins")
    second = put(database, "and the recycling?")

    one, two = stored(database)
    assert (first, second) == (Stored(one.id, True), Stored(two.id, True))
    assert (one.text, one.state, one.received_at) == ("where are the bins", "waiting", NOON)
    with database.reading() as session:
        thread = session.scalars(select(Thread)).one()
    assert (thread.line, thread.sender) == (LINE, ADA)
    assert one.thread_id == two.thread_id == thread.id


def test_the_same_id_is_the_same_message(database: Database) -> None:
    """
    A gateway that sends again, even a day later, is told the message of the first time.
    """
    first = put(database, "where are the bins", gateway_id="a1")
    again = put(database, "where are the bins", gateway_id="a1", now=NOON + dt.timedelta(days=1))

    assert again == Stored(first.message_id, fresh=False)
    assert len(stored(database)) == 1


# Seconds apart, from the same sender or another, in the same words or others -> one message?
@pytest.mark.parametrize(
    ("apart_s", "more", "one"),
    [
        (0, {}, True),
        (60, {}, True),
        (-60, {}, True),  # handed over in the other order
        (61, {}, False),
        (1, {"sender": BEN}, False),
        (1, {"line": "other"}, False),
        (1, {"text": "where are the bins?"}, False),
    ],
)
def test_the_same_words_within_a_minute_are_one_message(
    database: Database, apart_s: int, more: dict[str, Any], one: bool
) -> None:
    """
    A double tap has two ids and is answered once; the same question an hour on is asked anew.
    """
    put(database, "where are the bins", gateway_id="a1", received_at=NOON)

    later = NOON + dt.timedelta(seconds=apart_s)
    again = put(
        database,
        **{"text": "where are the bins", "gateway_id": "a2", "received_at": later, **more},
    )

    assert again.fresh is not one
    assert len(stored(database)) == (1 if one else 2)


def test_who_withholds_the_number_is_not_taken_for_another(database: Database) -> None:
    """
    Two who withhold their numbers and write the same are two.
    """
    put(database, "hello", gateway_id="a1", sender="withheld")

    assert put(database, "hello", gateway_id="a2", sender="withheld").fresh


@pytest.mark.parametrize(
    ("text", "urgent"),
    [("I smell gas", True), ("we are locked out", True), ("where is the gas meter", False)],
)
def test_words_of_danger_make_a_message_urgent(database: Database, text: str, urgent: bool) -> None:
    """
    The word list of triage decides, before anything else has read the message.
    """
    put(database, text)

    assert stored(database)[0].urgent is urgent


def test_a_clock_that_runs_ahead_puts_nobody_last(database: Database) -> None:
    """
    A gateway's time in the future is read as now.
    """
    put(database, "hello", received_at=NOON + dt.timedelta(hours=3))

    assert stored(database)[0].received_at == NOON


def test_what_no_database_takes_is_left_out(database: Database) -> None:
    """
    NUL, half a surrogate pair and ids without end are stored rather than refused.
    """
    put(database, "the\x00 bins \ud83d?", gateway_id="x" * 5000, sender="Y" * 300)

    assert stored(database)[0].text == "the bins ??"
    assert put(database, "other", gateway_id="x" * 5000, sender="Y" * 300).fresh is False


def test_pieces_are_joined_in_their_order(database: Database) -> None:
    """
    A long message is one, whatever order its pieces come in; before the last there is none.
    """
    first = piece(database, 3, "in the kitchen?")
    second = piece(database, 1, "Where are ")
    third = piece(database, 2, "the bins ")

    (message,) = stored(database)
    assert (first, second) == (Stored(None, True), Stored(None, True))
    assert third == Stored(message.id, True)
    assert message.text == "Where are the bins in the kitchen?"


def test_a_piece_that_comes_again_changes_nothing(database: Database) -> None:
    """
    Neither before nor after the others is a piece taken twice.
    """
    piece(database, 1, "Where are ", of=2)
    waiting = piece(database, 1, "Where are ", of=2)
    done = piece(database, 2, "the bins", of=2)
    again = [piece(database, n, text, of=2) for n, text in ((1, "Where are "), (2, "the bins"))]

    assert waiting == Stored(None, False)
    assert again == [Stored(done.message_id, False)] * 2
    assert [message.text for message in stored(database)] == ["Where are the bins"]


def test_missing_pieces_are_waited_for_only_so_long(database: Database) -> None:
    """
    After half a minute the message is what is there; a gap in it can be seen.
    """
    piece(database, 1, "Where are ")
    piece(database, 3, "in the kitchen?")

    assert late(database, NOON + PIECES_WAIT - dt.timedelta(seconds=1)) == 0
    assert late(database, NOON + PIECES_WAIT) == 1
    assert late(database, NOON + PIECES_WAIT) == 0
    assert [m.text for m in stored(database)] == ["Where are  … in the kitchen?"]


def test_a_late_piece_still_belongs(database: Database) -> None:
    """
    It completes a message that nobody has taken up, and is one of its own beside an answered one.
    """
    piece(database, 1, "Where are ", of=3)
    late(database, NOON + PIECES_WAIT)
    joined = piece(database, 2, "the bins", of=3)
    with database.writing() as session:
        message = session.scalars(select(Inbound)).one()
        assert message.text == "Where are the bins"
        message.state = "answered"
    apart = piece(database, 3, " and the paper", of=3)

    texts = [message.text for message in stored(database)]
    assert texts == ["Where are the bins", " and the paper"]
    assert joined.fresh
    assert apart.fresh
    assert piece(database, 3, " and the paper", of=3) == Stored(apart.message_id, False)


def test_danger_does_not_wait_for_the_other_pieces(database: Database) -> None:
    """
    A piece with words of danger is a message at once, and takes in those that follow.
    """
    first = piece(database, 2, "I smell gas ", of=3)
    piece(database, 3, "in the kitchen", of=3)

    (message,) = stored(database)
    assert first.message_id == message.id
    assert message.urgent
    assert message.text == "I smell gas in the kitchen"


def test_a_reference_that_is_used_again_is_another_message(database: Database) -> None:
    """
    References are few (one octet, 3GPP TS 23.040, 9.2.3.24.1): other words under the same one
    begin another message, and what waited is not lost.
    """
    for number, text in ((1, "one "), (2, "two")):
        piece(database, number, text, of=2)
    piece(database, 1, "three ", of=2)
    piece(database, 1, "five ", of=2)
    piece(database, 2, "six", of=2)

    assert [m.text for m in stored(database)] == ["one two", "three ", "five six"]


def test_pieces_are_erased_with_their_message(database: Database) -> None:
    """
    No words of a guest stay behind in the pieces when the thread is erased.
    """
    piece(database, 1, "one ", of=2)
    piece(database, 2, "two", of=2)
    with database.writing() as session:
        session.delete(session.scalars(select(Thread)).one())
    with database.reading() as session:
        assert session.scalar(select(func.count()).select_from(Piece)) == 0
        assert session.scalar(select(func.count()).select_from(Inbound)) == 0


def test_the_same_message_many_times_at_once_is_one(database: Database) -> None:
    """
    Eight hand over the same words with two ids at the same moment: one message is stored.
    """
    begin = threading.Barrier(8)
    told: list[Stored] = []

    def hand_over(number: int) -> None:
        begin.wait()
        told.append(put(database, "where are the bins", gateway_id=f"a{number % 2}"))

    threads = [threading.Thread(target=hand_over, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    (message,) = stored(database)
    assert sorted(told, key=lambda s: not s.fresh) == [
        Stored(message.id, True),
        *[Stored(message.id, False)] * 7,
    ]

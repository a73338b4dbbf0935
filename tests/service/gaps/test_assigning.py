"""New gaps find their group."""

from __future__ import annotations

import datetime as dt
import threading

from sqlalchemy import select

from service.database import Database
from service.gaps.assigning import DISMISSED, OPEN, WRITTEN, assign, short_name
from service.tables import PartRow
from tests.service.gaps.asking import NOON, asked, gaps_of, make_meaning
from tests.standins import CountingEncoder

HOUR = dt.timedelta(hours=1)


def test_questions_of_one_meaning_are_one_gap(database: Database) -> None:
    """
    What waits is put into groups by meaning, each named by its topic, or by its most central
    question where none is known; answered parts are left alone.
    """
    with database.writing() as session:
        asked(session, "is there a sauna", at=NOON - HOUR)
        asked(session, "sauna?", at=NOON)
        asked(session, "an iron please", at=NOON)
        asked(session, "which password is it", at=NOON)
        asked(session, "where are the bins", outcome="answer")

    assert assign(database, make_meaning()) == 4
    assert assign(database, make_meaning()) == 0
    with database.reading() as session:
        gaps = gaps_of(session)
        assert {(gap.name, gap.topic) for gap in gaps} == {
            ("Sauna", "sauna"),
            ("Iron", "iron"),
            ("which password is it", None),
        }
        sauna = next(gap for gap in gaps if gap.topic == "sauna")
        assert (sauna.state, sauna.first_at, sauna.last_at) == (OPEN, NOON - HOUR, NOON)
        answered = session.scalars(select(PartRow).where(PartRow.outcome == "answer")).one()
        assert answered.gap_id is None


def test_a_later_question_joins(database: Database) -> None:
    """
    A question that comes later joins its gap and moves its last time, also one that is asked in
    words which only the catalogue knows.
    """
    meaning = make_meaning()
    with database.writing() as session:
        asked(session, "is there a sauna")
    assign(database, meaning)
    with database.writing() as session:
        asked(session, "steam room?", at=NOON + HOUR)
        asked(session, "iron", at=NOON + HOUR)
    assign(database, meaning)

    with database.reading() as session:
        gaps = gaps_of(session)
        assert [(gap.topic, gap.last_at) for gap in gaps] == [
            ("sauna", NOON + HOUR),
            ("iron", NOON + HOUR),
        ]


def test_each_house_has_its_own_gaps(database: Database) -> None:
    """
    The same question at two houses is a gap at each.
    """
    with database.writing() as session:
        asked(session, "sauna?")
        asked(session, "sauna?", house="mill-loft")
    assign(database, make_meaning())

    with database.reading() as session:
        assert len(gaps_of(session)) == len(gaps_of(session, "mill-loft")) == 1


def test_a_written_gap_opens_again_and_a_dismissed_one_stays(database: Database) -> None:
    """
    A question that the written fact did not answer opens its gap again; one that joins a
    dismissed gap leaves it dismissed.
    """
    meaning = make_meaning()
    with database.writing() as session:
        asked(session, "sauna?")
        asked(session, "iron?")
    assign(database, meaning)
    with database.writing() as session:
        for gap in gaps_of(session):
            gap.state = WRITTEN if gap.topic == "sauna" else DISMISSED
        asked(session, "the sauna")
        asked(session, "the iron")
    assign(database, meaning)

    with database.reading() as session:
        assert {gap.topic: gap.state for gap in gaps_of(session)} == {
            "sauna": OPEN,
            "iron": DISMISSED,
        }


def test_a_middle_of_another_encoder_is_made_again(database: Database) -> None:
    """
    After a change of encoder the gaps' middles are made anew from their questions, and later
    questions find them; so is one that was lost.
    """
    with database.writing() as session:
        asked(session, "sauna?")
    assign(database, make_meaning(CountingEncoder("old")))
    with database.reading() as session:
        old = gaps_of(session)[0].centre
    for meaning in (make_meaning(CountingEncoder("new")), make_meaning(CountingEncoder("new"))):
        with database.writing() as session:
            asked(session, "the sauna")
        assign(database, meaning)
        with database.writing() as session:
            (gap,) = gaps_of(session)
            assert gap.centre is not None
            assert gap.centre != old
            gap.centre = None


def test_two_processes_make_one_gap(database: Database) -> None:
    """
    Two that assign at the same time put every question into one gap, and each only once.
    """
    with database.writing() as session:
        for number in range(12):
            asked(session, "sauna?", sender=f"+4477009000{number:02}")
    done: list[int] = []
    workers = [
        threading.Thread(target=lambda: done.append(assign(database, make_meaning(), most=12)))
        for _ in range(4)
    ]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()

    assert sum(done) == 12
    with database.reading() as session:
        assert len(gaps_of(session)) == 1


def test_erased_words_are_not_read(database: Database) -> None:
    """
    A part whose words were erased waits for nothing.
    """
    with database.writing() as session:
        asked(session, "sauna?").text = ""

    assert assign(database, make_meaning()) == 0


def test_a_name_is_one_short_line() -> None:
    """
    A long question is cut behind a word.
    """
    assert short_name("is there\n a sauna") == "is there a sauna"
    assert short_name("sauna " * 40) == "sauna " * 12 + "sauna …"

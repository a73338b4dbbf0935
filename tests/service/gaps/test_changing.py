"""What the host makes of a gap."""

from __future__ import annotations

import datetime as dt
import shutil
from pathlib import Path

import pytest
from sqlalchemy import select

from askhouse.knowledge import load_house
from askhouse.knowledge.write import EditRefusedError, FactChange
from service.database import Database
from service.errors import GapError
from service.gaps.assigning import WRITTEN, assign
from service.gaps.changing import dismiss, merge, reopen, split, write_answer
from service.tables import Change, PartRow
from tests.house import SMALL
from tests.service.gaps.asking import NOON, asked, gaps_of, make_meaning

HOUR = dt.timedelta(hours=1)


@pytest.fixture
def filled(database: Database) -> Database:
    """Two questions about a sauna, one about an iron."""
    with database.writing() as session:
        asked(session, "sauna?", at=NOON - HOUR)
        asked(session, "the sauna", at=NOON)
        asked(session, "iron?", at=NOON + HOUR)
    assign(database, make_meaning())
    return database


def counts(database: Database) -> dict[str, int]:
    """How many questions each gap has, by name."""
    with database.reading() as session:
        parts = list(session.scalars(select(PartRow)))
        return {gap.name: sum(part.gap_id == gap.id for part in parts) for gap in gaps_of(session)}


def test_two_gaps_are_put_together(filled: Database) -> None:
    """
    All questions and both times go over; a later question finds the one that is left.
    """
    with filled.writing() as session:
        sauna, iron = gaps_of(session)
        merge(session, iron, sauna)

    assert counts(filled) == {"Sauna": 3}
    with filled.writing() as session:
        (gap,) = gaps_of(session)
        assert (gap.first_at, gap.last_at) == (NOON - HOUR, NOON + HOUR)
        asked(session, "sauna, please")
    assign(filled, make_meaning())
    assert counts(filled) == {"Sauna": 4}


def test_gaps_of_two_houses_stay_apart(filled: Database) -> None:
    """
    Neither a gap with itself nor gaps of two houses can be put together.
    """
    with filled.writing() as session:
        asked(session, "sauna?", house="mill-loft")
    assign(filled, make_meaning())
    with filled.writing() as session:
        sauna, (other,) = gaps_of(session)[0], gaps_of(session, "mill-loft")
        with pytest.raises(GapError, match="of one house"):
            merge(session, sauna, other)
        with pytest.raises(GapError, match="of one house"):
            merge(session, sauna, sauna)


def test_a_gap_is_taken_apart(filled: Database) -> None:
    """
    The chosen questions become a gap of their own, with their own times and words.
    """
    with filled.writing() as session:
        sauna = gaps_of(session)[0]
        parts = list(session.scalars(select(PartRow).where(PartRow.gap_id == sauna.id)))
        new = split(session, sauna, [parts[1].id])
        assert (new.name, new.first_at, new.last_at) == ("the sauna", NOON, NOON)
        assert (sauna.first_at, sauna.last_at) == (NOON - HOUR, NOON - HOUR)
        for wrong in ([], [parts[0].id], [10_000]):
            with pytest.raises(GapError, match="not all"):
                split(session, sauna, wrong)

    assert counts(filled) == {"Sauna": 1, "Iron": 1, "the sauna": 1}


def test_a_gap_is_left_out_and_taken_back(filled: Database) -> None:
    """
    A dismissed gap can be opened again.
    """
    with filled.writing() as session:
        gap = gaps_of(session)[0]
        dismiss(gap)
        assert gap.state == "dismissed"
        reopen(gap)
        assert gap.state == "open"


def test_an_answer_makes_the_fact(filled: Database, tmp_path: Path) -> None:
    """
    The fact is in the house's file, the change is kept so that it can be undone, and the gap is
    closed by it.
    """
    path = Path(shutil.copy(SMALL, tmp_path))
    change = FactChange({"topic": "rooms", "text": "There is no sauna."}, new=True)
    with filled.writing() as session:
        gap = gaps_of(session)[0]
        written = write_answer(session, tmp_path, gap, "sauna", change, person="person:1", now=NOON)

    house = load_house(path).house
    assert house is not None
    assert house.facts[-1].text == "There is no sauna."
    with filled.reading() as session:
        gap = gaps_of(session)[0]
        assert (gap.state, gap.fact) == (WRITTEN, "sauna")
        kept = session.scalars(select(Change)).one()
        assert (kept.file, kept.before, kept.after) == ("ferry-lodge.yaml", None, written.after)
        assert (kept.old_hash, kept.new_hash) == (None, written.new_hash)


def test_a_refused_answer_leaves_the_gap_open(filled: Database, tmp_path: Path) -> None:
    """
    What the loader refuses is neither written nor kept.
    """
    path = Path(shutil.copy(SMALL, tmp_path))
    change = FactChange({"topic": "rooms", "text": "It is {nowhere}."}, new=True)
    with pytest.raises(EditRefusedError), filled.writing() as session:
        write_answer(
            session, tmp_path, gaps_of(session)[0], "sauna", change, person="person:1", now=NOON
        )

    assert path.read_bytes() == SMALL.read_bytes()
    with filled.reading() as session:
        assert gaps_of(session)[0].state == "open"
        assert session.scalars(select(Change)).all() == []

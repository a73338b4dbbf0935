"""The trail: a chain that shows whatever was changed, taken out or moved."""

from __future__ import annotations

import concurrent.futures
import datetime as dt
import hashlib
from collections.abc import Callable

import pytest
import rfc8785
from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from service.database import Database
from service.privacy.trail import FIRST, Head, head, holds, line_hash, record, verify
from service.tables import Trail

NOW = dt.datetime(2026, 7, 1, 12, 34, 56, 789, dt.UTC)


def _fill(database: Database, lines: int = 5) -> list[int]:
    with database.writing() as session:
        for number in range(lines):
            record(session, "person:1", "stay.cancel", f"stay:{number}", {"again": False}, NOW)
    with database.reading() as session:
        return list(session.scalars(select(Trail.id).order_by(Trail.id)))


def test_untouched_trail_is_whole(database: Database) -> None:
    """
    What was recorded verifies, read anew from the database; so does an empty trail.
    """
    with database.reading() as session:
        assert verify(session) is None
        assert head(session) == Head(0, FIRST)
    _fill(database)

    with database.reading() as session:
        assert verify(session) is None
        assert head(session).lines == 5


def _change_details(session: Session, ids: list[int]) -> None:
    session.get_one(Trail, ids[2]).details = {"again": True}


def _change_time(session: Session, ids: list[int]) -> None:
    session.get_one(Trail, ids[2]).at += dt.timedelta(microseconds=1)


def _change_and_hash_again(session: Session, ids: list[int]) -> None:
    """Whoever changes a line and gives it a fitting hash breaks the next one."""
    line = session.get_one(Trail, ids[1])
    line.who = "person:2"
    line.hash = line_hash(line)


def _remove(session: Session, ids: list[int]) -> None:
    session.execute(delete(Trail).where(Trail.id == ids[1]))


def _remove_first(session: Session, ids: list[int]) -> None:
    session.execute(delete(Trail).where(Trail.id.in_(ids[:2])))


def _swap(session: Session, ids: list[int]) -> None:
    lines = [session.get_one(Trail, ids[2]), session.get_one(Trail, ids[3])]
    for line in lines:
        line.id += 100
        session.flush()
    for line, place in zip(lines, reversed(ids[2:4]), strict=True):
        line.id = place
        session.flush()


@pytest.mark.parametrize(
    "tamper",
    [_change_details, _change_time, _change_and_hash_again, _remove, _remove_first, _swap],
)
def test_tampering_is_found_at_its_first_line(
    database: Database, tamper: Callable[[Session, list[int]], None]
) -> None:
    """
    A line that is changed, even with a hash that fits it, taken out or moved is found, and where.
    """
    ids = _fill(database)
    with database.writing() as session:
        tamper(session, ids)

    with database.reading() as session:
        assert verify(session) == ids[2]


def test_cut_off_end_is_found_against_an_earlier_head(database: Database) -> None:
    """
    A trail without its last lines is a whole chain; a head noted elsewhere tells that they are
    missing, and goes on to hold when lines are added.
    """
    ids = _fill(database)
    with database.writing() as session:
        noted = head(session)
        record(session, "command", "guest.export", "guest", {}, NOW)
        assert holds(session, noted)
        session.execute(delete(Trail).where(Trail.id >= ids[4]))

    with database.writing() as session:
        assert verify(session) is None
        assert not holds(session, noted)
        record(session, "command", "guest.export", "guest", {}, NOW)
        assert not holds(session, noted)


def test_hash_is_sha256_over_canonical_json() -> None:
    """
    The hash of a line is what any SHA-256 gives for its canonical JSON, written here by hand.
    """
    line = Trail(
        at=NOW, who="token:3", did="stay.add", subject="stay:4", details={"b": [2, 1], "a": None}
    )
    line.before = FIRST
    said = (
        '{"at":"2026-07-01T12:34:56.000789Z","before":"' + "0" * 64 + '",'
        '"details":{"a":null,"b":[2,1]},"did":"stay.add","subject":"stay:4","who":"token:3"}'
    )

    assert line_hash(line) == hashlib.sha256(said.encode()).hexdigest()


def test_canonical_json_is_that_of_rfc_8785() -> None:
    """
    Members are sorted by UTF-16 code units: the example of RFC 8785, section 3.2.3 (from memory).
    """
    shuffled = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    text = rfc8785.dumps(shuffled).decode()
    places = [
        text.index(json_name)
        for json_name in ("\\r", '"1"', "\u0080", "ö", "€", "\U0001f600", "\ufb33")
    ]

    assert places == sorted(places)


def test_lines_of_many_at_once_follow_one_another(database: Database) -> None:
    """
    Eight writers append ten lines each; no two follow the same line, and none is missing.
    """

    def write(writer: int) -> None:
        for number in range(10):
            with database.writing() as session:
                record(session, f"person:{writer}", "stay.add", f"stay:{number}", {}, NOW)

    with concurrent.futures.ThreadPoolExecutor(8) as pool:
        list(pool.map(write, range(8)))

    with database.reading() as session:
        assert verify(session) is None
        assert head(session).lines == 80


def test_line_is_gone_with_its_transaction(database: Database) -> None:
    """
    What was not done after all leaves no line.
    """

    def fail() -> None:
        with database.writing() as session:
            record(session, "command", "guest.erase", "guest", {}, NOW)
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail()
    with database.reading() as session:
        assert head(session).lines == 0


@pytest.mark.parametrize(
    ("who", "did", "subject", "details"),
    [
        # who: no name
        ("Wren Hollis", "stay.add", "stay:1", {}),
        ("person:wren", "stay.add", "stay:1", {}),
        # did: no sentence
        ("person:1", "added a stay", "stay:1", {}),
        # subject and details: no name, number or words
        ("person:1", "stay.add", "stay:Wren", {}),
        ("person:1", "stay.add", "+447700900123", {}),
        ("person:1", "stay.add", "447700900123", {}),
        ("person:1", "stay.add", "stay:1", {"name": "Wren"}),
        ("person:1", "stay.add", "stay:1", {"said": ["where is the oven"]}),
    ],
)
def test_words_and_numbers_are_refused(
    database: Database, who: str, did: str, subject: str, details: dict[str, str]
) -> None:
    """
    What could be someone's name, number or words is not recorded, and the error does not repeat it.
    """
    with database.writing() as session, pytest.raises(ValueError, match="write") as refused:
        record(session, who, did, subject, details, NOW)  # type: ignore[arg-type]

    for word in ("Wren", "wren", "4477", "oven", "added"):
        assert word not in str(refused.value)

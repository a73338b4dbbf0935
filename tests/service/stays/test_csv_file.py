"""Stays from a CSV file: all of them, or none and every problem at once."""

from __future__ import annotations

from collections.abc import Mapping

import pytest
from sqlalchemy import select

from askhouse.values import House
from service.database import Database
from service.stays.csv_file import Imported, import_csv
from service.stays.errors import StayError
from service.stays.stays import cancel_stay, draft_of
from service.tables import Stay
from tests.service.stays.conftest import utc

NOW = utc(2026, 6, 1, 12)
WHOLE = """\
house,arrival,departure,guests,phones,door_code,reference,release_from,release_until
quay-flat,2026-07-01,2026-07-04,Ada Winter; Ben Summer,01512 3456789|+44 20 7946 0018,5512,K9,,
ferry-lodge,2026-07-01,2026-07-04,"Winter, Ada",,,,2026-07-01T12:00+01:00,2026-07-04T09:00Z
"""


def take(database: Database, houses: Mapping[str, House], text: str | bytes) -> Imported:
    content = text.encode() if isinstance(text, str) else text
    with database.writing() as session:
        return import_csv(session, content, houses, NOW, "stays.csv")


def test_a_whole_file(database: Database, houses: Mapping[str, House]) -> None:
    """
    Every row becomes a stay; importing again changes nothing, and a changed row changes its stay.
    """
    assert take(database, houses, WHOLE) == Imported(added=2, changed=0, same=0)
    assert take(database, houses, WHOLE) == Imported(added=0, changed=0, same=2)
    changed = WHOLE.replace("5512", "6623")
    assert take(database, houses, changed) == Imported(added=0, changed=1, same=1)

    with database.reading() as session:
        flat, lodge = map(draft_of, session.scalars(select(Stay).order_by(Stay.id)))
    assert flat.guests == ("Ada Winter", "Ben Summer")
    assert sorted(flat.phones) == ["+442079460018", "+4915123456789"]
    assert (flat.door_code, flat.reference) == ("6623", "K9")
    assert lodge.guests == ("Winter, Ada",)
    assert (lodge.release_from, lodge.release_until) == (
        utc(2026, 7, 1, 11),
        utc(2026, 7, 4, 9),
    )


@pytest.mark.parametrize(
    "content",
    [
        b"\xef\xbb\xbfhouse,arrival,departure\r\nquay-flat,2026-07-01,2026-07-04\r\n",
        b"departure;house;arrival\r\n2026-07-04;quay-flat;2026-07-01\r\n",
        b"House\tArrival\tDeparture\n\nquay-flat\t2026-07-01\t2026-07-04\n",
    ],
    ids=["byte order mark", "semicolons", "tabs and a blank line"],
)
def test_what_spreadsheets_write(
    database: Database, houses: Mapping[str, House], content: bytes
) -> None:
    """
    Separators and a byte order mark are recognised, columns stand in any order.
    """
    assert take(database, houses, content).added == 1


def test_every_problem_at_once(database: Database, houses: Mapping[str, House]) -> None:
    """
    Each problem of each row is told with file, line, field and how to mend it; no row is stored,
    nor is anything of a guest repeated.
    """
    text = (
        "house,arrival,departure,guests,phones,reference,release_from\n"
        "quay-flat,2026-07-01,2026-07-04,Ada Winter,01512 3456789,K1,\n"
        "nowhere,2026-07-01,2026-06-01,Ada Winter,01512,K2,soon\n"
        'quay-flat,1.7.2026,,"Ada\nWinter",,K3,\n'
        "quay-flat,2026-07-01\n"
        "quay-flat,2026-02-30,2026-07-04,Ada Winter,,K4,2026-07-01T08:00\n"
        "quay-flat,2026-08-01,2026-08-04,,,K1,2026-07-01T08:00\n"
    )
    with pytest.raises(StayError) as raised:
        take(database, houses, text)

    assert [(p.file, p.line, p.field) for p in raised.value.problems] == [
        ("stays.csv", 3, "departure"),
        ("stays.csv", 3, "house"),
        ("stays.csv", 3, "phones[0]"),
        ("stays.csv", 3, "release_from"),
        ("stays.csv", 4, "arrival"),
        ("stays.csv", 4, "departure"),
        ("stays.csv", 6, ""),
        ("stays.csv", 7, "arrival"),
        ("stays.csv", 8, "reference"),
        ("stays.csv", 8, "release_from"),
    ]
    assert "names the same stay as line 2" in str(raised.value)
    assert "Winter" not in str(raised.value)
    assert str(raised.value).endswith("10 errors.\n")
    with database.reading() as session:
        assert session.scalars(select(Stay)).all() == []


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", r"stays.csv:1: is empty"),
        (b"\n\n", r"is empty"),
        (b"house,arrival,departure\ncaf\xe9,,", r"stays.csv:2: is not UTF-8"),
        (b"house,arrival,leaving\n", r"column 3 has no name that is known"),
        (b"house,arrival\n", r"departure is missing"),
        (b"house,house,arrival,departure\n", r"house is named twice"),
        (b'house,arrival,departure\n"quay-flat,2026-07-01,2026-07-04', r"Close every quotation"),
        (b"house,arrival,departure\n" + b"quay-flat,a,b\n" * 10_001, r"is row 10001"),
        (b"house,arrival,departure\nquay-flat\x00,2026-07-01,2026-07-04\n", r"stays.csv:2: "),
    ],
)
def test_files_that_cannot_be_read(
    database: Database, houses: Mapping[str, House], content: bytes, said: str
) -> None:
    """
    What keeps the whole file from being read is told as one of its problems.
    """
    with pytest.raises(StayError, match=said):
        take(database, houses, content)


def test_a_cancelled_stay_keeps_the_file_out(
    database: Database, houses: Mapping[str, House]
) -> None:
    """
    A row of a stay that was cancelled since is a problem of that line; the other rows, though whole
    and new, are not stored.
    """
    take(database, houses, WHOLE)
    with database.writing() as session:
        cancel_stay(session, session.scalars(select(Stay).where(Stay.uid == "K9")).one().id, NOW)

    with pytest.raises(StayError, match=r"stays.csv:2: reference names a stay that was cancelled"):
        take(database, houses, WHOLE + "ferry-lodge,2026-09-01,2026-09-04,,,,,,\n")
    with database.reading() as session:
        assert len(session.scalars(select(Stay)).all()) == 2

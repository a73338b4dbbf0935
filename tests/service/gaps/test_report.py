"""The gap report, and how it is shown."""

from __future__ import annotations

import csv
import datetime as dt
import io
import itertools
import json
from pathlib import Path

import pytest
from markdown_it import MarkdownIt
from rich.console import Console

from askhouse.values import House
from service.database import Database
from service.gaps.assigning import assign
from service.gaps.changing import split
from service.gaps.report import Row, Urgency, report, with_near_facts, with_samples
from service.gaps.shown import as_csv, as_json, as_markdown, as_table
from service.tables import PartRow
from tests.factories import make_house
from tests.house import SECRETS
from tests.service.gaps.asking import NOON, asked, gaps_of, make_meaning, make_stay
from tests.standins import make_assistant

DAY = dt.timedelta(days=1)


@pytest.fixture
def houses(small_house: House) -> dict[str, House]:
    loft = make_house(slug="mill-loft", name="Mill Loft", timezone="Pacific/Auckland")
    return {"ferry-lodge": small_house, "mill-loft": loft}


@pytest.fixture
def rows(database: Database, houses: dict[str, House]) -> list[Row]:
    """A sauna asked for at both houses, an iron by a coming guest, a password by anyone."""
    with database.writing() as session:
        here = make_stay(session, "ferry-lodge", -2, 1)
        coming = make_stay(session, "ferry-lodge", 5, 9)
        gone = make_stay(session, "mill-loft", -20, -10)
        asked(session, "is there a sauna", stay=here, at=NOON - DAY)
        asked(session, "a sauna?", stay=here, sender="+447700900002", at=NOON)
        asked(session, "sauna?", house="mill-loft", stay=gone, sender="+447700900003", at=NOON)
        asked(session, "=iron|*now*?", stay=coming, sender="+447700900004", at=NOON - 3 * DAY)
        asked(session, "password", sender="one", line="pages", at=NOON - 30 * DAY)
        asked(session, "the password", sender="one", line="pages", at=NOON - 30 * DAY)
        asked(session, "password please", sender="+447700900005", at=NOON - 30 * DAY)
        asked(session, "passwords: password", sender="+447700900005", at=NOON - 30 * DAY)
    assign(database, make_meaning())
    with database.reading() as session:
        return with_samples(session, report(session, houses, NOON))


def test_a_meaning_is_one_row_over_all_houses(rows: list[Row]) -> None:
    """
    Gaps of one meaning at two houses are one row with both; a stay counts as one guest however
    many of it ask; a pasted message counts alone, and a sender without a stay once.
    """
    assert [(row.name, row.houses, row.guests, row.questions) for row in rows] == [
        ("Sauna", ("ferry-lodge", "mill-loft"), 2, 3),
        ("Iron", ("ferry-lodge",), 1, 1),
        ("password", ("ferry-lodge",), 3, 4),
    ]
    sauna = rows[0]
    assert (sauna.first_at, sauna.last_at) == (NOON - DAY, NOON)
    assert set(sauna.gaps) == {"ferry-lodge", "mill-loft"}


def test_two_of_one_house_stay_apart(database: Database, houses: dict[str, House]) -> None:
    """
    What a host took apart is two rows, though both mean the same; the other house's joins one.
    """
    with database.writing() as session:
        for n, house in enumerate(("ferry-lodge", "ferry-lodge", "mill-loft")):
            asked(session, "is there a sauna", house=house, sender=f"+44770090001{n}")
    assign(database, make_meaning())
    with database.writing() as session:
        gap = next(gap for gap in gaps_of(session) if gap.house == "ferry-lodge")
        split(session, gap, [session.query(PartRow.id).filter_by(gap_id=gap.id).first()[0]])
        for each in gaps_of(session):
            each.topic = "sauna"  # as the next question would name them
    with database.reading() as session:
        found = report(session, houses, NOON)

    assert sorted((row.houses, row.questions) for row in found) == [
        (("ferry-lodge",), 1),
        (("ferry-lodge", "mill-loft"), 2),
    ]


def test_who_is_here_comes_first(rows: list[Row]) -> None:
    """
    What a guest in the house asks is before what a coming one asks, and both before the rest,
    which most guests asked.
    """
    assert [row.urgency for row in rows] == [Urgency.HERE, Urgency.COMING, Urgency.LATER]


def test_a_day_is_the_houses_own(database: Database, houses: dict[str, House]) -> None:
    """
    At noon UTC it is the next day in Auckland: who arrives then is here, and who left is gone.
    """
    with database.writing() as session:
        asked(session, "sauna", house="mill-loft", stay=make_stay(session, "mill-loft", 1, 3))
        left = make_stay(session, "mill-loft", -3, 0)
        asked(session, "iron", house="mill-loft", stay=left, sender="+447700900009")
    assign(database, make_meaning())

    with database.reading() as session:
        found = report(session, houses, NOON)
    assert {row.topic: row.urgency for row in found} == {
        "sauna": Urgency.HERE,
        "iron": Urgency.LATER,
    }


def test_the_report_is_narrowed(
    database: Database, rows: list[Row], houses: dict[str, House]
) -> None:
    """
    To houses, to a state, and to what was asked since a time, and before another.
    """
    with database.reading() as session:
        loft = report(session, houses, NOON, only=["mill-loft"])
        recent = report(session, houses, NOON, since=NOON - 7 * DAY)
        before = report(session, houses, NOON, since=NOON - 7 * DAY, before=NOON - 2 * DAY)
        written = report(session, houses, NOON, state="written")

    assert [(row.name, row.houses) for row in loft] == [("Sauna", ("mill-loft",))]
    assert [row.name for row in recent] == ["Sauna", "Iron"]
    assert [row.name for row in before] == ["Iron"]
    assert written == []


def test_near_facts_say_why_they_did_not_do(
    rows: list[Row], small_house: House, tmp_path: Path
) -> None:
    """
    The facts that came nearest are named with the reason, and none that a stranger may not know.
    """
    assistant = make_assistant([small_house], tmp_path)

    near = with_near_facts(rows[0], assistant).near

    assert {fact.house for fact in near} == {"ferry-lodge"}
    assert near
    assert all("answers this" in fact.why for fact in near)
    assert not {"wifi-password", "door-code"} & {fact.id for fact in near}
    assert not any(secret in repr(near) for secret in SECRETS)


def test_json_says_all(rows: list[Row]) -> None:
    """
    Each row is an object with ids, numbers, times with a zone, and the guests' own words.
    """
    sauna = json.loads(as_json(rows))[0]

    assert sauna["gap"] == "Sauna"
    assert sauna["last"] == "2027-06-01T12:00:00+00:00"
    assert sauna["houses"] == ["ferry-lodge", "mill-loft"]
    assert (sauna["guests"], sauna["questions"], sauna["urgency"]) == (2, 3, "here")
    assert set(sauna["asked"]) == {"is there a sauna", "a sauna?", "sauna?"}


def test_csv_is_read_back_and_runs_nothing(rows: list[Row]) -> None:
    """
    Lines end as RFC 4180, 2, says; a guest's words that begin like a formula begin with an
    apostrophe.
    """
    text = as_csv(rows)
    read = list(csv.DictReader(io.StringIO(text, newline="")))

    assert text.count("\r\n") == len(rows) + 1
    assert [row["gap"] for row in read] == ["Sauna", "Iron", "password"]
    assert read[1]["asked"] == "'=iron|*now*?"


def test_markdown_is_a_table_whatever_guests_write(rows: list[Row]) -> None:
    """
    Read as GitHub Flavored Markdown, every row has its nine cells and the words are as written.
    """
    tokens = MarkdownIt("gfm-like", {"linkify": False}).parse(as_markdown(rows))
    cells = [
        "".join(child.content for child in token.children or ())
        for before, token in itertools.pairwise(tokens)
        if before.type in ("td_open", "th_open")
    ]

    assert len(cells) == 9 * (len(rows) + 1)
    assert "=iron|*now*?" in cells


def test_the_table_shows_words_as_they_are(rows: list[Row]) -> None:
    """
    Square brackets of a guest are no markup of the terminal.
    """
    from dataclasses import replace

    console = Console(width=200, record=True, file=io.StringIO())
    console.print(as_table([replace(rows[0], name="[bold]Sauna[/bold]")]))

    assert "[bold]Sauna[/bold]" in console.export_text()

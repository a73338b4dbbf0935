"""Numbers: counted by week and house, worked out by hand; drawn; exported."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Iterator
from xml.etree import ElementTree

import pytest

from service.console.figures import figures, weeks_before
from service.console.plots import Series, lying_bars, standing_bars, steps
from service.database import Database
from service.tables import Escalation, Lesson, PartRow
from tests.service.console.conftest import LODGE, LOFT, NOW, Enter, Visitor
from tests.service.console.filling import Filled


def test_weeks_begin_on_monday() -> None:
    """
    On Wednesday, 25 November 2026, the last three weeks began on 9, 16 and 23 November, midnight
    at the house.
    """
    weeks = weeks_before(NOW, "Europe/London", 3)

    assert [week.isoformat() for week in weeks] == [
        "2026-11-09T00:00:00+00:00",
        "2026-11-16T00:00:00+00:00",
        "2026-11-23T00:00:00+00:00",
    ]


def test_weeks_over_a_change_of_clocks() -> None:
    """
    Clocks go back on 25 October 2026 in London; the weeks before begin at midnight of summer time.
    """
    weeks = weeks_before(NOW, "Europe/London", 6)

    assert [str(week.utcoffset()) for week in weeks] == ["1:00:00"] + ["0:00:00"] * 5


def test_the_numbers(filled: Filled, database: Database) -> None:
    """
    Of the scenario: three messages and four parts this week, one message last week; one answer of
    four questions; an alert that was taken after 20 minutes.
    """
    with database.writing() as session:
        alert = session.get_one(Escalation, filled.alerts["heat"])
        alert.taken_at = alert.created_at + dt.timedelta(minutes=20)
        for verdict in ("right", "right", "gap"):
            session.add(Lesson(house=LODGE, verdict=verdict, text="x", at=NOW))
    with database.reading() as session:
        found = figures(session, None, weeks_before(NOW, "Europe/London", 3))
        lodge = figures(session, [LODGE], weeks_before(NOW, "Europe/London", 3))

    weeks = found.by_week()
    assert [week.messages for week in weeks] == [0, 1, 3]
    last = weeks[-1]
    assert last.parts == {"answer": 1, "gap": 1, "escalate": 2}
    assert (last.asked, last.answered, last.right_share) == (4, 0.25, 2 / 3)
    assert (last.waits_min, last.wait_min) == ([20.0], 20.0)
    assert weeks[0].answered is None
    houses = found.by_house().items()
    assert [(slug, n.messages, n.right, n.reviewed) for slug, n in houses] == [
        (LODGE, 3, 2, 3),
        (LOFT, 1, 0, 0),
    ]
    assert (found.total().messages, found.total().wait_min) == (4, 20.0)
    assert found.topics == (("Hair dryer", 2),)
    assert list(lodge.by_house()) == [LODGE]
    assert [week.messages for week in lodge.by_week()] == [0, 1, 2]


def test_what_was_said_last_of_a_draft_counts(filled: Filled, database: Database) -> None:
    """
    A host who changes their mind about a draft has looked it over once.
    """
    with database.writing() as session:
        part = session.query(PartRow.id).filter_by(outcome="answer").one()[0]
        for verdict in ("gap", "right"):
            session.add(Lesson(house=LODGE, part_id=part, verdict=verdict, text="x", at=NOW))
            session.flush()
    with database.reading() as session:
        total = figures(session, None, weeks_before(NOW, "Europe/London", 3)).total()

    assert (total.right, total.reviewed) == (1, 1)


@pytest.mark.parametrize(
    ("top", "marks"),
    [
        (0, [0, 1]),
        (3, [0, 1, 2, 3]),
        (4, [0, 1, 2, 3, 4]),
        (23, [0, 10, 20, 30]),
        (97, [0, 50, 100]),
        (1250, [0, 500, 1000, 1500]),
        (0.5, [0, 0.2, 0.4, 0.6]),
    ],
)
def test_round_marks(top: float, marks: list[float]) -> None:
    """
    The marks of an axis are round, begin at 0, and reach the top.
    """
    assert steps(top) == pytest.approx(marks)


def bars(svg: str) -> Iterator[dict[str, str]]:
    """The bars of a plot, which must be well-formed."""
    for each in ElementTree.fromstring(svg):
        if each.tag == "rect":
            yield each.attrib


def test_bars_are_as_tall_as_their_numbers() -> None:
    """
    Of stacked bars 2 and 4 the upper one is twice as tall, and stands on the lower one.
    """
    svg = standing_bars(["a"], [Series("1", [2]), Series("2", [4])])
    low, high = bars(svg)

    assert float(high["height"]) == pytest.approx(2 * float(low["height"]), abs=0.2)
    assert float(high["y"]) + float(high["height"]) == pytest.approx(float(low["y"]), abs=0.2)


def test_a_week_without_a_number_has_no_bar() -> None:
    """
    Where there is no number nothing is drawn, not a bar of nothing.
    """
    assert list(bars(standing_bars(["a", "b"], [Series("1", [None, 0])]))) == []


def test_names_are_text() -> None:
    """
    A name that looks like markup is text in the plot.
    """
    svg = lying_bars([("<b>&", 3), ("other", 1)], "1")

    assert "&lt;b&gt;&amp;" in svg
    assert len(list(bars(svg))) == 2


def test_the_page_and_its_tables(owner: Visitor, filled: Filled) -> None:
    """
    Each plot has its table, and all that is drawn is hidden from a screen reader, which reads that.
    """
    page = owner.get("/numbers").text

    assert page.count("<table>") == page.count('<svg class="plot"') == 3
    assert len(re.findall(r'class="plot"[^>]*aria-hidden="true"', page)) == 3
    assert "4</strong>" in page


def test_the_export(owner: Visitor, filled: Filled) -> None:
    """
    The CSV has a row for each week and house of which there is something, and adds up to the page.
    """
    answer = owner.get("/numbers.csv")
    rows = list(csv.DictReader(io.StringIO(answer.text)))

    assert answer.headers["content-disposition"].startswith("attachment")
    assert [(row["week"], row["house"], row["messages"], row["parts_gap"]) for row in rows] == [
        ("2026-11-16", LODGE, "1", "1"),
        ("2026-11-23", LODGE, "2", "1"),
        ("2026-11-23", LOFT, "1", "0"),
    ]


def test_another_house_is_not_counted(enter: Enter, filled: Filled) -> None:
    """
    Staff get the numbers of their house, and cannot ask for another's.
    """
    tom = enter("tom", LODGE)

    assert "3</strong>" in tom.get("/numbers").text
    assert tom.get("/numbers.csv", params={"house": LOFT}).status_code == 404


def test_nothing_to_count(owner: Visitor) -> None:
    """
    Without messages the page says when it begins.
    """
    assert "Nothing to count yet" in owner.get("/numbers").text

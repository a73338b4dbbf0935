"""The week's e-mail: its subject and its words."""

from __future__ import annotations

import datetime as dt

from askhouse.values import House
from service.gaps.digest import digest
from service.gaps.report import Row, Urgency
from tests.service.gaps.asking import NOON

LINK = "https://host.example/gaps"
WEEK = dt.date(2027, 5, 31)


def row(name: str, *houses: str, guests: int = 2, samples: tuple[str, ...] = ()) -> Row:
    return Row(
        name=name,
        topic=None,
        gaps={house: number for number, house in enumerate(houses, 1)},
        questions=3,
        guests=guests,
        first_at=NOON,
        last_at=NOON,
        urgency=Urgency.HERE,
        samples=samples,
    )


def test_the_weeks_email(small_house: House) -> None:
    """
    Each gap with its guests and houses, the guests' words on one line each, and where to answer.
    """
    rows = [
        row("Sauna", "ferry-lodge", "mill-loft", samples=("is there\na sauna",)),
        row("Iron", "ferry-lodge", guests=1),
    ]
    mail = digest(rows, {"ferry-lodge": small_house}, WEEK, LINK)

    assert mail is not None
    assert mail.subject == "2 gaps guests asked about in the week of 31 May 2027"
    assert mail.text.splitlines() == [
        "Guests asked this, and nobody has written it yet.",
        "",
        "Sauna",
        "  2 guests, Ferry Lodge, mill-loft; a guest here now asks",
        "  “is there a sauna”",
        "",
        "Iron",
        "  1 guest, Ferry Lodge; a guest here now asks",
        "",
        f"Answer them: {LINK}",
    ]


def test_many_gaps_are_counted(small_house: House) -> None:
    """
    Twelve are named, the most urgent; how many more there are is said.
    """
    mail = digest([row(f"gap {n}", "ferry-lodge") for n in range(1, 15)], {}, WEEK, LINK)

    assert mail is not None
    assert mail.subject.startswith("14 gaps")
    assert "gap 12\n" in mail.text
    assert "gap 13\n" not in mail.text
    assert "And 2 more." in mail.text


def test_a_week_without_gaps_has_no_email() -> None:
    """
    Nobody is written to about nothing.
    """
    assert digest([], {}, WEEK, LINK) is None

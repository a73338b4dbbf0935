"""Who writes: everyone who may be told no code, at each house, at any time of the run.

Numbers are from those that Ofcom keeps for drama (020 7946 0000 to 0999); nobody has them.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from askhouse.values import House
from service.lines.arrived import WITHHELD
from service.lines.settings import LineSettings
from service.tables import OptOut, Stay, StayPhone

__all__ = ["SHARED", "Asker", "enter", "enter_guests", "lines_for"]

SHARED = "all-houses"
"""The line that serves every house."""


@dataclass(frozen=True, slots=True)
class Asker:
    """Someone who asks for a house's codes.

    Attributes:
        kind: Why they may be told none.
        name: As the line tells the sender.
    """

    kind: str
    name: str
    line: str
    house: str


def lines_for(houses: Mapping[str, House]) -> dict[str, LineSettings]:
    """A line for each house, which is called back, and one for all of them."""
    served = {**{slug: [slug] for slug in houses}, SHARED: list(houses)}
    return {
        name: LineSettings.model_validate(
            {
                "name": name,
                "number": f"+44207946090{place}",
                "country": "GB",
                "houses": slugs,
                "inbound": {"fields": {"sender": "from", "text": "text"}},
                "signing": {"kind": "standard-webhooks", "secret_env": "UNUSED"},
                "send": {"url": "http://127.0.0.1:9/", "json": {"text": "{{ text }}"}},
            }
        )
        for place, (name, slugs) in enumerate(served.items())
    }


def enter(
    session: Session, houses: Mapping[str, House], start: dt.datetime, end: dt.datetime
) -> list[Asker]:
    """Enters the stays, and gives who asks; what they are holds from start to end.

    Each stay has a door code of its own, to be looked for as well.
    """
    return [
        asker
        for place, slug in enumerate(houses)
        for asker in _of_house(session, slug, list(houses), place, start, end)
    ]


def enter_guests(session: Session, houses: Mapping[str, House], start: dt.datetime) -> list[Asker]:
    """Enters a guest in each house who may be told its codes, to see that they would be found."""
    guests = []
    for place, slug in enumerate(houses):
        number = f"+4420794608{place:02}"
        _stay(session, slug, number, start, -1, 3)
        guests.append(Asker("guest", number, slug, slug))
    return guests


def _of_house(
    session: Session,
    slug: str,
    slugs: list[str],
    place: int,
    start: dt.datetime,
    end: dt.datetime,
) -> list[Asker]:
    next_house = slugs[(place + 1) % len(slugs)]
    numbers = (f"+4420794600{n:02}" for n in range(place * 12, place * 12 + 12))

    def stay(house: str, first: int, last: int, **more: Any) -> str:
        number = next(numbers)
        _stay(session, house, number, start, first, last, **more)
        return number

    cancelled = stay(slug, -1, 3, cancelled_at=start)
    silent = stay(slug, -1, 3)
    session.add(OptOut(line=slug, number=silent, since=start))
    found = {
        "stranger": next(numbers),
        "early": stay(slug, 3, 6),
        "early by a second": stay(slug, 0, 3, release_from=end + dt.timedelta(seconds=1)),
        "late": stay(slug, -5, -1),
        "late by a second": stay(slug, -3, 1, release_until=start - dt.timedelta(seconds=1)),
        "late by months": stay(slug, -100, -95),
        "cancelled": cancelled,
        "guest of another house": stay(next_house, -1, 3),
        "opted out": silent,
        "withheld": WITHHELD,
        "a name": "Host Support",
        "a short code": "88733",
    }
    askers = [Asker(kind, name, slug, slug) for kind, name in found.items()]
    shared = ("stranger", "early", "late", "withheld")
    return askers + [Asker(kind, found[kind], SHARED, slug) for kind in shared]


def _stay(
    session: Session,
    house: str,
    number: str,
    start: dt.datetime,
    first: int,
    last: int,
    **more: Any,
) -> None:
    """Enters a stay from and to so many days after the start."""
    day = dt.timedelta(days=1)
    session.add(
        Stay(
            house=house,
            guests=["Guest"],
            arrival=start.date() + first * day,
            departure=start.date() + last * day,
            door_code=f"{number[-2:]}#{number[-2:]}7",
            uid=number,
            last_seen_at=start,
            created_at=start,
            phones=[StayPhone(number=number)],
            **more,
        )
    )

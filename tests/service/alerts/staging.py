"""What the tests of alerts share: two houses, their contacts and ladders, a stay, an alert."""

from __future__ import annotations

import datetime as dt
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.values import House
from service.alerts.settings import AlertSettings, read_alert_settings
from service.database import Database
from service.drafting import OWN_CODE
from service.tables import (
    Delivery,
    Escalation,
    Inbound,
    PartRow,
    Person,
    Stay,
    StayPhone,
    Thread,
)
from tests.factories import make_fact, make_house
from tests.service.texting import ADA, BEN, LINE, NOON, make_line

DOOR_CODE = "5150"
SECRET = "heron-lantern-62"
HOUSE = make_house(
    make_fact("key-safe", "The key safe opens with 7318.", sensitive=True),
    make_fact("wifi", f"The Wi-Fi password is {SECRET}.", sensitive=True),
    make_fact("door", f"Your door opens with {OWN_CODE}.", sensitive=True),
    make_fact("bins", "The bins are behind the shed.", cautions=("Mind the step.",)),
)
OTHER = make_house(
    slug="pine-hut",
    name="Pine Hut",
    country="DE",
    timezone="Europe/Berlin",
    emergency_number="112",
)
HOUSES: dict[str, House] = {house.slug: house for house in (HOUSE, OTHER)}
LINES = {LINE: make_line("ferry-lodge", "pine-hut")}
# From Ofcom's numbers for drama, London: 020 7946 0000 to 0999.
OLA_NUMBER = "+442079460042"
SECTIONS: dict[str, Any] = {
    "contacts": {
        "ola-push": {"channel": "apprise", "url_env": "OLA_PUSH", "person": "ola@example.org"},
        "ola-text": {"channel": "line", "line": LINE, "person": "ola@example.org"},
        "sam-mail": {"channel": "email", "address": "sam@example.org"},
        "desk-hook": {
            "channel": "webhook",
            "url": "https://desk.example.org/alerts",
            "secret_env": "DESK_SECRET",
        },
    },
    "mail": {"host": "127.0.0.1", "security": "none", "sender": "alerts@example.org"},
    "alerts": {"base_url": "https://stay.example.org"},
    "houses": {
        "ferry-lodge": {
            "ladder": [
                {"contacts": ["ola-push", "ola-text"], "wait_minutes": 5},
                {"contacts": ["sam-mail"], "wait_minutes": 15},
                {"contacts": ["desk-hook"]},
            ],
            "quiet_hours": {"from": "22:00", "to": "07:00"},
            "again_minutes": 20,
        },
        "pine-hut": {"ladder": [{"contacts": ["sam-mail"]}]},
    },
}


def make_settings(**sections: Any) -> AlertSettings:
    """The settings of the two houses, with some sections written anew."""
    return read_alert_settings(SECTIONS | sections)


def minutes(count: float) -> dt.timedelta:
    """A duration."""
    return dt.timedelta(minutes=count)


def add_people(session: Session) -> Person:
    """Ola, who owns all, and Sam, who looks after the other house; Ola."""
    ola = Person(
        name="Ola",
        email="ola@example.org",
        number=OLA_NUMBER,
        role="owner",
        houses=[],
        created_at=NOON,
    )
    sam = Person(
        name="Sam",
        email="sam@example.org",
        number="+442079460043",
        role="staff",
        houses=["pine-hut"],
        created_at=NOON,
    )
    session.add_all([ola, sam])
    session.flush()
    return ola


def add_thread(session: Session, sender: str = ADA, **more: Any) -> Thread:
    """A thread of Ada's about the lodge."""
    given: dict[str, Any] = {
        "line": LINE,
        "sender": sender,
        "house": "ferry-lodge",
        "created_at": NOON,
        "last_at": NOON,
        "rest_secrets": [],
        **more,
    }
    thread = Thread(**given)
    session.add(thread)
    session.flush()
    return thread


def add_alert(session: Session, thread: Thread | None = None, **more: Any) -> Escalation:
    """An alert of noon that nobody has taken: gas in the kitchen."""
    given: dict[str, Any] = {
        "house": "ferry-lodge",
        "thread_id": thread.id if thread else None,
        "kind": "safety",
        "level": "emergency",
        "summary": "it smells of gas in the kitchen",
        "next_at": NOON,
        "created_at": NOON,
        **more,
    }
    alert = Escalation(**given)
    session.add(alert)
    session.flush()
    return alert


def add_message(session: Session, thread: Thread, *parts: PartRow) -> Inbound:
    """An answered message of a thread."""
    message = Inbound(
        thread_id=thread.id,
        line=thread.line,
        gateway_id=f"id {[each.text for each in parts]}"[:200],
        text="…",
        received_at=NOON,
        state="answered",
        parts=list(parts),
    )
    session.add(message)
    session.flush()
    return message


def part(text: str, outcome: str, place: int, **more: Any) -> PartRow:
    """A part of a message about the lodge."""
    return PartRow(
        text=text,
        outcome=outcome,
        house="ferry-lodge",
        place=place,
        confidence=0.9,
        reason="made by hand",
        said="",
        **more,
    )


def add_stay(session: Session, *numbers: str, **more: Any) -> Stay:
    """A stay of Ada's in the lodge, from the 12th to the 19th of June 2026."""
    given: dict[str, Any] = {
        "house": "ferry-lodge",
        "guests": ["Ada Finch"],
        "arrival": dt.date(2026, 6, 12),
        "departure": dt.date(2026, 6, 19),
        "uid": f"uid {numbers} {sorted(more)}",
        "last_seen_at": NOON - dt.timedelta(days=30),
        "created_at": NOON - dt.timedelta(days=30),
        **more,
    }
    stay = Stay(**given)
    stay.phones = [StayPhone(number=number) for number in numbers or (ADA,)]
    session.add(stay)
    session.flush()
    return stay


def deliveries(database: Database) -> list[Delivery]:
    """Everything to be sent or sent, in its order."""
    with database.reading() as session:
        return list(session.scalars(select(Delivery).order_by(Delivery.created_at, Delivery.id)))


__all__ = [
    "ADA",
    "BEN",
    "DOOR_CODE",
    "HOUSE",
    "HOUSES",
    "LINE",
    "LINES",
    "NOON",
    "OLA_NUMBER",
    "OTHER",
    "SECRET",
    "SECTIONS",
    "add_alert",
    "add_message",
    "add_people",
    "add_stay",
    "add_thread",
    "deliveries",
    "make_settings",
    "minutes",
    "part",
]

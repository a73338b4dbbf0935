"""Two guests and all that a service comes to hold about them, and how to look through all of it.

Every name, number and word is invented; the numbers are from the range that Ofcom keeps for drama
(07700 900000 to 900999).
"""

from __future__ import annotations

import datetime as dt
import json

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.alerts.planned import planned_key
from service.tables import (
    CitationRow,
    Delivery,
    Escalation,
    Gap,
    Inbound,
    Lesson,
    OptOut,
    PartRow,
    Piece,
    Stay,
    StayPhone,
    Table,
    Thread,
)

NOW = dt.datetime(2026, 7, 1, 12, 34, 56, 789, dt.UTC)
WREN, ROWAN = "+447700900123", "+447700900456"
DOOR_CODE = "7316"


def _key_of(number: str) -> str:
    """What is made of a number in the keys of planned messages."""
    return planned_key(0, "", number).rpartition(":")[2]


PERSONAL = {
    WREN: (WREN, "Wren Hollis", "walrus", "gw-wren", DOOR_CODE, _key_of(WREN)),
    ROWAN: (ROWAN, "Rowan Ashby", "narwhal", "gw-rowan", "5580", _key_of(ROWAN)),
}
"""Whatever in the database could tell of each guest; `walrus` stands in each of the first's texts,
`narwhal` in the second's."""


def add_guest(session: Session, number: str, ago: dt.timedelta, line: str = "village") -> Thread:
    """A guest with a stay, messages, parts, replies, alerts and the rest, from that long ago."""
    _, name, word, gateway_id, code, _ = PERSONAL[number]
    at = NOW - ago
    stay = Stay(
        house="orchard-barn",
        guests=[name],
        arrival=at.date(),
        departure=at.date() + dt.timedelta(days=3),
        door_code=code,
        feed="bookings",
        uid=f"booking-{number[-3:]}",
        last_seen_at=at,
        created_at=at,
        phones=[StayPhone(number=number)],
    )
    session.add(stay)
    session.flush()
    thread = Thread(
        line=line,
        sender=number,
        house="orchard-barn",
        stay_id=stay.id,
        created_at=at,
        last_at=at,
        rest=f"more about the {word}",
    )
    gap = Gap(
        house="orchard-barn",
        topic="hair-dryer",
        name=f"is there a {word} dryer",
        centre=b"\x00\x01",
        first_at=at,
        last_at=at,
    )
    session.add_all([thread, gap])
    session.flush()
    message = Inbound(
        thread_id=thread.id,
        line=line,
        gateway_id=gateway_id,
        text=f"is there a {word} dryer? the code {code} does not work",
        received_at=at,
        answered_at=at + dt.timedelta(seconds=2),
        state="answered",
        house="orchard-barn",
        stay_id=stay.id,
        verified=True,
        draft=f"about the {word}: I have asked",
        parts=[
            PartRow(
                house="orchard-barn",
                place=0,
                text=f"is there a {word} dryer",
                outcome="gap",
                topic="hair-dryer",
                confidence=0.7,
                reason="no fact",
                said=f"I have asked about the {word}",
                gap_id=gap.id,
                citations=[
                    CitationRow(
                        fact="oven", house="orchard-barn", title="The oven", content_hash="0" * 64
                    )
                ],
            )
        ],
    )
    session.add(message)
    session.flush()
    alert = Escalation(
        house="orchard-barn",
        thread_id=thread.id,
        message_id=message.id,
        kind="gap",
        level="soon",
        summary=f"is there a {word} dryer",
        next_at=at,
        created_at=at,
    )
    session.add(alert)
    session.flush()
    session.add_all(
        [
            Delivery(
                key=f"reply:{message.id}",
                channel="line",
                target=line,
                thread_id=thread.id,
                message_id=message.id,
                stay_id=stay.id,
                to=number,
                text=f"the {word} code is {code}",
                secrets=["gate-code"],
                blotted=f"the {word} code is •••",
                state="sent",
                due_at=at,
                created_at=at,
                sent_at=at,
                segments=1,
            ),
            Delivery(
                key=f"alert:{alert.id}:1",
                channel="email",
                target="host",
                escalation_id=alert.id,
                title=f"{name} asks",
                text=f"{number} wrote: is there a {word} dryer",
                state="sent",
                due_at=at,
                created_at=at,
            ),
            Delivery(
                key=planned_key(stay.id, "welcome", number),
                channel="line",
                target=line,
                stay_id=stay.id,
                to=number,
                text=f"welcome {name}",
                state="sent",
                due_at=at,
                created_at=at,
            ),
            Lesson(
                house="orchard-barn",
                part_id=message.parts[0].id,
                verdict="gap",
                text=f"{word} dryer",
                at=at,
            ),
            Piece(
                line=line,
                sender=number,
                reference="7",
                number=1,
                of=2,
                text=f"{word} dry",
                received_at=at,
                message_id=message.id,
            ),
            OptOut(line=line, number=number, since=at),
        ]
    )
    session.flush()
    return thread


def everything(session: Session, but: tuple[str, ...] = ()) -> str:
    """Every value of every row, as text; for the tables not named in `but`."""
    told = []
    for table in Table.metadata.sorted_tables:
        if table.name not in but:
            told += [f"{table.name} {list(row)}" for row in session.execute(select(table))]
    return "\n".join(told)


def found_of(number: str, text: str) -> list[str]:
    """Which of the guest's personal values stand in a text, escaped for JSON or not."""
    return [value for value in PERSONAL[number] if value in text or json.dumps(value) in text]

"""A small host's database: two houses with guests, messages, alerts and gaps, written by hand.

Every name and number is invented; the numbers are from a range that Ofcom keeps for drama
(020 7946 0000 to 0999).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from sqlalchemy.orm import Session

from service.access.keys import key_hash
from service.tables import (
    CitationRow,
    Delivery,
    Escalation,
    Gap,
    Inbound,
    PartRow,
    Stay,
    StayPhone,
    Thread,
)

TAKE_KEY = "take-key-of-the-second-alert"
DOOR_CODE = "7316"


@dataclass(frozen=True)
class Filled:
    """Ids of what was put in, for a test to ask for."""

    threads: dict[str, int]
    alerts: dict[str, int]
    stays: dict[str, int]
    gaps: dict[str, int]


def fill(
    session: Session,
    now: dt.datetime,
    first: str = "orchard-barn",
    second: str = "forest-cabin",
    fact: str = "oven",
) -> Filled:
    """Puts the scenario in; `first` and `second` are the slugs of its houses.

    The fact of the first house that was told has changed since.
    """
    today = now.date()
    ago = lambda **more: now - dt.timedelta(**more)  # noqa: E731
    stays = {}
    for name, house, guests, start, nights, code, phones in (
        ("mabel", first, ["Mabel Quince", "Otis Quince"], -2, 5, DOOR_CODE, ["+442079460123"]),
        ("sorrel", first, ["Sorrel Tamm"], 4, 3, None, []),
        ("juniper", second, ["Juniper Vale"], -1, 4, "5580", ["+442079460456"]),
        ("fennel", first, ["Fennel Archer"], -12, 6, None, ["+442079460789"]),
    ):
        stay = Stay(
            house=house,
            guests=guests,
            arrival=today + dt.timedelta(days=start),
            departure=today + dt.timedelta(days=start + nights),
            door_code=code,
            uid=name,
            last_seen_at=now,
            created_at=ago(days=30),
        )
        stay.phones = [StayPhone(number=number) for number in phones]
        session.add(stay)
        session.flush()
        stays[name] = stay.id
    threads = {}
    for name, house, number, stay_name, minutes in (
        ("mabel", first, "+442079460123", "mabel", 12),
        ("juniper", second, "+442079460456", "juniper", 95),
        ("fennel", first, "+442079460789", "fennel", 9000),
    ):
        thread = Thread(
            line="texts",
            sender=number,
            house=house,
            stay_id=stays[stay_name],
            created_at=ago(days=2),
            last_at=ago(minutes=minutes),
        )
        session.add(thread)
        session.flush()
        threads[name] = thread.id
    gap = Gap(
        house=first,
        topic="hair-dryer",
        name="Hair dryer",
        first_at=ago(days=9),
        last_at=ago(minutes=12),
    )
    other = Gap(
        house=second, topic="cot", name="Cot for a baby", first_at=ago(days=3), last_at=ago(days=1)
    )
    session.add_all([gap, other])
    session.flush()
    alerts = {}
    rows: tuple[tuple[str, str, str, int, str, list[tuple[str, str, str | None, str]]], ...] = (
        (
            "oven",
            "mabel",
            first,
            1500,
            "Hello! How do I turn on the oven?",
            [("How do I turn on the oven?", "answer", None, fact)],
        ),
        (
            "heat",
            "mabel",
            first,
            12,
            "The stove smokes back into the room. And do you have a hair dryer?",
            [
                ("The stove smokes back into the room.", "escalate", "safety", ""),
                ("And do you have a hair dryer?", "gap", None, ""),
            ],
        ),
        (
            "late",
            "juniper",
            second,
            95,
            "Could we stay until 1 pm on Sunday?",
            [("Could we stay until 1 pm on Sunday?", "escalate", "request", "")],
        ),
        (
            "dryer",
            "fennel",
            first,
            9000,
            "is there a hairdryer in the barn",
            [("is there a hairdryer in the barn", "gap", None, "")],
        ),
    )
    for name, thread_name, house, minutes, text, parts in rows:
        message = Inbound(
            thread_id=threads[thread_name],
            line="texts",
            gateway_id=name,
            text=text,
            received_at=ago(minutes=minutes),
            answered_at=ago(minutes=minutes),
            state="answered",
            house=house,
            stay_id=stays[thread_name],
            verified=True,
        )
        for place, (words, outcome, kind, cited) in enumerate(parts):
            message.parts.append(
                PartRow(
                    house=house,
                    place=place,
                    text=words,
                    outcome=outcome,
                    kind=kind,
                    level="emergency" if kind == "safety" else None,
                    confidence=0.93,
                    reason="“The oven” answers it." if cited else "No fact says anything about it.",
                    said="Turn the left knob to the fan." if cited else "I have asked the host.",
                    gap_id=gap.id if outcome == "gap" else None,
                    citations=[
                        CitationRow(
                            fact=cited, house=house, title="The oven", content_hash="0" * 64
                        )
                    ]
                    if cited
                    else [],
                )
            )
        session.add(message)
        session.flush()
        session.add(
            Delivery(
                key=f"reply:{message.id}",
                channel="line",
                target="texts",
                thread_id=message.thread_id,
                message_id=message.id,
                to="+442079460123",
                text="Turn the left knob to the fan and the right knob to the temperature."
                if name == "oven"
                else "I have passed this on to the host.",
                state="failed" if name == "dryer" else "sent",
                problem="The gateway did not take it." if name == "dryer" else None,
                due_at=ago(minutes=minutes),
                created_at=ago(minutes=minutes),
                sent_at=ago(minutes=minutes),
            )
        )
        for kind in (part.kind for part in message.parts if part.outcome == "escalate"):
            alert = Escalation(
                house=house,
                thread_id=message.thread_id,
                message_id=message.id,
                kind=kind,
                level="emergency" if kind == "safety" else "soon",
                summary="A guest needs you.",
                created_at=ago(minutes=minutes),
                take_hash=key_hash(TAKE_KEY) if kind == "request" else None,
            )
            session.add(alert)
            session.flush()
            alerts[name] = alert.id
    return Filled(threads, alerts, stays, {"dryer": gap.id, "cot": other.id})

"""What a claim takes next, and how long a failure waits."""

from __future__ import annotations

import threading

from sqlalchemy.orm import Session

from service.claims import next_delivery, next_message, pause
from service.database import Database
from service.inbox import store
from service.tables import Delivery
from tests.service.databases import emptied_postgres
from tests.service.texting import ADA, BEN, EVE, LINE, NOON, arrived


def test_pauses_double_up_to_the_most() -> None:
    """
    From 2 s on, never under half of what is due and never over the most: 1 to 2, 2 to 4, … 30 s.
    """
    for attempt, whole in ((1, 2), (2, 4), (3, 8), (4, 16), (5, 30), (40, 30)):
        waits = {pause(attempt, 2, 30).total_seconds() for _ in range(50)}
        assert whole / 2 <= min(waits) <= max(waits) <= whole
        assert len(waits) > 1


def test_a_claim_steps_over_what_another_is_claiming(postgres_url: str) -> None:
    """
    On PostgreSQL two processes claim at the same moment, and get two messages.
    """
    with emptied_postgres(postgres_url) as database:
        with database.writing() as session:
            for number in (ADA, BEN, EVE):
                store(session, arrived("hello", sender=number, gateway_id=number), NOON)
        _claim_two(database)


def _claim_two(database: Database) -> None:
    with database.writing() as first, database.writing() as second:
        one = next_message(first, NOON, urgent_only=False)
        two = next_message(second, NOON, urgent_only=False)

        assert one is not None
        assert two is not None
        assert one.id != two.id


def test_many_claim_each_message_once(database: Database) -> None:
    """
    Whoever claims at once with others gets a message that nobody else got.
    """
    with database.writing() as session:
        for number in range(40):
            sender = f"+4420794603{number:02}"
            store(session, arrived("hello", sender=sender, gateway_id=sender), NOON)
    claimed: list[int] = []

    def claim(session: Session) -> int | None:
        message = next_message(session, NOON, urgent_only=False)
        if message is None:
            return None
        message.state = "answered"
        return message.id

    def claim_all() -> None:
        misses = 0
        while misses < 3:  # a row that another holds is stepped over
            with database.writing() as session:
                found = claim(session)
            misses = 0 if found else misses + 1
            claimed.extend([found] if found else [])

    threads = [threading.Thread(target=claim_all) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert len(claimed) == len(set(claimed)) == 40


def test_replies_that_are_fetched_are_never_claimed(database: Database) -> None:
    """
    What goes into a response is not sent by anyone.
    """
    with database.writing() as session:
        session.add(
            Delivery(
                key="reply:1", channel="response", target=LINE, text="?", due_at=NOON,
                created_at=NOON, urgent=True,
            )
        )  # fmt: skip
    with database.writing() as session:
        assert next_delivery(session, NOON, urgent_only=False) is None

"""Stored messages are worked on once, in their order, whatever fails and whoever is killed."""

from __future__ import annotations

import datetime as dt
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from askhouse.assistant import Assistant
from askhouse.values import House, Message, Reply
from service.database import Database
from service.lines.arrived import PieceOf
from service.outbox import Outbox
from service.tables import Escalation, Inbound
from service.worker import Worker, WorkerRules
from tests.service.texting import ADA, BEN, EVE, NOON, Desk
from tests.standins import make_assistant

BINS = "where are the bins"


class Failing:
    """Asks an assistant, but fails so many times before, and can be held up."""

    def __init__(self, assistant: Assistant) -> None:
        self._assistant = assistant
        self.houses = assistant.houses
        self.failures = 0
        self.asked = 0
        self.meanwhile: Callable[[], object] | None = None

    def reply(self, message: Message, house: str) -> Reply:
        self.asked += 1
        if self.failures:
            self.failures -= 1
            raise RuntimeError("no memory left")
        meanwhile, self.meanwhile = self.meanwhile, None
        if meanwhile is not None:
            meanwhile()
        return self._assistant.reply(message, house)


@pytest.fixture
def failing(small_house: House, tmp_path: Path) -> Failing:
    return Failing(make_assistant([small_house], tmp_path))


@pytest.fixture
def desk(database: Database, small_house: House, tmp_path: Path, failing: Failing) -> Desk:
    return Desk(database, [small_house], tmp_path, assistant=failing)


def order(desk: Desk) -> list[str]:
    """Texts in the order in which they were answered."""
    rows = sorted(desk.deliveries(), key=lambda row: row.id)
    texts = {message.id: message.text for message in desk.messages()}
    return [texts[row.message_id] for row in rows if row.message_id]


def test_urgent_ones_are_worked_on_first(desk: Desk) -> None:
    """
    Danger goes before everything that waits, the rest by age.
    """
    desk.receive("where can we park", sender=BEN, received_at=NOON - dt.timedelta(minutes=1))
    desk.receive(BINS, received_at=NOON - dt.timedelta(minutes=2))
    desk.receive("I smell gas", sender=EVE)

    desk.work()

    assert order(desk) == ["I smell gas", BINS, "where can we park"]


def test_the_thread_for_urgent_ones_takes_no_others(desk: Desk) -> None:
    """
    It stays free for what must not wait.
    """
    desk.receive(BINS)

    assert desk.worker.work(urgent_only=True) is False
    desk.receive("I smell gas")
    assert desk.worker.work(urgent_only=True) is True


def test_messages_of_a_thread_wait_for_each_other(desk: Desk) -> None:
    """
    While the first is being worked on, the second of the same sender waits; other senders do not.
    """
    desk.receive(BINS)
    desk.receive("and the oars?")
    desk.receive("where can we park", sender=BEN)
    with desk.database.writing() as session:
        first = session.get_one(Inbound, desk.messages()[0].id)
        first.state, first.claimed_by = "working", "another"
        first.claimed_until = NOON + dt.timedelta(seconds=5)

    desk.work()

    assert order(desk) == ["where can we park"]


def test_danger_does_not_wait_for_its_thread(desk: Desk) -> None:
    """
    Words of danger are answered while an earlier message of the sender is still worked on.
    """
    desk.receive(BINS)
    with desk.database.writing() as session:
        first = session.get_one(Inbound, desk.messages()[0].id)
        first.state, first.claimed_until = "working", NOON + dt.timedelta(seconds=5)
    desk.receive("I smell gas")

    desk.work()

    assert order(desk) == ["I smell gas"]


def test_a_killed_process_leaves_a_claim_that_runs_out(desk: Desk) -> None:
    """
    Its message is taken up by another; not a second too soon.
    """
    desk.receive(BINS)
    with desk.database.writing() as session:
        row = session.get_one(Inbound, desk.message().id)
        row.state, row.claimed_by, row.attempts = "working", "dead", 1
        row.claimed_until = NOON + dt.timedelta(seconds=20)

    assert desk.work() == 0
    desk.later(seconds=20)
    assert desk.work() == 1
    assert desk.message().state == "answered"


def test_whoever_comes_too_late_changes_nothing(desk: Desk, failing: Failing) -> None:
    """
    A worker whose claim has run out meanwhile keeps nothing of what it made.
    """
    desk.receive(BINS)

    def another_answers() -> None:
        desk.later(seconds=30)
        assert desk.work() == 1

    failing.meanwhile = another_answers
    desk.work()

    assert len(desk.deliveries()) == 1
    assert desk.message().attempts == 2


def test_a_failure_is_tried_again_later(desk: Desk, failing: Failing) -> None:
    """
    Half a second at most after the first failure, and then it is answered.
    """
    failing.failures = 1
    desk.receive(BINS)

    assert desk.work() == 1
    assert desk.message().state == "waiting"
    assert desk.work() == 0
    desk.later(seconds=0.5)
    assert desk.work() == 1
    assert order(desk) == [BINS]
    assert desk.escalations() == []


def test_after_five_failures_the_host_is_told(desk: Desk, failing: Failing) -> None:
    """
    The guest hears that the host has it; the next message is answered as ever.
    """
    failing.failures = 5
    desk.receive(BINS)

    for _ in range(9):
        desk.work()
        desk.later(minutes=1)
    desk.send()

    assert failing.asked == 5
    assert desk.message().state == "failed"
    assert desk.escalations() == [("unread", "soon")]
    assert desk.rows(Escalation)[0].summary == BINS
    assert desk.ear.texts == ["I could not read your message, so I have passed it on to the host."]
    assert len(desk.text("where can we park")) == 1


def test_danger_is_answered_even_if_everything_fails(desk: Desk, failing: Failing) -> None:
    """
    The word list needs no model: the fixed words go out, and the host is woken.
    """
    failing.failures = 99
    desk.receive("I smell gas")
    for _ in range(6):
        desk.work()
        desk.later(minutes=1)
    desk.send()

    (text,) = desk.ear.texts
    assert text.startswith("Please leave the building now")
    assert desk.escalations() == [("unread", "emergency")]


def test_a_message_that_kills_is_not_tried_for_ever(desk: Desk, failing: Failing) -> None:
    """
    Where every try ended with the process, the sixth does not read it again.
    """
    desk.receive(BINS)
    with desk.database.writing() as session:
        row = session.get_one(Inbound, desk.message().id)
        row.state, row.claimed_until, row.attempts = "working", NOON, 5

    desk.work()

    assert failing.asked == 0
    assert desk.message().state == "failed"
    assert desk.escalations() == [("unread", "soon")]


def test_a_line_that_is_gone_loses_nothing(desk: Desk) -> None:
    """
    A message of a line that was taken out of the settings goes to the host.
    """
    desk.receive(BINS, line="gone")
    for _ in range(6):
        desk.work()
        desk.later(minutes=1)

    assert desk.message().state == "failed"
    assert desk.escalations() == [("unread", "soon")]


def test_waiting_pieces_are_joined_and_answered(desk: Desk) -> None:
    """
    What is there of a long message is answered after the wait.
    """
    desk.receive(BINS, piece=PieceOf(reference="1", number=1, of=2))
    desk.later(seconds=30)

    desk.worker.join()

    assert desk.work() == 1


def together(desk: Desk, number: int, **rules: Any) -> list[Worker | Outbox]:
    """Several workers and outboxes at once, as several processes would be."""
    made: list[Worker | Outbox] = []
    for _ in range(number):
        made.append(
            Worker(
                desk.database,
                desk.place,
                desk.clock,
                incoming=desk.incoming,
                outgoing=desk.outgoing,
                rules=WorkerRules(at_once=2, idle_s=0.05),
            )
        )
        made.append(Outbox(desk.database, desk.sender, desk.clock, bell=desk.outgoing))
    return made


def test_many_at_work_answer_each_message_once(desk: Desk) -> None:
    """
    Nine threads of three workers, and as many of outboxes: sixty messages, sixty replies.
    """
    numbers = [f"+4420794602{n:02}" for n in range(30)]
    for number in numbers:
        desk.receive(BINS, sender=number)
        desk.receive("where can we park", sender=number)

    running = together(desk, 3)
    for each in running:
        each.start()
    until = time.monotonic() + 60
    while len(desk.ear.taken) < 60 and time.monotonic() < until:
        time.sleep(0.05)
    stopped = [each.stop(20) for each in running]

    assert all(stopped)
    assert len(desk.ear.taken) == 60
    assert len({taken.key for taken in desk.ear.taken}) == 60
    assert {message.state for message in desk.messages()} == {"answered"}
    by_number = {n: [t.text[:3] for t in desk.ear.taken if t.to == n] for n in numbers}
    assert all(sorted(texts) == ["The", "You"] for texts in by_number.values())


def test_stopping_ends_what_was_begun(desk: Desk, failing: Failing) -> None:
    """
    A stop waits for the message at hand: it is answered, not left for its claim to run out.
    """
    begun, go_on = threading.Event(), threading.Event()

    def hold_up() -> None:
        begun.set()
        go_on.wait(10)

    failing.meanwhile = hold_up
    desk.worker.start()
    desk.receive(BINS, sender=ADA)
    desk.incoming.ring()
    assert begun.wait(10)
    threading.Timer(0.1, go_on.set).start()

    assert desk.worker.stop(10)
    assert desk.message().state == "answered"

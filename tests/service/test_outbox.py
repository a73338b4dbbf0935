"""What goes out: once by its key, again until it is taken, and given up loudly."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from askhouse.values import House
from service.database import Database
from service.lines.arrived import WITHHELD
from service.lines.sending import SendError
from service.outbox import OutboxRules, claim_reply
from service.reception import Reception
from service.tables import Delivery, Escalation, Stay
from tests.house import WIFI_PASSWORD
from tests.service.texting import ADA, LINE, NOON, Desk, arrived, make_line

BINS = "where are the bins"
SHED = "The bins are behind the boat shed. The recycling goes out every Tuesday by 07:30."
WIFI = "what is the wifi password"
BUSY = "the gateway is busy"


@pytest.fixture
def desk(database: Database, small_house: House, tmp_path: Path) -> Desk:
    return Desk(
        database, [small_house], tmp_path, outbox_rules=OutboxRules(tries=3, urgent_tries=4)
    )


@pytest.fixture
def responding(database: Database, small_house: House, tmp_path: Path) -> Desk:
    """A line whose replies go into the response, and by no other way."""
    return Desk(database, [small_house], tmp_path, make_line(respond={}, send=None))


def queue(desk: Desk, **more: Any) -> None:
    """Something to be sent to Ada."""
    given: dict[str, Any] = {
        "key": "greeting:1",
        "channel": "line",
        "target": LINE,
        "to": ADA,
        "text": "Welcome!",
        "due_at": NOON,
        "created_at": NOON,
        **more,
    }
    with desk.database.writing() as session:
        session.add(Delivery(**given))


def test_what_is_due_is_sent_once(desk: Desk) -> None:
    """
    It goes out under its key and to its number, and is not sent again.
    """
    queue(desk)

    assert desk.send() == 1
    assert desk.send() == 0
    (taken,) = desk.ear.taken
    assert (taken.to, taken.text, taken.emergency) == (ADA, "Welcome!", False)
    # The time keeps keys apart that are given twice, before and after a restore.
    assert taken.key == "greeting:1@20260612T120000000000"
    (delivery,) = desk.deliveries()
    assert (delivery.state, delivery.sent_at, delivery.attempts) == ("sent", NOON, 1)


def test_what_is_not_due_waits(desk: Desk) -> None:
    """
    A message planned for tomorrow goes out tomorrow.
    """
    queue(desk, due_at=NOON + dt.timedelta(days=1))

    assert desk.send() == 0
    desk.later(days=1)
    assert desk.send() == 1


def test_urgent_ones_go_first(desk: Desk) -> None:
    """
    However long others are due, the urgent one is sent before them.
    """
    queue(desk, key="a", text="first", due_at=NOON - dt.timedelta(hours=1))
    queue(desk, key="b", text="second")
    queue(desk, key="c", text="urgent", urgent=True)

    desk.send()

    assert desk.ear.texts == ["urgent", "first", "second"]


def test_the_thread_for_urgent_ones_takes_no_others(desk: Desk) -> None:
    """
    It stays free for what must not wait.
    """
    queue(desk)

    assert desk.outbox.send(urgent_only=True) is False
    queue(desk, key="b", urgent=True)
    assert desk.outbox.send(urgent_only=True) is True


def test_a_failure_is_tried_again_ever_later(desk: Desk) -> None:
    """
    After the first failure it waits 1 to 2 s, after the second 2 to 4 s; then it is taken.
    """
    desk.ear.refusals = [SendError(BUSY, retry=True), SendError(BUSY, retry=True)]
    queue(desk)

    desk.send()
    first = desk.deliveries()[0]
    desk.now = first.due_at
    desk.send()
    second = desk.deliveries()[0]
    desk.now = second.due_at
    desk.send()

    assert 1 <= (first.due_at - NOON).total_seconds() <= 2
    assert 2 <= (second.due_at - first.due_at).total_seconds() <= 4
    assert (first.state, first.problem) == ("due", BUSY)
    assert desk.deliveries()[0].state == "sent"
    assert len({taken.key for taken in desk.ear.taken}) == 1
    assert desk.escalations() == []


def test_pauses_differ(desk: Desk) -> None:
    """
    What failed together does not come again together.
    """
    desk.ear.refusals = [SendError(BUSY, retry=True) for _ in range(10)]
    for number in range(10):
        queue(desk, key=f"k{number}")

    desk.send()

    assert len({delivery.due_at for delivery in desk.deliveries()}) > 5


@pytest.mark.parametrize(("asked_s", "waits_s"), [(30, 30), (86_400, 900)])
def test_the_other_side_says_when(desk: Desk, asked_s: float, waits_s: float) -> None:
    """
    Retry-After is honoured (RFC 9110, 10.2.3), up to a quarter of an hour.
    """
    desk.ear.refusals = [SendError(BUSY, retry=True, retry_after_s=asked_s)]
    queue(desk)

    desk.send()

    assert desk.deliveries()[0].due_at == NOON + dt.timedelta(seconds=waits_s)


@pytest.mark.parametrize(("urgent", "tries", "level"), [(False, 3, "urgent"), (True, 4, "urgent")])
def test_it_is_given_up_loudly(desk: Desk, urgent: bool, tries: int, level: str) -> None:
    """
    After so many tries the host is alerted, and nothing is sent any more.
    """
    desk.ear.refusals = [SendError(BUSY, retry=True) for _ in range(9)]
    queue(desk, urgent=urgent)

    for _ in range(9):
        desk.send()
        desk.later(hours=1)

    assert desk.ear.asked == tries
    assert desk.deliveries()[0].state == "failed"
    assert desk.escalations() == [("delivery", level)]
    assert desk.rows(Escalation)[0].summary == (
        "A message to a guest was not sent: the gateway is busy."
    )


def test_what_will_never_be_taken_is_given_up_at_once(desk: Desk) -> None:
    """
    A number that the gateway refuses is not tried nine times; an emergency stays one.
    """
    desk.ear.refusals = [SendError("not a mobile number", retry=False)]
    desk.text("I smell gas")

    assert desk.ear.asked == 1
    assert desk.escalations() == [("safety", "emergency"), ("delivery", "emergency")]


def test_a_lost_email_of_ours_wakes_nobody(desk: Desk) -> None:
    """
    What goes to a contact and is no alert, such as the week's gaps, can wait when it is lost.
    """
    queue(desk, channel="email", target="ola-mail", to="", text="3 gaps")

    desk.send()

    assert desk.escalations() == [("delivery", "soon")]
    assert desk.rows(Escalation)[0].summary.startswith(
        "The e-mail to the contact ola-mail was not sent: "
    )


def test_a_channel_that_is_not_set_up_is_told(desk: Desk) -> None:
    """
    A delivery by a channel that nobody knows does not wait for ever.
    """
    queue(desk, channel="pigeon", target="loft")

    desk.send()

    assert desk.deliveries()[0].problem == "no pigeon of that name is set up"
    assert desk.escalations() == [("delivery", "urgent")]


def test_an_alert_that_cannot_be_sent_goes_to_the_next_contact(desk: Desk) -> None:
    """
    It raises no further alert, which could not be sent either: its ladder climbs at once.
    """
    with desk.database.writing() as session:
        escalation = Escalation(
            kind="gap", level="soon", summary="?", created_at=NOON, next_at=NOON + dt.timedelta(1)
        )
        session.add(escalation)
        session.flush()
        escalation_id = escalation.id
    desk.ear.refusals = [SendError("no such address", retry=False)]
    queue(desk, escalation_id=escalation_id)

    desk.send()

    assert desk.escalations() == [("gap", "soon")]
    assert desk.rows(Escalation)[0].next_at == NOON


def test_a_foreign_fault_is_a_failure_like_others(
    database: Database, small_house: House, tmp_path: Path
) -> None:
    """
    A sender with a bug costs one try, and its words are not kept.
    """

    class Broken:
        def send(self, delivery: object) -> None:
            raise RuntimeError(f"cannot send {delivery}")

    desk = Desk(database, [small_house], tmp_path, senders=lambda channel, target: Broken())
    queue(desk)

    desk.send()

    (delivery,) = desk.deliveries()
    assert (delivery.state, delivery.problem) == ("due", "RuntimeError")


def test_a_killed_process_leaves_a_claim_that_runs_out(desk: Desk) -> None:
    """
    What another process was sending when it died is sent again with the same key.
    """
    queue(
        desk,
        state="sending",
        claimed_by="dead",
        claimed_until=NOON + dt.timedelta(seconds=90),
        attempts=1,
    )

    assert desk.send() == 0
    desk.later(seconds=90)
    assert desk.send() == 1
    assert desk.deliveries()[0].attempts == 2


def test_nothing_goes_to_someone_opted_out(desk: Desk) -> None:
    """
    STOP reaches what is already waiting; an emergency reply passes.
    """
    desk.text("STOP")
    queue(desk)
    queue(desk, key="b", text="Leave the house!", emergency=True, urgent=True)

    desk.send()

    assert desk.ear.texts[1:] == ["Leave the house!"]
    assert {row.key: row.state for row in desk.deliveries()}["greeting:1"] == "dropped"
    assert desk.escalations() == []


def test_a_code_is_not_sent_after_its_time(desk: Desk) -> None:
    """
    A reply that was held up until after check-out is dropped, its code with it, and the host told.
    """
    desk.stay()
    desk.ear.refusals = [SendError(BUSY, retry=True)]
    desk.text(WIFI)
    desk.now = dt.datetime(2026, 6, 15, 9, tzinfo=dt.UTC)

    desk.send()

    (delivery,) = desk.deliveries()
    assert desk.ear.taken == []
    assert delivery.state == "dropped"
    assert WIFI_PASSWORD not in delivery.text
    assert desk.escalations() == [("delivery", "urgent")]


def test_a_code_is_blotted_an_hour_after_it_was_sent(desk: Desk) -> None:
    """
    Until then it may be shown; afterwards the text says only where it stood.
    """
    desk.stay()
    desk.text(WIFI)

    desk.later(minutes=59)
    desk.outbox.sweep()
    assert WIFI_PASSWORD in desk.deliveries()[0].text
    desk.later(minutes=1)
    desk.outbox.sweep()

    (delivery,) = desk.deliveries()
    assert delivery.text == "The Wi-Fi password is •••, all in small letters."
    assert delivery.blotted is None


def test_a_secret_without_a_blotted_text_goes_whole(desk: Desk) -> None:
    """
    Whoever queues a secret without saying what to keep keeps nothing.
    """
    queue(desk, text=f"The code is {WIFI_PASSWORD}", secrets=["wifi-password"])
    desk.send()
    desk.later(hours=1)

    desk.outbox.sweep()

    assert desk.deliveries()[0].text == "•••"


# --- replies in the response -----------------------------------------------------------------


def claim(desk: Desk) -> str | None:
    with desk.database.writing() as session:
        return claim_reply(session, desk.message().id, desk.now)


def test_a_reply_is_fetched_by_the_request(responding: Desk) -> None:
    """
    Before it is made there is none; then it is handed over, and no call sends it as well.
    """
    desk = responding
    desk.receive(BINS)
    assert claim(desk) is None
    desk.work()

    assert desk.send() == 0
    assert claim(desk) == SHED
    assert desk.deliveries()[0].state == "sent"
    assert desk.send() == 0


def test_a_repeated_request_gets_the_same_reply(responding: Desk) -> None:
    """
    The first response may be lost; ten minutes later it is a recorded request, and gets nothing.
    """
    desk = responding
    desk.receive(BINS)
    desk.work()

    first = claim(desk)
    desk.later(minutes=10)
    assert claim(desk) == first
    desk.later(seconds=1)
    assert claim(desk) == ""


def test_no_reply_is_an_empty_one(responding: Desk) -> None:
    """
    Someone opted out gets an empty response, not a wait.
    """
    desk = responding
    for text in ("STOP", BINS):
        desk.receive(text)
        desk.work()

    assert claim(desk) == ""


def test_a_reply_that_nobody_fetches_is_told(responding: Desk) -> None:
    """
    Where the gateway went away and there is no other way out, the host hears of it.
    """
    desk = responding
    desk.receive(BINS)
    desk.work()
    desk.later(minutes=2)

    desk.outbox.sweep()

    assert desk.deliveries()[0].state == "failed"
    assert desk.escalations() == [("delivery", "urgent")]
    assert claim(desk) == ""


@pytest.fixture
def both_ways(database: Database, small_house: House, tmp_path: Path) -> Desk:
    """A line whose replies go into the response, or by a call once that has gone without."""
    return Desk(database, [small_house], tmp_path, make_line(respond={"wait_s": 20}))


def test_a_reply_in_time_goes_into_the_response_alone(both_ways: Desk) -> None:
    """
    The request that waits for it gets it, again if it is repeated, and no call sends it.
    """
    desk = both_ways
    desk.receive(BINS)
    desk.work()
    desk.later(seconds=20)

    assert desk.send() == 0
    assert claim(desk) == claim(desk) == SHED
    desk.later(seconds=30)
    assert desk.send() == 0


def test_a_reply_that_nobody_fetches_is_sent(both_ways: Desk) -> None:
    """
    As soon as the response must have gone without it, it goes by a call, and by that alone.
    """
    desk = both_ways
    desk.receive(BINS)
    desk.work()
    desk.later(seconds=21)

    desk.send()

    assert desk.ear.texts == [SHED]
    assert claim(desk) == ""


def test_a_late_reply_is_sent_at_once(both_ways: Desk) -> None:
    """
    One that is made after the response has gone waits for nothing.
    """
    desk = both_ways
    desk.receive(BINS)
    desk.later(seconds=21)
    desk.work()

    desk.send()

    assert desk.ear.texts == [SHED]


def test_a_call_that_failed_leaves_nothing_for_a_response(both_ways: Desk) -> None:
    """
    The gateway may have it all the same: only the next call, under the same key, may give it.
    """
    desk = both_ways
    desk.ear.refusals = [SendError("no answer", retry=True)]
    desk.receive(BINS)
    desk.later(seconds=21)
    desk.work()
    desk.send()

    assert claim(desk) == ""
    desk.later(seconds=5)
    desk.send()
    assert desk.ear.texts == [SHED]


@pytest.mark.parametrize("by_call", [True, False])
def test_danger_takes_whichever_way_is_there_first(both_ways: Desk, by_call: bool) -> None:
    """
    The words that keep people safe wait for no request: a call gives them at once, or the
    response, if it comes first; never both.
    """
    desk = both_ways
    desk.receive("I smell gas")
    desk.work()

    if by_call:
        desk.send()
        assert len(desk.ear.texts) == 1
        assert claim(desk) == ""
    else:
        assert "999" in (claim(desk) or "")
        assert desk.send() == 0


def test_who_hides_their_number_is_answered_in_the_response_alone(both_ways: Desk) -> None:
    """
    There is no number to call with it.
    """
    desk = both_ways
    desk.receive(BINS, sender=WITHHELD)
    desk.work()
    desk.later(minutes=1)

    assert desk.send() == 0
    assert claim(desk) == SHED


def test_the_reception_waits_for_the_reply(responding: Desk) -> None:
    """
    With workers at work, the way from the request to the text of its response is one call each.
    """
    desk = responding
    reception = Reception(desk.database, desk.clock, desk.incoming)
    desk.worker.start()
    try:
        receipt = reception.receive(arrived(BINS))
        again = reception.receive(arrived(BINS))
        assert receipt.message_id is not None
        text = reception.reply_text(receipt.message_id, 10)
    finally:
        assert desk.worker.stop()

    assert again == receipt
    assert text == SHED


def test_the_reception_gives_up_waiting(responding: Desk) -> None:
    """
    Where nobody works, the request is answered in time, without a reply.
    """
    desk = responding
    reception = Reception(desk.database, desk.clock, desk.incoming)
    receipt = reception.receive(arrived(BINS))
    assert receipt.message_id is not None

    assert reception.reply_text(receipt.message_id, 0.1) is None


def test_a_code_waiting_to_be_sent_goes_to_no_cancelled_stay(desk: Desk) -> None:
    """
    The stay is cancelled between the answer and its sending: the host is told, the guest is not.
    """
    desk.stay()
    desk.receive(WIFI)
    desk.work()
    with desk.database.writing() as session:
        for stay in session.scalars(select(Stay)):
            stay.cancelled_at = NOON

    desk.send()

    assert not any(WIFI_PASSWORD in text for text in desk.ear.texts)
    assert "delivery" in {kind for kind, _ in desk.escalations()}
    assert desk.deliveries()[0].state == "dropped"

"""Planned messages: at their time, once, under the guards of a reply, never after cancellation."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Mapping
from typing import Any

import pytest
from sqlalchemy import select

from askhouse.values import House
from service.alerts.planned import planned_key, useful
from service.alerts.planned_settings import PlannedMessage
from service.alerts.tick import run_due
from service.database import Database
from service.lines.settings import LineSettings
from service.stays.settings import FactRelease, StayRules
from service.stays.stays import cancel_stay, set_phones
from service.tables import (
    Delivery,
    DeliveryState,
    Escalation,
    OptOut,
    Stay,
    Thread,
)
from tests.factories import make_house
from tests.service.alerts.staging import (
    ADA,
    BEN,
    DOOR_CODE,
    HOUSES,
    LINE,
    LINES,
    NOON,
    SECRET,
    SECTIONS,
    add_stay,
    add_thread,
    deliveries,
    make_settings,
)
from tests.service.texting import make_line

ARRIVAL = dt.date(2026, 6, 12)  # in London, an hour ahead of UTC
ACCESS = {
    "name": "access",
    "day": "arrival",
    "at": "09:00",
    "text": "Hello {{ stay.guest }}, welcome to {{ house.name }} from {{ check_in }}. "
    '{{ fact("key-safe") }}',
}
EVENING = {
    "name": "evening",
    "day": "departure",
    "days": -1,
    "at": "18:00",
    "text": "Check-out is at {{ check_out }} on {{ stay.departure }}. {{ fact('bins') }}",
}


def utc(*when: int) -> dt.datetime:
    year, month, day, hour, minute = (*when, 0)[:5]
    return dt.datetime(year, month, day, hour, minute, tzinfo=dt.UTC)


def run(
    database: Database,
    now: dt.datetime,
    *messages: Mapping[str, Any],
    houses: Mapping[str, House] = HOUSES,
    lines: Mapping[str, LineSettings] = LINES,
    rules: Mapping[str, StayRules] | None = None,
) -> int:
    lodge = SECTIONS["houses"]["ferry-lodge"] | {"planned": list(messages)}
    settings = make_settings(houses=SECTIONS["houses"] | {"ferry-lodge": lodge})
    return run_due(database, settings, houses, lambda: now, lines=lines, rules=rules or {})


def add(database: Database, *numbers: str, **more: Any) -> int:
    with database.writing() as session:
        return add_stay(session, *numbers, **more).id


def sent(database: Database) -> list[Delivery]:
    return [d for d in deliveries(database) if d.key.startswith("planned:")]


def test_access_on_the_day_of_arrival(database: Database) -> None:
    """At nine by the house's clocks and not before, filled from facts and stay, once."""
    stay = add(database)

    run(database, utc(2026, 6, 12, 7, 59), ACCESS)
    assert sent(database) == []
    for minute in (0, 1, 30):
        run(database, utc(2026, 6, 12, 8, minute), ACCESS)

    (message,) = sent(database)
    assert message.text == (
        "Hello Ada Finch, welcome to Ferry Lodge from 16:00. The key safe opens with 7318."
    )
    assert (message.key, message.to, message.target, message.stay_id) == (
        planned_key(stay, "access", ADA),
        ADA,
        LINE,
        stay,
    )
    assert ADA not in message.key
    assert message.author == "askhouse"


def test_a_code_in_it_is_kept_as_shortly_as_in_a_reply(database: Database) -> None:
    """The outbox knows what it holds, until when it may be sent, and what to keep of it."""
    add(database)

    run(database, utc(2026, 6, 12, 8), ACCESS)

    (message,) = sent(database)
    assert message.secrets == ["key-safe"]
    assert message.secret_until == utc(2026, 6, 19, 9)  # check-out, 10:00 in London
    assert message.blotted is not None
    assert "7318" not in message.blotted
    assert "welcome to Ferry Lodge" in message.blotted


def test_the_evening_before_check_out(database: Database) -> None:
    """Dates and times as the house's country writes them; a fact comes with its caution."""
    add(database)

    run(database, utc(2026, 6, 18, 17), EVENING)

    (message,) = sent(database)
    assert message.text == (
        "Check-out is at 10:00 on 19 June 2026. The bins are behind the shed. Mind the step."
    )
    assert (message.secrets, message.secret_until, message.blotted) == ([], None, None)


@pytest.mark.parametrize(
    ("release", "now", "is_sent"),
    [
        # Before the window it waits, and goes out when that opens.
        ({"release_from": "11:00"}, utc(2026, 6, 12, 9, 59), False),
        ({"release_from": "11:00"}, utc(2026, 6, 12, 10), True),
        # The fact's own window goes before the house's.
        ({"release_facts": {"key-safe": {"from": "14:00"}}}, utc(2026, 6, 12, 12, 59), False),
        ({"release_facts": {"key-safe": {"from": "14:00"}}}, utc(2026, 6, 12, 13), True),
    ],
)
def test_a_sensitive_fact_waits_for_its_window(
    database: Database, release: dict[str, Any], now: dt.datetime, is_sent: bool
) -> None:
    """No code goes out before the time from which a guest could ask for it."""
    add(database)
    rules = {"ferry-lodge": StayRules.model_validate(release)}

    run(database, now, ACCESS, rules=rules)

    assert bool(sent(database)) is is_sent


def test_waiting_for_a_window_keeps_nobody_waiting(database: Database) -> None:
    """What waits is looked at every few seconds: that takes no lock, which others hold or want."""
    stay = add(database)
    rules = {"ferry-lodge": StayRules.model_validate({"release_from": "11:00"})}
    in_german = ACCESS | {"texts": {"de": "Willkommen! {{ fact('key-safe') }}"}}
    look = threading.Thread(
        target=run,
        args=(database, utc(2026, 6, 12, 9), in_german),
        kwargs={"rules": rules},
        daemon=True,
    )

    with database.writing() as session:
        session.get_one(Stay, stay, with_for_update=True)
        look.start()
        look.join(5)
        assert not look.is_alive()

    assert sent(database) == []


@pytest.mark.parametrize(
    ("texts", "now", "is_sent"),
    [
        # Nothing secret in the guest's language: there is nothing to wait for.
        ({"de": "Willkommen!"}, utc(2026, 6, 12, 9), True),
        # In theirs it waits, whatever it does in others.
        ({"fr": "Bienvenue !"}, utc(2026, 6, 12, 9), False),
        ({"fr": "Bienvenue !"}, utc(2026, 6, 12, 10), True),
    ],
)
def test_each_language_waits_for_its_own_secrets(
    database: Database, texts: dict[str, str], now: dt.datetime, is_sent: bool
) -> None:
    """Whether a message waits is told by the text that the guest would get."""
    add(database)
    rules = {"ferry-lodge": StayRules.model_validate({"release_from": "11:00"})}
    with database.writing() as session:
        add_thread(session, language="de")

    run(database, now, ACCESS | {"texts": texts}, rules=rules)

    assert bool(sent(database)) is is_sent


@pytest.mark.parametrize(
    ("message", "now", "is_sent"),
    [
        # Booked on the day of arrival, at any hour of it: at once.
        (ACCESS, utc(2026, 6, 12, 16), True),
        (ACCESS, utc(2026, 6, 12, 22, 59), True),
        # The day is over in London.
        (ACCESS, utc(2026, 6, 12, 23), False),
        # What is said days before arrival is of use until that day is over.
        (ACCESS | {"days": -3, "text": "Hello"}, utc(2026, 6, 9, 8), True),
        (ACCESS | {"days": -3, "text": "Hello"}, utc(2026, 6, 12, 22, 59), True),
        (ACCESS | {"days": -3, "text": "Hello"}, utc(2026, 6, 12, 23), False),
        # The evening before leaving: until check-out.
        (EVENING, utc(2026, 6, 19, 8, 59), True),
        (EVENING, utc(2026, 6, 19, 9), False),
        # After the stay: that day.
        (EVENING | {"days": 1}, utc(2026, 6, 20, 17), True),
        (EVENING | {"days": 1}, utc(2026, 6, 20, 22, 59), True),
        (EVENING | {"days": 1}, utc(2026, 6, 20, 23), False),
    ],
)
def test_a_late_booking_gets_what_is_still_of_use(
    database: Database, message: dict[str, Any], now: dt.datetime, is_sent: bool
) -> None:
    """A stay entered after the planned time gets the message at once, unless its use is over."""
    add(database, created_at=now)

    run(database, now, message)

    assert bool(sent(database)) is is_sent


@pytest.mark.parametrize(
    ("zone", "day", "at", "start"),
    [
        # Clock changes of 2026 (the tz database): Berlin on 29 March 02:00 to 03:00 and on
        # 25 October 03:00 back to 02:00; RFC 5545, 3.3.5, reads a skipped time by the offset
        # before it, and a repeated one as its first occurrence.
        ("Europe/Berlin", dt.date(2026, 3, 28), "09:00", utc(2026, 3, 28, 8)),
        ("Europe/Berlin", dt.date(2026, 3, 29), "02:30", utc(2026, 3, 29, 1, 30)),
        ("Europe/Berlin", dt.date(2026, 3, 29), "09:00", utc(2026, 3, 29, 7)),
        ("Europe/Berlin", dt.date(2026, 10, 25), "02:30", utc(2026, 10, 25, 0, 30)),
        ("Europe/Berlin", dt.date(2026, 10, 25), "09:00", utc(2026, 10, 25, 8)),
        # Thirteen hours ahead of UTC in January, on the day before.
        ("Pacific/Auckland", dt.date(2026, 1, 10), "08:00", utc(2026, 1, 9, 19)),
        ("America/Los_Angeles", dt.date(2026, 7, 4), "20:00", utc(2026, 7, 5, 3)),
    ],
)
def test_times_are_the_houses(
    database: Database, zone: str, day: dt.date, at: str, start: dt.datetime
) -> None:
    """A message goes out at its minute by the house's clocks, on both sides of a change."""
    houses = {"ferry-lodge": make_house(timezone=zone)}
    hello = ACCESS | {"at": at, "text": "Hello"}
    add(database, arrival=day, departure=day + dt.timedelta(days=2))

    run(database, start - dt.timedelta(minutes=1), hello, houses=houses)
    assert sent(database) == []
    run(database, start, hello, houses=houses)
    assert len(sent(database)) == 1


def test_every_number_of_a_stay_gets_it_once(database: Database) -> None:
    """Whoever arrives first must get in; a number that is added later gets it, too."""
    stay = add(database, ADA)
    run(database, utc(2026, 6, 12, 8), ACCESS)
    with database.writing() as session:
        set_phones(session.get_one(Stay, stay), [ADA, BEN])

    for minute in (1, 2):
        run(database, utc(2026, 6, 12, 8, minute), ACCESS)

    assert [d.to for d in sent(database)] == [ADA, BEN]


def test_never_after_cancellation(database: Database) -> None:
    """A cancelled stay gets nothing, and what waits to be sent to it is dropped, code and all."""
    stay, other = add(database, ADA), add(database, BEN, uid="other")
    run(database, utc(2026, 6, 12, 8), ACCESS)
    with database.writing() as session:
        cancel_stay(session, stay, NOON)
        cancel_stay(session, other, NOON)
        ben = session.scalars(select(Delivery).where(Delivery.to == BEN)).one()
        ben.state = DeliveryState.SENT

    assert run(database, utc(2026, 6, 12, 8, 1), ACCESS, EVENING) == 1
    run(database, utc(2026, 6, 18, 17), ACCESS, EVENING)

    ada, ben = sent(database)
    assert (ada.state, ada.problem) == (DeliveryState.DROPPED, "the stay was cancelled")
    assert "7318" not in ada.text
    assert ben.state == DeliveryState.SENT


@pytest.mark.parametrize("change", ["number", "use"])
def test_what_must_not_go_out_any_more_is_dropped(database: Database, change: str) -> None:
    """A number that was taken off the stay, and a message whose use is over while it waited."""
    stay = add(database, ADA, BEN)
    run(database, utc(2026, 6, 12, 8), ACCESS)
    now = utc(2026, 6, 12, 8, 1)
    if change == "number":
        with database.writing() as session:
            set_phones(session.get_one(Stay, stay), [BEN])
    else:
        now = utc(2026, 6, 12, 23)

    run(database, now, ACCESS)

    states = {d.to: d.state for d in sent(database)}
    assert states[ADA] == DeliveryState.DROPPED
    assert states[BEN] == (DeliveryState.DUE if change == "number" else DeliveryState.DROPPED)


def test_not_to_someone_who_asked_for_no_more(database: Database) -> None:
    """STOP holds for planned messages; START in time brings them."""
    add(database)
    with database.writing() as session:
        session.add(OptOut(line=LINE, number=ADA, since=NOON))

    run(database, utc(2026, 6, 12, 8), ACCESS)
    assert sent(database) == []
    with database.writing() as session:
        session.delete(session.scalars(select(OptOut)).one())
    run(database, utc(2026, 6, 12, 9), ACCESS)

    assert len(sent(database)) == 1


def test_a_booking_under_a_new_name_is_not_told_twice(database: Database) -> None:
    """A feed that names a booking anew makes another row; the guest is the same."""
    add(database, uid="a")
    run(database, utc(2026, 6, 12, 8), ACCESS)
    add(database, uid="b")
    add(database, BEN, uid="c")

    run(database, utc(2026, 6, 12, 8, 1), ACCESS)

    assert [d.to for d in sent(database)] == [ADA, BEN]


@pytest.mark.parametrize(
    ("template", "said"),
    [
        ("{{ fact('hot-tub') }}", "it names a fact that the house does not have"),
        ("{{ fact('door') }}", "the stay has no door code of its own: enter it"),
        ("{{ stay.door_code }}", "the stay has no door code of its own: enter it"),
        ("{{ stay.phones }}", "its template fails"),
        # Facts are to be had by fact() alone, which guards them; nothing leads around it.
        ("{{ house.facts }}", "its template fails"),
        ("{{ stay._guarded.code }}", "its template fails"),
        ("{{ fact.__self__._house }}", "its template fails"),
    ],
)
def test_what_cannot_be_said_is_told_to_the_host_once(
    database: Database, template: str, said: str
) -> None:
    """Nothing goes out, it is not tried again, and one alert says what to mend."""
    add(database, ADA, BEN)
    broken = ACCESS | {"text": template}

    for minute in (0, 1, 2):
        run(database, utc(2026, 6, 12, 8, minute), broken)

    assert {d.state for d in sent(database)} == {DeliveryState.FAILED}
    assert not any(d.text for d in sent(database))
    with database.reading() as session:
        alert = session.scalars(select(Escalation)).one()
    assert (alert.house, alert.kind, alert.level) == ("ferry-lodge", "delivery", "urgent")
    assert alert.summary.startswith("The message access to the guests of stay")
    assert said in alert.summary
    assert ADA not in alert.summary


@pytest.mark.parametrize("template", ["{{ fact('door') }}", "In by {{ stay.door_code }}."])
def test_a_stays_own_door_code(database: Database, template: str) -> None:
    """It is said inside the stay's window, as a secret; before, the message waits."""
    add(database, door_code=DOOR_CODE)
    early = ACCESS | {"text": template, "at": "06:00"}

    run(database, utc(2026, 6, 12, 6), early)
    assert sent(database) == []
    run(database, utc(2026, 6, 12, 7), early)  # 08:00 in London

    (message,) = sent(database)
    assert DOOR_CODE in message.text
    assert message.secrets
    assert message.secret_until == utc(2026, 6, 19, 9)
    assert DOOR_CODE not in str(message.blotted)


def test_a_stays_own_code_waits_for_the_window_of_its_fact(database: Database) -> None:
    """A fact that says it, with a window of its own, is told by that one, as in a reply."""
    add(database, door_code=DOOR_CODE)
    early = ACCESS | {"text": "{{ fact('door') }}", "at": "06:00"}
    own = FactRelease.model_validate({"from": "06:30", "until": "12:00"})
    rules = {"ferry-lodge": StayRules(release_facts={"door": own})}

    run(database, utc(2026, 6, 12, 5, 29), early, rules=rules)
    assert sent(database) == []
    run(database, utc(2026, 6, 12, 5, 30), early, rules=rules)  # 06:30 in London

    (message,) = sent(database)
    assert DOOR_CODE in message.text
    assert message.secret_until == utc(2026, 6, 19, 11)


def test_a_long_message_is_fitted_and_its_rest_is_kept(database: Database) -> None:
    """It takes as many segments as the line allows; MORE brings the rest, with its time limit."""
    add(database)
    long = ACCESS | {"text": "Here we say a lot about the lane. " * 20 + "{{ fact('wifi') }}"}

    run(database, utc(2026, 6, 12, 8), long)

    (message,) = sent(database)
    assert message.segments == LINES[LINE].most_segments
    assert message.text.endswith("Reply MORE for the rest.")
    with database.reading() as session:
        thread = session.scalars(select(Thread)).one()
    assert (thread.sender, thread.house, thread.stay_id) == (ADA, "ferry-lodge", message.stay_id)
    assert str(thread.rest).endswith(f"{SECRET}.")
    assert thread.rest_secrets == ["wifi"]
    assert thread.rest_until == utc(2026, 6, 12, 9)


def test_the_language_and_the_line_of_the_guest(database: Database) -> None:
    """Who has written before is written to on the same line, in the same language."""
    second = make_line("ferry-lodge", name="second", number="+442079460901")
    german = ACCESS | {"text": "Hello", "texts": {"de": "Willkommen, {{ stay.guest }}!"}}
    add(database, ADA, BEN)
    with database.writing() as session:
        add_thread(session, line="second", language="de")

    run(database, utc(2026, 6, 12, 8), german, lines=LINES | {"second": second})

    found = {d.to: (d.target, d.text) for d in sent(database)}
    assert found == {ADA: ("second", "Willkommen, Ada Finch!"), BEN: (LINE, "Hello")}


def test_a_template_that_says_nothing_sends_nothing(database: Database) -> None:
    """A template may leave a stay out."""
    add(database, guests=[])

    run(database, utc(2026, 6, 12, 8), ACCESS | {"text": "{% if stay.guest %}Hello{% endif %}"})

    assert deliveries(database) == []


def test_no_line_that_can_send_no_message(database: Database) -> None:
    """A line that can only reply at once cannot begin; a number of no telephone is left out."""
    add(database)
    mute = make_line("ferry-lodge", send=None, respond={})
    run(database, utc(2026, 6, 12, 8), ACCESS, lines={LINE: mute})

    own = make_line("ferry-lodge", number=ADA)  # a loop
    run(database, utc(2026, 6, 12, 8), ACCESS, lines={LINE: own})

    assert deliveries(database) == []


def test_several_processes_send_it_once(database: Database) -> None:
    """Six look at the same moment: each number gets each message once."""
    numbers = [f"+4420794600{n}" for n in range(50, 60)]
    for number in numbers:
        add(database, number, uid=number)
    hello = ACCESS | {"text": "Hello"}

    looks = [
        threading.Thread(
            target=run, args=(database, utc(2026, 6, 12, 8), ACCESS, hello | {"name": "b"})
        )
        for _ in range(6)
    ]
    for look in looks:
        look.start()
    for look in looks:
        look.join()

    found = [(d.to, d.key.split(":")[2]) for d in sent(database)]
    assert sorted(found) == sorted((n, name) for n in numbers for name in ("access", "b"))


def test_the_use_of_a_message_begins_with_its_time() -> None:
    """A window never ends before it begins, for any day and hour near the ends of a stay."""
    stay = Stay(arrival=ARRIVAL, departure=ARRIVAL + dt.timedelta(days=1))
    for day in ("arrival", "departure"):
        for days in range(-3, 4):
            for hour in range(24):
                message = PlannedMessage.model_validate(
                    {"name": "m", "day": day, "days": days, "at": f"{hour:02}:00", "text": "Hello"}
                )
                window = useful(message, stay, HOUSES["ferry-lodge"])
                assert window.start < window.end

"""A stored message -> who, what was said before, the assistant -> parts, reply, escalations."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import select, update
from sqlalchemy.orm import selectinload

from askhouse.search.store import text_hash
from askhouse.triage.guidance import guidance
from askhouse.triage.wordlist import match
from askhouse.values import House
from service.database import Database
from service.lines.arrived import WITHHELD
from service.situation import Pace
from service.stays.settings import FactRelease, StayRules
from service.tables import CitationRow, Escalation, PartRow, Person, Stay
from tests.factories import make_fact, make_house
from tests.house import DOOR_CODE, SECRETS, WIFI_PASSWORD
from tests.service.texting import ADA, BEN, EVE, LINE_NUMBER, NOON, Desk, make_line

WIFI, DOOR, BINS = "what is the wifi password", "what is the door code", "where are the bins"
SHED = "The bins are behind the boat shed. The recycling goes out every Tuesday by 07:30."

LONG_CODE = make_fact(
    "door-code",
    " ".join(f"Step {n} is to wait by the green door for a moment." for n in range(9))
    + " The code is 4826.",
    asks=(DOOR,),
    sensitive=True,
)

MakeDesk = Callable[..., Desk]


@pytest.fixture
def make_desk(database: Database, small_house: House, tmp_path: Path) -> MakeDesk:
    """A desk over Ferry Lodge, or over other houses."""

    def make(*lines: object, houses: tuple[House, ...] = (), **more: object) -> Desk:
        return Desk(database, houses or (small_house,), tmp_path, *lines, **more)  # type: ignore[arg-type]

    return make


@pytest.fixture
def desk(make_desk: MakeDesk) -> Desk:
    return make_desk()


def parts(desk: Desk) -> list[PartRow]:
    with desk.database.reading() as session:
        query = select(PartRow).order_by(PartRow.id).options(selectinload(PartRow.citations))
        return list(session.scalars(query))


def everything_kept(desk: Desk) -> str:
    """All that the database holds of replies, but the texts that are being sent."""
    kept = [f"{part.text} {part.said} {part.reason}" for part in parts(desk)]
    kept += [message.draft or "" for message in desk.messages()]
    kept += [row.summary for row in desk.rows(Escalation)]
    kept += [row.title for row in desk.rows(CitationRow)]
    return "\n".join(kept)


# --- an ordinary message ---------------------------------------------------------------------


def test_an_answer_is_kept_with_what_it_rests_on(desk: Desk, small_house: House) -> None:
    """
    Parts in the guest's order, each with its facts as they stood; the reply goes out once.
    """
    (text,) = desk.text("Where are the bins? Is there a sauna?")

    assert text.startswith(f"{SHED} About")
    first, second = parts(desk)
    assert (first.outcome, first.place, first.house) == ("answer", 0, "ferry-lodge")
    assert first.said == SHED
    (citation,) = first.citations
    assert (citation.fact, citation.title) == ("bins", "Bins")
    assert citation.content_hash == text_hash(small_house.fact("bins").text)
    assert (second.outcome, second.place, second.citations) == ("gap", 1, [])
    message = desk.message()
    assert (message.state, message.house, message.answered_at) == ("answered", "ferry-lodge", NOON)
    (delivery,) = desk.deliveries()
    assert (delivery.key, delivery.to, delivery.state) == (f"reply:{message.id}", ADA, "sent")
    assert desk.escalations() == [("gap", "soon")]


def test_one_escalation_for_each_kind(desk: Desk) -> None:
    """
    Two gaps and a refund in one message raise two, each in one line of the guest's words.
    """
    desk.text("Is there a sauna?\nIs there an iron?\nWe want a refund.")

    rows = desk.rows(Escalation)
    assert sorted((row.kind, row.level, row.state) for row in rows) == [
        ("gap", "soon", "open"),
        ("request", "soon", "open"),
    ]
    gap = next(row for row in rows if row.kind == "gap")
    assert gap.summary == "Is there a sauna? / Is there an iron?"
    assert gap.next_at == NOON


def test_danger_is_an_emergency_for_the_host(desk: Desk) -> None:
    """
    The reply says the fixed words and no fact; the host is woken at once, and has the rest.
    """
    (text,) = desk.text("We smell gas.\nWhere are the bins?")

    assert text.startswith("Please leave the building now")
    assert SHED not in text
    assert desk.escalations() == [("safety", "emergency"), ("request", "soon")]
    (delivery,) = desk.deliveries()
    assert (delivery.emergency, delivery.urgent) == (True, True)


def test_a_follow_up_is_read_with_the_thread(desk: Desk) -> None:
    """
    "is it there?" is about the message before; after a day it is about nothing.
    """
    desk.text("where are the bins")
    desk.later(minutes=5)
    desk.text("is it there?")
    desk.later(days=2)
    desk.text("is it there?")

    assert [part.outcome for part in parts(desk)[-2:]] == ["answer", "gap"]


def test_strangers_who_withhold_their_number_share_no_thread(make_desk: MakeDesk) -> None:
    """
    What one of them asked is not read into what the next one asks; no call can reply to them.
    """
    desk = make_desk()
    desk.text("where are the bins", sender=WITHHELD)
    desk.later(minutes=5)
    assert desk.text("is it there?", sender=WITHHELD) == []

    assert [part.outcome for part in parts(desk)] == ["answer", "gap"]
    assert {delivery.state for delivery in desk.deliveries()} == {"dropped"}
    assert desk.escalations() == [("delivery", "soon"), ("gap", "soon"), ("delivery", "soon")]


def test_nothing_to_read_goes_to_the_host(desk: Desk) -> None:
    """
    A picture without words is no question; the guest hears that the host has it.
    """
    assert desk.text("  ") == ["I could not read your message, so I have passed it on to the host."]
    assert desk.escalations() == [("unread", "soon")]


# --- who may be told a code ------------------------------------------------------------------


def test_a_stranger_is_told_no_code(desk: Desk) -> None:
    """
    Whoever is not known by a stay gets no secret, and the host hears of it.
    """
    texts = [*desk.text(WIFI), *desk.text(DOOR)]

    assert not [secret for secret in SECRETS if secret in " ".join(texts)]
    assert not desk.message().verified
    assert desk.escalations() == [("request", "soon")] * 2


def test_a_guest_is_told_the_code_and_nothing_keeps_it(desk: Desk) -> None:
    """
    Inside the window the code is sent; what is kept of it says where it stood, not what it was.
    """
    desk.stay()

    assert desk.text(WIFI) == [f"The Wi-Fi password is {WIFI_PASSWORD}, all in small letters."]
    (part,) = parts(desk)
    assert part.said == "The Wi-Fi password is •••, all in small letters."
    assert [citation.fact for citation in part.citations] == ["wifi-password"]
    (delivery,) = desk.deliveries()
    assert delivery.secrets == ["wifi-password"]
    # Check-out is at 10:00 in London, which is an hour ahead of UTC in June.
    assert delivery.secret_until == dt.datetime(2026, 6, 15, 9, tzinfo=dt.UTC)
    assert not [secret for secret in SECRETS if secret in everything_kept(desk)]


def test_before_the_window_the_reply_says_when(desk: Desk) -> None:
    """
    A guest who arrives tomorrow hears from when; what is no secret is answered, nothing raised.
    """
    desk.stay("ferry-lodge", "2026-06-13", "2026-06-15")

    (text,) = desk.text("What is the wifi password? Where are the bins?")

    assert text.startswith("I can send that from 08:00 on Saturday 13 June: please ask again then.")
    assert SHED in text
    assert desk.escalations() == []
    assert [len(part.citations) for part in parts(desk)] == [0, 1]
    assert WIFI_PASSWORD not in everything_kept(desk) + text


def test_a_fact_may_have_a_window_of_its_own(make_desk: MakeDesk) -> None:
    """
    On arrival morning the Wi-Fi password is told, and the door code only from 15:00.
    """
    rules = StayRules(release_facts={"door-code": FactRelease.model_validate({"from": "15:00"})})
    desk = make_desk(rules={"ferry-lodge": rules})
    desk.stay("ferry-lodge", "2026-06-12", "2026-06-15")

    assert WIFI_PASSWORD in desk.text(WIFI)[0]
    assert desk.text(DOOR) == [
        "I can send that from 15:00 on Friday 12 June: please ask again then."
    ]
    desk.later(hours=3)
    assert DOOR_CODE in desk.text(DOOR)[0]


def test_a_fact_is_told_until_its_own_window_closes(make_desk: MakeDesk) -> None:
    """
    After check-out at 10:00 the one fact is told until its own 15:00, and the others are not; what
    waits to be sent knows the fact's end, not the house's.
    """
    own = FactRelease.model_validate({"from": "08:00", "until": "15:00"})
    desk = make_desk(rules={"ferry-lodge": StayRules(release_facts={"door-code": own})})
    desk.stay("ferry-lodge", "2026-06-10", "2026-06-12")

    assert DOOR_CODE in desk.text(DOOR)[0]  # at 13:00
    assert desk.deliveries()[-1].secret_until == dt.datetime(2026, 6, 12, 14, tzinfo=dt.UTC)
    assert WIFI_PASSWORD not in desk.text(WIFI)[0]
    desk.later(hours=2)
    assert DOOR_CODE not in desk.text(f"{DOOR} please")[0]


def test_a_fact_is_not_told_beyond_its_own_window(make_desk: MakeDesk) -> None:
    """
    One that closes before check-out is not sent after that, though it was asked for before.
    """
    own = FactRelease.model_validate({"from": "08:00", "until": "09:00"})
    desk = make_desk(rules={"ferry-lodge": StayRules(release_facts={"door-code": own})})
    desk.stay("ferry-lodge", "2026-06-10", "2026-06-13")
    desk.later(hours=19, minutes=59)  # 08:59 of the departure day in London
    desk.receive(DOOR)
    desk.work()
    desk.later(minutes=1)
    desk.send()

    assert desk.ear.texts == []
    assert [(d.state, DOOR_CODE in d.text) for d in desk.deliveries()] == [("dropped", False)]


def test_after_check_out_no_code_is_told(desk: Desk) -> None:
    """
    A guest of last week is known, and is told no secret.
    """
    desk.stay("ferry-lodge", "2026-06-06", "2026-06-11")

    assert WIFI_PASSWORD not in desk.text(WIFI)[0]
    assert desk.escalations() == [("request", "soon")]


def test_each_stay_may_have_its_own_code(make_desk: MakeDesk) -> None:
    """
    A fact that leaves room for the stay's code is told with it; without one the host must send it.
    """
    fact = make_fact(
        "door-code",
        "The code of the door is {stay_door_code}, then the green key.",
        asks=(DOOR,),
        sensitive=True,
    )
    desk = make_desk(houses=(make_house(fact),))
    desk.stay("ferry-lodge", "2026-06-10", "2026-06-15", ADA, door_code="7193")
    desk.stay("ferry-lodge", "2026-06-10", "2026-06-15", BEN)

    assert desk.text(DOOR) == ["The code of the door is 7193, then the green key."]
    assert desk.text(DOOR, sender=BEN) == [
        "The code of the door is (the host will send you the code), then the green key."
    ]
    assert desk.escalations() == [("code", "urgent")]
    assert "7193" not in everything_kept(desk)
    desk.later(hours=2)
    desk.outbox.sweep()
    assert "7193" not in "".join(delivery.text for delivery in desk.deliveries())


def test_a_guest_who_repeats_a_code_leaves_it_in_no_alert(desk: Desk) -> None:
    """
    What goes to the host's contacts holds no code, even where the guest wrote one.
    """
    desk.text(f"the code {DOOR_CODE} is broken and {WIFI_PASSWORD} too, refund please")

    (row,) = desk.rows(Escalation)
    assert row.summary.count("•••") == 2


# --- words that steer the line ---------------------------------------------------------------


def test_stop_ends_it_with_one_farewell(desk: Desk) -> None:
    """
    After STOP one message says so, and then there is silence: whatever is asked goes to the host.
    """
    assert desk.text("Stop.") == [
        "You will get no more messages from this number. Reply START to get them again."
    ]
    assert desk.opt_outs() == [ADA]
    assert desk.text(BINS) == []
    assert desk.text("STOP") == []
    assert desk.text("MORE") == []
    assert desk.text("INFO") == []
    assert desk.text("is there a sauna") == []
    assert desk.escalations() == [("gap", "soon")]


def test_danger_is_answered_even_after_stop(desk: Desk) -> None:
    """
    The emergency reply to their own message alone gets through, and nothing beside it.
    """
    desk.text("STOP")

    (text,) = desk.text("We smell gas.\nWhere are the bins?")

    assert text.startswith("Please leave the building now")
    assert "boat shed" not in text
    assert desk.escalations() == [("safety", "emergency"), ("request", "soon")]


def test_start_opens_the_line_again(desk: Desk) -> None:
    """
    START takes a STOP back.
    """
    desk.text("STOP")

    assert desk.text("start") == [
        "You will get messages from this number again. Reply STOP to end them."
    ]
    assert desk.opt_outs() == []
    assert desk.text(BINS) == [SHED]


def test_stop_and_start_in_turn_are_confirmed_so_often(desk: Desk) -> None:
    """
    Four confirmations an hour; after these both words are obeyed in silence, each time.
    """
    told = []
    for n in range(12):
        told += desk.text("STOP" if n % 2 == 0 else "START")
        assert desk.opt_outs() == ([ADA] if n % 2 == 0 else [])
        desk.later(minutes=2)

    assert len(told) == 4
    desk.later(hours=1)
    assert desk.text("STOP") == [told[0]]


def test_stop_holds_on_its_own_line_alone(make_desk: MakeDesk) -> None:
    """
    Who asked one number for silence still hears from another.
    """
    desk = make_desk(make_line(), make_line(name="other"))
    desk.text("STOP")

    assert desk.text(BINS, line="other") == [SHED]


def test_help_says_what_the_number_is_and_what_to_do_in_danger(desk: Desk) -> None:
    """
    HELP is the carriers' word and a cry for help: the reply serves both, and the host is woken.
    """
    (text,) = desk.text("HELP")

    assert "call 999" in text
    assert "Reply STOP" in text
    assert "+442079460123" in text
    assert desk.escalations() == [("safety", "emergency")]


def test_info_says_what_the_number_is(desk: Desk) -> None:
    """
    The other word for it is no cry for help, and wakes nobody.
    """
    (text,) = desk.text("info")

    assert text.startswith("This number answers questions about your stay.")
    assert desk.escalations() == []


def test_a_long_reply_goes_out_in_portions(make_desk: MakeDesk) -> None:
    """
    What fits goes first, cautions before all; MORE gives the rest until there is none.
    """
    desk = make_desk(make_line(most_segments=2))

    (first,) = desk.text("how do we light the stove")
    (second,) = desk.text("more")
    texts = [first, second]
    while desk.thread().rest:
        desk.later(minutes=2)
        texts += desk.text("More")

    assert first.startswith("Please note: Never use petrol")
    assert first.endswith("Reply MORE for the rest.")
    told = " ".join(text.replace("Reply MORE for the rest.", "") for text in texts)
    assert "Keep children away" in told
    assert "close the door when the kindling burns." in told
    assert all((delivery.segments or 9) <= 2 for delivery in desk.deliveries())
    desk.later(minutes=2)
    assert desk.text("MORE") == ["That was all."]


def test_the_rest_of_a_code_is_forgotten_within_the_hour(make_desk: MakeDesk) -> None:
    """
    A rest that holds a secret is sent on MORE as a secret, and not after an hour.
    """
    desk = make_desk(make_line(most_segments=1), houses=(make_house(LONG_CODE),))
    desk.stay()
    desk.text(DOOR)
    rest = desk.thread().rest
    desk.text("MORE")

    assert rest is not None
    assert "4826" in rest
    assert [delivery.secrets for delivery in desk.deliveries()] == [["door-code"]] * 2
    assert "4826" not in everything_kept(desk)
    desk.later(minutes=61)
    assert desk.text("more") == ["That was all."]
    desk.outbox.sweep()
    assert desk.thread().rest is None


def change_stays(desk: Desk, **values: object) -> None:
    with desk.database.writing() as session:
        session.execute(update(Stay).values(**values))


@pytest.mark.parametrize(
    "since",
    [
        {"cancelled_at": NOON},
        {"release_until": NOON - dt.timedelta(minutes=1)},
        {"departure": dt.date(2026, 6, 12)},
    ],
)
def test_the_rest_of_a_code_is_judged_again(make_desk: MakeDesk, since: dict[str, object]) -> None:
    """
    MORE gives no rest of a reply with a code once the stay is cancelled, or its window has closed.
    """
    desk = make_desk(make_line(most_segments=1), houses=(make_house(LONG_CODE),))
    desk.stay()
    desk.text(DOOR)
    assert "4826" in (desk.thread().rest or "")
    change_stays(desk, **since)
    desk.later(minutes=2)

    assert desk.text("MORE") == ["That was all."]
    assert desk.thread().rest is None
    assert "4826" not in " ".join(delivery.text for delivery in desk.deliveries())


def test_the_rest_of_a_code_is_of_its_own_stay(make_desk: MakeDesk) -> None:
    """
    Who has another stay now, whose codes they may be told, gets no rest of what the first was told.
    """
    fact = make_fact(
        "door-code",
        LONG_CODE.text.replace("4826", "{stay_door_code}"),
        asks=(DOOR,),
        sensitive=True,
    )
    desk = make_desk(make_line(most_segments=1), houses=(make_house(fact),))
    desk.stay(door_code="4826")
    desk.text(DOOR)
    change_stays(desk, cancelled_at=NOON)
    desk.stay("ferry-lodge", "2026-06-11", "2026-06-14", ADA, door_code="9137")
    desk.later(minutes=2)

    assert desk.text("MORE") == ["That was all."]


def test_a_rest_without_a_code_stands_a_cancellation(make_desk: MakeDesk) -> None:
    """
    What anybody may be told is told to whoever was in the middle of reading it.
    """
    desk = make_desk(make_line(most_segments=2))
    desk.stay()
    desk.text("how do we light the stove")
    change_stays(desk, cancelled_at=NOON)

    (rest,) = desk.text("more")

    assert rest != "That was all."


# --- which house -----------------------------------------------------------------------------


@pytest.fixture
def two(make_desk: MakeDesk, small_house: House) -> Desk:
    """A line of two houses, each known by its area."""
    flat = make_house(
        make_fact("bins", "The bins are in the cellar.", asks=(BINS,)),
        slug="quay-flat",
        name="Quay Flat",
        country="DE",
        timezone="Europe/Berlin",
        emergency_number="112",
    )
    rules = {"ferry-lodge": StayRules(area="the lake"), "quay-flat": StayRules(area="Old Harbour")}
    return make_desk(make_line("ferry-lodge", "quay-flat"), houses=(small_house, flat), rules=rules)


def test_a_stranger_is_asked_for_the_area_and_told_no_house(two: Desk) -> None:
    """
    The area settles it: the question asked before is answered then, and later ones at once.
    """
    (asked,) = two.text(BINS)
    assert asked == (
        "Which house are you writing about? Please tell me its area, such as the village or the "
        "street."
    )
    assert two.text("old harbor") == ["The bins are in the cellar."]
    two.later(minutes=5)
    assert two.text("and the bins again?") == ["The bins are in the cellar."]
    assert [message.house for message in two.messages()] == [None, "quay-flat", "quay-flat"]


def test_a_stay_settles_the_house(two: Desk) -> None:
    """
    Who is known by a stay is not asked.
    """
    two.stay()

    assert two.text(BINS) == [SHED]


def test_danger_does_not_wait_for_the_house(two: Desk) -> None:
    """
    The fixed words come at once, with the emergency numbers of all houses that it may be.
    """
    (text,) = two.text("I smell gas")

    assert text.startswith("Please leave the building now")
    assert "999 / 112" in text
    assert "Which house" in text
    assert two.escalations() == [("safety", "emergency")]
    assert two.rows(Escalation)[0].house is None


def test_no_code_of_any_house_reaches_a_stranger_of_a_shared_line(two: Desk) -> None:
    """
    Naming an area makes nobody a guest.
    """
    texts = [*two.text(WIFI), *two.text("the lake"), *two.text(DOOR)]

    assert len(texts) == 3
    assert not [secret for secret in SECRETS if secret in " ".join(texts)]


# --- floods ----------------------------------------------------------------------------------


def test_a_flood_is_kept_and_told_once(make_desk: MakeDesk) -> None:
    """
    Beyond so many in a minute nothing is said, all is kept, and the host hears of it once.
    """
    desk = make_desk(pace=Pace(replies=3, read=5))

    texts = [text for n in range(8) for text in desk.text(f"where are the bins {n}")]

    assert len(texts) == 3
    assert len(desk.messages()) == 8
    assert {message.state for message in desk.messages()} == {"answered"}
    assert len({part.message_id for part in parts(desk)}) == 5
    assert desk.escalations() == [("flood", "soon"), ("flood", "urgent")]
    desk.later(minutes=2)
    assert len(desk.text("where are the bins now")) == 1


@pytest.mark.parametrize(
    ("pace", "came", "danger"),
    [
        # Known to the word list: answered, however much came before.
        (Pace(replies=1, read=2), 5, "there is smoke in the hall"),
        # Known to the heads alone: all that a hand can type in a minute is read.
        (Pace(), 60, "smoke, a thin smoke"),
    ],
)
def test_danger_in_a_flood_is_answered(
    make_desk: MakeDesk, pace: Pace, came: int, danger: str
) -> None:
    """
    An emergency gets its reply, and the host is woken.
    """
    assert (match(danger, guidance()) is None) == (pace == Pace())
    desk = make_desk(pace=pace)
    for n in range(came):
        desk.text(f"where are the bins {n}")

    (text,) = desk.text(danger)

    assert "999" in text
    assert ("safety", "emergency") in desk.escalations()


@pytest.mark.parametrize("pace", [Pace(read=5), Pace(characters=100)])
def test_where_not_all_is_read_the_host_is_woken(make_desk: MakeDesk, pace: Pace) -> None:
    """
    From where the word list alone reads on, the host is told, once, to look for danger.
    """
    desk = make_desk(pace=pace)

    for n in range(8):
        desk.text(f"where are the bins {n}")

    assert desk.escalations() == [("flood", "urgent")]
    assert "danger" in desk.rows(Escalation)[0].summary


def test_strangers_do_not_use_up_the_replies_of_guests(make_desk: MakeDesk) -> None:
    """
    A flood from many numbers is held at so many replies for the house; its guests are answered.
    """
    desk = make_desk(pace=Pace(strangers=2))
    desk.stay("ferry-lodge", "2026-06-10", "2026-06-15", EVE)
    numbers = [f"+4420794601{n:02}" for n in range(5)]

    texts = [text for number in numbers for text in desk.text(BINS, sender=number)]

    assert len(texts) == 2
    assert len(desk.text(BINS, sender=EVE)) == 1


# --- the host's side -------------------------------------------------------------------------


def test_staff_may_steer_by_text(make_desk: MakeDesk) -> None:
    """
    What someone of the host's side texts is read first by what knows alerts; else it is a question.
    """
    heard = []

    def staff(session: object, person: Person, text: str, now: dt.datetime) -> str | None:
        heard.append((person.name, text, now))
        return "Taken." if text == "TAKE 12" else None

    desk = make_desk(staff=staff)
    with desk.database.writing() as session:
        session.add(
            Person(name="Bo", number=BEN, role="staff", houses=["ferry-lodge"], created_at=NOON)
        )

    assert desk.text("TAKE 12", sender=BEN) == ["Taken."]
    assert desk.text(BINS, sender=BEN) == [SHED]
    assert heard == [("Bo", "TAKE 12", NOON), ("Bo", BINS, NOON)]
    assert desk.text("TAKE 12", sender=ADA) != ["Taken."]


# --- what must not happen ---------------------------------------------------------------------


@pytest.mark.parametrize("sender", [LINE_NUMBER, "+449098790000"])  # premium rate: from memory
def test_nothing_is_sent_to_our_own_or_a_premium_number(desk: Desk, sender: str) -> None:
    """
    A reply to the line's own number would come back for ever, one to the other is charged for.
    """
    assert desk.text("where are the bins", sender=sender) == []
    assert [delivery.state for delivery in desk.deliveries()] == ["dropped"]
    assert ("delivery", "soon") in desk.escalations()


def test_more_gives_no_hidden_sender_the_rest_of_anothers_reply(make_desk: MakeDesk) -> None:
    """
    All who hide their number share a thread, so that nothing of one's reply is kept for MORE.
    """
    respond = {"template": "{{ text }}"}
    desk = make_desk(make_line(most_segments=1, respond=respond))
    desk.text("where are the bins? is there a sauna? where is the stopcock?", sender=WITHHELD)
    desk.text("MORE", sender=WITHHELD)

    assert [delivery.text for delivery in desk.deliveries()][1:] == ["That was all."]


def test_danger_is_heard_though_no_house_of_the_line_can_be_read(make_desk: MakeDesk) -> None:
    """
    While a house's file is broken, the host is told of gas as an emergency, and the guest that.
    """
    desk = make_desk(make_line("broken-house"))

    assert desk.text("I smell gas in the kitchen") != []
    assert desk.escalations() == [("unread", "emergency")]


def test_a_stays_own_code_is_never_told_from_an_open_fact(
    make_desk: MakeDesk, small_house: House
) -> None:
    """
    A fact that is not sensitive waits for no window: it does not give the code.
    """
    lock = make_fact("bins", text="The bins open with {stay_door_code}.", asks=(BINS,))
    desk = make_desk(houses=(make_house(lock, slug="ferry-lodge"),))
    desk.stay("ferry-lodge", "2026-06-20", "2026-06-25", door_code="9137")

    (text,) = desk.text(BINS)

    assert "9137" not in text
    assert ("code", "urgent") in desk.escalations()

"""Each row of the table in service/stays/who.py."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pytest

from askhouse.values import House
from service.database import Database
from service.stays.drafts import Draft
from service.stays.release import OWN_CODE_SECRET
from service.stays.settings import FactRelease, StayRules
from service.stays.stays import add_stay, cancel_stay
from service.stays.who import Standing, Who, who_is
from service.tables import Person
from tests.service.stays.conftest import utc

ADA = "+442079460018"
BEN = "+442079460029"
FLAT, LODGE = "quay-flat", "ferry-lodge"
LONG_BEFORE = utc(2025, 12, 1)


@dataclass(frozen=True)
class OneLine:
    """A line as far as it is asked."""

    houses: tuple[str, ...]
    name: str = "house-line"
    number: str | None = "+442079460900"


BOTH = OneLine((FLAT, LODGE))
FLAT_ALONE = OneLine((FLAT,))


@dataclass
class Desk:
    """A database to enter stays into and to ask."""

    database: Database
    houses: Mapping[str, House]

    def enter(self, house: str, first: str, last: str, *phones: str, **more: Any) -> int:
        draft = Draft(
            house=house,
            arrival=dt.date.fromisoformat(f"2026-{first}"),
            departure=dt.date.fromisoformat(f"2026-{last}"),
            phones=phones or (ADA,),
            **more,
        )
        with self.database.writing() as session:
            return add_stay(session, draft, self.houses, LONG_BEFORE).stay.id

    def who(
        self,
        now: dt.datetime,
        sender: str = ADA,
        line: OneLine = FLAT_ALONE,
        rules: Mapping[str, StayRules] | None = None,
        settled: str | None = None,
    ) -> Who:
        with self.database.reading() as session:
            return who_is(session, line, sender, self.houses, now, rules or {}, settled)


@pytest.fixture
def desk(database: Database, houses: Mapping[str, House]) -> Desk:
    return Desk(database, houses)


# Berlin is two hours before UTC in July; check-in is 15:00, check-out 10:00.
@pytest.mark.parametrize(
    ("now", "standing", "verified"),
    [
        (utc(2026, 6, 20), Standing.EARLY, False),
        (utc(2026, 7, 1, 5, 59, 59), Standing.EARLY, False),
        (utc(2026, 7, 1, 6, 0), Standing.GUEST, True),
        (utc(2026, 7, 4, 7, 59, 59), Standing.GUEST, True),
        (utc(2026, 7, 4, 8, 0), Standing.PAST, False),
        (utc(2026, 7, 11), Standing.PAST, False),
        (utc(2026, 7, 18, 7, 59, 59), Standing.PAST, False),
        (utc(2026, 7, 18, 8, 0), Standing.STRANGER, False),
    ],
)
def test_a_guest_from_booking_to_forgotten(
    desk: Desk, now: dt.datetime, standing: Standing, verified: bool
) -> None:
    """
    A number is verified from 08:00 of arrival day until check-out, to the second, and only then;
    a guest of last week is known, and told nothing.
    """
    stay = desk.enter(FLAT, "07-01", "07-04")

    who = desk.who(now)

    assert (who.standing, who.verified) == (standing, verified)
    assert set(who.facts) == ({"door", "garage", "boat-shed"} if verified else set())
    assert who.house == FLAT
    assert (who.stay.id if who.stay else None) == (None if standing is Standing.STRANGER else stay)
    assert (who.release is not None) == (standing in (Standing.EARLY, Standing.GUEST))


def test_an_early_guest_is_told_when(desk: Desk) -> None:
    """
    The window is given, so that the reply can say when the code will come.
    """
    desk.enter(FLAT, "07-01", "07-04")

    who = desk.who(utc(2026, 6, 20))

    assert who.release is not None
    local = who.release.local_start(desk.houses[FLAT])
    assert local.isoformat() == "2026-07-01T08:00:00+02:00"


def test_a_booking_too_far_ahead_is_not_known(desk: Desk) -> None:
    """
    Before `early_days` a number is a stranger's.
    """
    desk.enter(FLAT, "07-01", "07-04")
    rules = {FLAT: StayRules(early_days=30)}

    assert desk.who(utc(2026, 6, 1, 12, 59), rules=rules).standing is Standing.STRANGER
    assert desk.who(utc(2026, 6, 1, 13, 0), rules=rules).standing is Standing.EARLY


def test_a_number_of_no_stay_is_a_stranger(desk: Desk) -> None:
    """
    Another number is nobody's, even while guests are there.
    """
    desk.enter(FLAT, "07-01", "07-04")

    who = desk.who(utc(2026, 7, 2), sender=BEN)

    assert (who.standing, who.verified, who.stay) == (Standing.STRANGER, False, None)
    assert not who.facts
    assert (who.house, who.ask_area) == (FLAT, False)


def test_a_cancelled_stay_verifies_nobody(desk: Desk) -> None:
    """
    From the moment it is cancelled its guests are strangers.
    """
    stay = desk.enter(FLAT, "07-01", "07-04")
    with desk.database.writing() as session:
        cancel_stay(session, stay, utc(2026, 7, 2))

    assert desk.who(utc(2026, 7, 2, 0, 1)).standing is Standing.STRANGER


def test_a_stay_counts_on_its_own_line_only(desk: Desk) -> None:
    """
    A guest of one house is a stranger on the line of another.
    """
    desk.enter(LODGE, "07-01", "07-04")

    assert desk.who(utc(2026, 7, 2), line=FLAT_ALONE).standing is Standing.STRANGER
    assert desk.who(utc(2026, 7, 2), line=OneLine((LODGE,))).verified


# --- one number, two stays of one house --------------------------------------------------------


@pytest.mark.parametrize(
    ("hour", "which"),
    [
        (7, "leaving"),  # both windows are open; the one who leaves is in progress until 10:00
        (8, "arriving"),  # 10:00 in Berlin: check-out has passed, check-in is to come
        (13, "arriving"),  # 15:00: check-in
    ],
)
def test_changeover_day(desk: Desk, hour: int, which: str) -> None:
    """
    A guest who books twice in a row is in the stay that is in progress; between check-out and
    check-in in the one that begins. They are verified throughout.
    """
    stays = {
        "leaving": desk.enter(FLAT, "07-01", "07-04"),
        "arriving": desk.enter(FLAT, "07-04", "07-08"),
    }

    who = desk.who(utc(2026, 7, 4, hour))

    assert who.stay is not None
    assert (who.stay.id, who.verified) == (stays[which], True)


@pytest.mark.parametrize("order", [("07-09", "07-04"), ("07-04", "07-09")])
def test_a_shared_family_telephone(desk: Desk, order: tuple[str, str]) -> None:
    """
    One number in two bookings for the same days is verified; the booking that lasts longer counts,
    whichever was entered first.
    """
    stays = {last: desk.enter(FLAT, "07-01", last, reference=f"to {last}") for last in order}

    who = desk.who(utc(2026, 7, 2))

    assert who.stay is not None
    assert (who.stay.id, who.verified) == (stays["07-09"], True)


def test_two_telephones_of_one_stay(desk: Desk) -> None:
    """
    Each number of a stay is its guests'.
    """
    desk.enter(FLAT, "07-01", "07-04", ADA, BEN)

    assert desk.who(utc(2026, 7, 2), ADA).verified
    assert desk.who(utc(2026, 7, 2), BEN).verified


def test_a_guest_who_comes_again(desk: Desk) -> None:
    """
    Of a past stay and one to come, the one to come counts; of two to come, the next.
    """
    desk.enter(FLAT, "07-01", "07-04")
    coming = desk.enter(FLAT, "09-01", "09-04")
    desk.enter(FLAT, "12-01", "12-04")

    who = desk.who(utc(2026, 7, 6))

    assert who.stay is not None
    assert (who.stay.id, who.standing) == (coming, Standing.EARLY)


# --- one line, several houses ------------------------------------------------------------------


def test_the_stay_settles_the_house(desk: Desk) -> None:
    """
    On a line of two houses a guest need not say which: the stay does.
    """
    desk.enter(LODGE, "07-01", "07-04")

    who = desk.who(utc(2026, 7, 2), line=BOTH)

    assert (who.house, who.verified, who.ask_area) == (LODGE, True, False)


def test_an_open_window_goes_before_a_booking(desk: Desk) -> None:
    """
    Who is in one house and has booked another writes about the one they are in.
    """
    desk.enter(LODGE, "07-01", "07-04")
    desk.enter(FLAT, "07-10", "07-14")

    who = desk.who(utc(2026, 7, 2), line=BOTH)

    assert (who.house, who.verified) == (LODGE, True)


def test_an_open_window_goes_before_one_that_is_over(desk: Desk) -> None:
    """
    On the day of moving from one house to the other, once the first window is over, the second
    counts, though check-out of the first is to come.
    """
    desk.enter(LODGE, "07-01", "07-04", release_until=utc(2026, 7, 3, 20))
    desk.enter(FLAT, "07-04", "07-08")

    who = desk.who(utc(2026, 7, 4, 7), line=BOTH)

    assert (who.house, who.verified) == (FLAT, True)


@pytest.mark.parametrize("now", [utc(2026, 7, 2), utc(2026, 6, 2)], ids=["in both", "booked both"])
def test_two_houses_are_unclear(desk: Desk, now: dt.datetime) -> None:
    """
    Where stays in two houses fit alike, the area is asked for, and nobody is verified until then.
    """
    desk.enter(FLAT, "07-01", "07-04")
    desk.enter(LODGE, "07-01", "07-04")

    who = desk.who(now, line=BOTH)

    assert (who.standing, who.house, who.verified, who.ask_area) == (
        Standing.UNCLEAR,
        None,
        False,
        True,
    )
    assert (who.stay, dict(who.facts)) == (None, {})


def test_the_area_named_decides_between_stays(desk: Desk) -> None:
    """
    Once the guest has named the area, the stay there counts.
    """
    desk.enter(FLAT, "07-01", "07-04")
    desk.enter(LODGE, "07-01", "07-04")

    who = desk.who(utc(2026, 7, 2), line=BOTH, settled=LODGE)

    assert (who.house, who.verified) == (LODGE, True)


def test_the_area_named_verifies_nobody(desk: Desk) -> None:
    """
    A guest of one house who names the other is not verified there, nor is a stranger who names it.
    """
    desk.enter(FLAT, "07-01", "07-04")

    guest = desk.who(utc(2026, 7, 2), line=BOTH, settled=LODGE)
    stranger = desk.who(utc(2026, 7, 2), BEN, line=BOTH, settled=LODGE)

    assert (guest.house, guest.verified) == (FLAT, True)
    assert (stranger.house, stranger.verified, stranger.ask_area) == (LODGE, False, False)


def test_a_stranger_on_a_line_of_two_houses(desk: Desk) -> None:
    """
    The area is asked for; a house of another line cannot be settled on.
    """
    assert desk.who(utc(2026, 7, 2), line=BOTH).ask_area
    assert desk.who(utc(2026, 7, 2), line=BOTH, settled="elsewhere").ask_area


def test_past_stays_in_two_houses(desk: Desk) -> None:
    """
    The one they left last counts, and it gives them nothing.
    """
    desk.enter(FLAT, "07-01", "07-04")
    desk.enter(LODGE, "07-04", "07-06")

    who = desk.who(utc(2026, 7, 8), line=BOTH)

    assert (who.standing, who.house, who.verified) == (Standing.PAST, LODGE, False)


# --- senders that no number vouches for --------------------------------------------------------


@pytest.mark.parametrize(
    "sender",
    [
        "withheld",
        "",
        "HouseCo",
        "1-800-FLOWERS",
        "72345",
        "112",
        "999",
        "+442079460900",  # the line's own
        "+449098790000",  # premium rate, from libphonenumber's metadata
    ],
)
def test_no_number_to_trust(desk: Desk, sender: str) -> None:
    """
    Withheld, a name, a short code, an emergency number, our own, a costly one: never verified, and
    not asked back.
    """
    desk.enter(FLAT, "07-01", "07-04")

    who = desk.who(utc(2026, 7, 2), sender, line=BOTH)

    assert (who.standing, who.verified, who.house, who.ask_area) == (
        Standing.WITHHELD,
        False,
        None,
        False,
    )
    assert desk.who(utc(2026, 7, 2), sender).house == FLAT


@pytest.mark.parametrize("sender", ["+44123", "+999123456789", "+4420794600181234567"])
def test_a_number_of_no_plan_is_a_stranger(desk: Desk, sender: str) -> None:
    """
    A number that no country's plan holds is never verified; it may be new, so it can be asked.
    """
    who = desk.who(utc(2026, 7, 2), sender, line=BOTH)

    assert (who.standing, who.verified, who.ask_area) == (Standing.STRANGER, False, True)


# --- staff ---------------------------------------------------------------------------------------


def employ(desk: Desk, *houses: str, role: str = "staff", left: bool = False) -> None:
    with desk.database.writing() as session:
        session.add(
            Person(
                name="Bea",
                number=BEN,
                role=role,
                houses=list(houses),
                created_at=LONG_BEFORE,
                left_at=LONG_BEFORE if left else None,
            )
        )


def test_staff_are_known_and_not_verified(desk: Desk) -> None:
    """
    A staff number is recognised with its house; codes are for guests.
    """
    employ(desk, FLAT)

    who = desk.who(utc(2026, 7, 2), BEN, line=BOTH)

    assert who.person is not None
    assert (who.standing, who.house, who.verified, who.person.name) == (
        Standing.STAFF,
        FLAT,
        False,
        "Bea",
    )


def test_an_owner_belongs_to_every_house(desk: Desk) -> None:
    """
    An owner on a line of two houses is asked which one.
    """
    employ(desk, role="owner")

    who = desk.who(utc(2026, 7, 2), BEN, line=BOTH)

    assert (who.standing, who.house, who.ask_area) == (Standing.STAFF, None, True)


def test_staff_of_other_houses_or_who_left(desk: Desk) -> None:
    """
    They are strangers here.
    """
    employ(desk, LODGE)
    assert desk.who(utc(2026, 7, 2), BEN).standing is Standing.STRANGER


def test_staff_who_left(desk: Desk) -> None:
    """
    Who has left is a stranger.
    """
    employ(desk, FLAT, left=True)
    assert desk.who(utc(2026, 7, 2), BEN).standing is Standing.STRANGER


def test_staff_on_holiday_in_the_house(desk: Desk) -> None:
    """
    With a stay they are guests, and still known as staff.
    """
    employ(desk, FLAT)
    desk.enter(FLAT, "07-01", "07-04", BEN)

    who = desk.who(utc(2026, 7, 2), BEN)

    assert (who.standing, who.verified) == (Standing.GUEST, True)
    assert who.person is not None


# --- windows of their own ------------------------------------------------------------------------


def test_a_fact_with_its_own_window(desk: Desk) -> None:
    """
    One fact opens the evening before, one only at check-in; the others with the house's window.
    """
    desk.enter(FLAT, "07-01", "07-04")
    rules = {
        FLAT: StayRules(
            release_facts={
                "garage": FactRelease(from_=dt.time(18), days_before=1),
                "boat-shed": FactRelease(from_=dt.time(15), until=dt.time(6)),
            }
        )
    }

    def facts(now: dt.datetime) -> tuple[bool, list[str]]:
        who = desk.who(now, rules=rules)
        return who.verified, sorted(who.facts)

    assert facts(utc(2026, 6, 30, 15, 59)) == (False, [])
    assert facts(utc(2026, 6, 30, 16)) == (False, ["garage"])
    assert facts(utc(2026, 7, 1, 6)) == (True, ["door", "garage"])
    assert facts(utc(2026, 7, 1, 13)) == (True, ["boat-shed", "door", "garage"])
    assert facts(utc(2026, 7, 4, 4)) == (True, ["door", "garage"])


def test_a_fact_outlasts_check_out(desk: Desk) -> None:
    """
    A fact whose own window closes after check-out is told until then, and no other is; whoever
    may be told it is a guest still. Beyond it they are guests of last week.
    """
    desk.enter(FLAT, "07-01", "07-04")
    garage = FactRelease(from_=dt.time(8), until=dt.time(22))
    rules = {FLAT: StayRules(release_facts={"garage": garage})}

    after = desk.who(utc(2026, 7, 4, 19, 59, 59), rules=rules)
    over = desk.who(utc(2026, 7, 4, 20), rules=rules)

    assert (after.standing, after.verified, list(after.facts)) == (
        Standing.GUEST,
        False,
        ["garage"],
    )
    assert after.facts["garage"].end == utc(2026, 7, 4, 20)
    assert (over.standing, list(over.facts)) == (Standing.PAST, [])


def test_a_fact_opens_for_a_booking_too_far_ahead(desk: Desk) -> None:
    """
    A fact's own window makes its guests known, however few `early_days` are.
    """
    desk.enter(FLAT, "07-01", "07-04")
    garage = FactRelease(from_=dt.time(18), days_before=2)
    rules = {FLAT: StayRules(early_days=0, release_facts={"garage": garage})}

    assert desk.who(utc(2026, 6, 29, 15, 59), rules=rules).standing is Standing.STRANGER
    who = desk.who(utc(2026, 6, 29, 16), rules=rules)
    assert (who.standing, list(who.facts)) == (Standing.EARLY, ["garage"])


def test_until_when_secrets_may_be_told(desk: Desk) -> None:
    """
    Several together until the first of their windows closes; not at all if one is closed already.
    """
    desk.enter(FLAT, "07-01", "07-04")
    shed = FactRelease(from_=dt.time(8), until=dt.time(6))
    rules = {FLAT: StayRules(release_facts={"boat-shed": shed})}

    who, later = (desk.who(utc(2026, 7, 4, hour), rules=rules) for hour in (3, 5))

    assert who.told_until(["door", "boat-shed"]) == utc(2026, 7, 4, 4)
    assert who.told_until(["door", OWN_CODE_SECRET]) == utc(2026, 7, 4, 8)
    assert later.told_until(["door", "boat-shed"]) is None
    assert later.told_until(["door"]) == utc(2026, 7, 4, 8)
    assert desk.who(utc(2026, 7, 5)).told_until([OWN_CODE_SECRET]) is None


def test_a_stay_with_its_own_window(desk: Desk) -> None:
    """
    What the host set for these guests goes before the house's rule, at both ends; whose window is
    over before check-out is still a guest, but not verified.
    """
    desk.enter(
        FLAT,
        "07-01",
        "07-04",
        release_from=utc(2026, 6, 30, 20),
        release_until=utc(2026, 7, 3, 20),
    )

    assert not desk.who(utc(2026, 6, 30, 19, 59)).verified
    assert desk.who(utc(2026, 6, 30, 20)).verified
    over = desk.who(utc(2026, 7, 3, 20))
    assert (over.standing, over.verified, dict(over.facts)) == (Standing.GUEST, False, {})

"""Each rule at the top of service/stays/feeds.py, over a feed that is a file, on both databases."""

from __future__ import annotations

import datetime as dt
import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select

from askhouse.values import House
from service.database import Database
from service.stays.feeds import FeedNews, read_feed
from service.stays.settings import FeedSettings
from service.stays.stays import cancel_stay, change_stay, draft_of
from service.tables import Feed, Stay
from tests.service.stays.conftest import utc
from tests.service.stays.test_fetching import SECRET, sends, serving

JUNE = utc(2026, 6, 1, 12)
IN_JULY = utc(2026, 7, 2, 12)  # in the middle of a stay from 1 to 4 July
HOUR = dt.timedelta(hours=1)
PHONE = "+4915123456789"


def event(uid: str, first: str = "0701", last: str = "0704", *lines: str, name: str = "") -> str:
    body = [f"DTSTART;VALUE=DATE:2026{first}", f"DTEND;VALUE=DATE:2026{last}", *lines]
    summary = [f"SUMMARY:{name}"] if name else []
    return "\r\n".join(["BEGIN:VEVENT", f"UID:{uid}", *body, *summary, "END:VEVENT", ""])


def calendar(*events: str, head: str = "") -> bytes:
    return f"BEGIN:VCALENDAR\r\n{head}{''.join(events)}END:VCALENDAR\r\n".encode()


def at(when: dt.datetime) -> Callable[[], dt.datetime]:
    """A clock that stands still."""
    return lambda: when


@dataclass
class Source:
    """A feed of the flat in a file, and a clock that one sets."""

    database: Database
    house: House
    file: Path
    now: dt.datetime = JUNE
    settings: dict[str, Any] = field(default_factory=dict)

    def read(self, *events: str, head: str = "", content: bytes | None = None) -> FeedNews:
        self.file.write_bytes(calendar(*events, head=head) if content is None else content)
        feed = FeedSettings(name="bookings", url=self.file.as_uri(), **self.settings)
        return read_feed(self.database, self.house, feed, at(self.now))

    def stays(self) -> dict[str, Stay]:
        """Those that stand, by UID."""
        with self.database.reading() as session:
            query = select(Stay).where(Stay.cancelled_at.is_(None))
            return {stay.uid: stay for stay in session.scalars(query)}

    def give(self, uid: str, **more: Any) -> None:
        """What the host adds to a stay."""
        with self.database.writing() as session:
            stay = session.scalars(select(Stay).where(Stay.uid == uid)).one()
            houses = {self.house.slug: self.house}
            draft = draft_of(stay)
            change_stay(session, stay.id, type(draft)(**(_fields(draft) | more)), houses)


def _fields(draft: Any) -> dict[str, Any]:
    return {name: getattr(draft, name) for name in draft.__slots__}


@pytest.fixture
def source(database: Database, houses: Mapping[str, House], tmp_path: Path) -> Source:
    return Source(database, houses["quay-flat"], tmp_path / "feed.ics")


def phones(stay: Stay) -> list[str]:
    return [phone.number for phone in stay.phones]


# --- what a feed says --------------------------------------------------------------------------


def test_bookings_become_stays(source: Source) -> None:
    """
    A first reading adds every booking, with names and numbers; the same again changes nothing.
    """
    first = event("a", "0701", "0704", f"DESCRIPTION:Phone: {PHONE}", name="Ada Winter")
    second = event("b", "0710", "0712", name="Not available")

    news = source.read(first, second)

    stay = source.stays()["a"]
    assert (news.added, news.blocked, news.problem, len(source.stays())) == (1, 1, None, 1)
    assert (stay.house, stay.feed, stay.guests) == ("quay-flat", "bookings", ["Ada Winter"])
    assert (stay.arrival, stay.departure) == (dt.date(2026, 7, 1), dt.date(2026, 7, 4))
    assert phones(stay) == [PHONE]
    assert news.stays == (stay.id,)
    source.now += HOUR
    again = source.read(first, second)
    assert (again.added, again.changed, again.cancelled, again.stays) == (0, 0, 0, ())


def test_changed_dates_and_a_number_added(source: Source) -> None:
    """
    The feed's dates hold, its numbers are added, and what the host gave the stay is kept.
    """
    source.read(event("a"))
    source.give("a", phones=("+442079460018",), door_code="5512")
    source.now += HOUR

    news = source.read(event("a", "0702", "0705", f"DESCRIPTION:Phone: {PHONE}"))

    stay = source.stays()["a"]
    assert news.changed == 1
    assert (stay.arrival, stay.departure) == (dt.date(2026, 7, 2), dt.date(2026, 7, 5))
    assert sorted(phones(stay)) == ["+442079460018", PHONE]
    assert stay.door_code == "5512"


@pytest.mark.parametrize("now", [JUNE + HOUR, IN_JULY], ids=["to come", "in progress"])
@pytest.mark.parametrize("head", ["", "METHOD:CANCEL\r\n"], ids=["status", "method"])
def test_cancelled_in_the_feed(source: Source, now: dt.datetime, head: str) -> None:
    """
    What the feed says is cancelled is cancelled, also in progress.
    """
    source.read(event("a"), event("b", "0801", "0802"))
    source.now = now
    status = () if head else ("STATUS:CANCELLED",)
    others = () if head else (event("b", "0801", "0802"),)

    news = source.read(event("a", "0701", "0704", *status), *others, head=head)

    assert news.cancelled == 1
    assert set(source.stays()) == {"b"}


def test_cancelled_and_back(source: Source) -> None:
    """
    A stay that the feed cancelled comes back when the feed names it again, with all it had.
    """
    source.read(event("a"))
    source.give("a", phones=(PHONE,), door_code="5512")
    source.now += HOUR
    source.read(event("a", "0701", "0704", "STATUS:CANCELLED"))
    assert source.stays() == {}
    source.now += HOUR

    news = source.read(event("a"))

    stay = source.stays()["a"]
    assert (news.changed, news.added) == (1, 0)
    assert (phones(stay), stay.door_code) == ([PHONE], "5512")


@pytest.mark.parametrize("later", [dt.timedelta(), HOUR])
def test_cancelled_by_hand_stays_cancelled(source: Source, later: dt.timedelta) -> None:
    """
    A feed does not bring back what someone cancelled, also where that was in the very moment of
    a reading.
    """
    source.read(event("a"))
    with source.database.writing() as session:
        cancel_stay(session, session.scalars(select(Stay)).one().id, source.now + later)

    for _ in range(3):
        source.now += HOUR
        assert source.read(event("a")).changed == 0
    assert source.stays() == {}


def test_what_is_over_is_not_added(source: Source) -> None:
    """
    An event of the past makes no stay: a guest who was erased does not come back.
    """
    assert source.read(event("a", "0501", "0504"), event("b", "0530", "0601")).added == 1
    assert set(source.stays()) == {"b"}


# --- what a feed no longer says ----------------------------------------------------------------


def test_a_stay_to_come_is_missed_for_long_before_it_goes(source: Source) -> None:
    """
    Three good readings without it that cover twelve hours cancel it, and nothing less.
    """
    kept = event("b", "0801", "0802")
    source.read(event("a"), kept)
    missing = []
    for _ in range(13):
        source.now += HOUR
        news = source.read(kept)
        missing.append((news.missing, news.cancelled))

    assert missing[:11] == [(1, 0)] * 11
    assert missing[11] == (0, 1)
    assert set(source.stays()) == {"b"}


def test_few_readings_far_apart_are_too_few(source: Source) -> None:
    """
    After a week's pause the first and second reading without a stay leave it, the third takes it.
    """
    source.read(event("a", "0801", "0802"))
    source.now += dt.timedelta(days=7)

    assert source.read().cancelled == 0
    source.now += dt.timedelta(days=2)
    assert source.read().cancelled == 0
    source.now += dt.timedelta(days=2)
    assert source.read().cancelled == 1


def test_a_stay_that_is_back_is_missed_anew(source: Source) -> None:
    """
    Readings count in a row: one that names it begins the count again.
    """
    kept = event("b", "0801", "0802")
    source.read(event("a"), kept)
    for here in (False,) * 10 + (True,) + (False,) * 11:
        source.now += HOUR
        assert source.read(*((event("a"),) if here else ()), kept).cancelled == 0
    assert set(source.stays()) == {"a", "b"}


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"<html>Sign in</html>",
        calendar(event("b"))[:-30],
        calendar("BEGIN:VEVENT\r\nUID:x\r\nSUMMARY:no start\r\nEND:VEVENT\r\n"),
    ],
    ids=["empty", "a page", "cut off", "an event broken"],
)
def test_bad_readings_cancel_nothing(source: Source, content: bytes) -> None:
    """
    However often a feed comes back broken, nothing is cancelled, and the stays are untouched.
    """
    source.read(event("a"), event("b", "0801", "0802"))
    for _ in range(14):
        source.now += HOUR
        assert source.read(content=content).cancelled == 0
    assert set(source.stays()) == {"a", "b"}


def test_bad_readings_count_for_nothing(source: Source) -> None:
    """
    Fourteen hours of failures and then one good reading without a stay are one reading.
    """
    source.read(event("a"))
    for _ in range(14):
        source.now += HOUR
        source.read(content=b"")
    source.now += HOUR

    assert (source.read().cancelled, set(source.stays())) == (0, {"a"})


@pytest.mark.parametrize("arrived", [utc(2026, 6, 30, 22), IN_JULY], ids=["arrival day", "there"])
def test_a_stay_in_progress_is_never_cancelled_by_absence(
    source: Source, arrived: dt.datetime
) -> None:
    """
    From midnight of arrival day on, a feed that shrinks to nothing takes no stay away.
    """
    source.read(event("a"))
    source.give("a", phones=(PHONE,), door_code="5512")
    source.now = arrived
    for _ in range(14):
        source.now += HOUR
        news = source.read()
        assert (news.cancelled, news.missing) == (0, 1)

    stay = source.stays()["a"]
    assert (phones(stay), stay.door_code) == ([PHONE], "5512")


def test_a_past_stay_is_left_alone(source: Source) -> None:
    """
    Feeds drop what is over; the stay is kept as it was.
    """
    source.read(event("a"))
    source.now = utc(2026, 7, 20)

    news = source.read()

    assert (news.missing, news.cancelled, set(source.stays())) == (0, 0, {"a"})


# --- changed UIDs ------------------------------------------------------------------------------


def test_a_new_uid_for_a_stay_in_progress(source: Source) -> None:
    """
    A guest who is there keeps numbers and code under a new UID, also with a new day of leaving.
    """
    source.read(event("a"))
    source.give("a", phones=(PHONE,), door_code="5512")
    source.now = IN_JULY

    news = source.read(event("z", "0701", "0706"))

    stay = source.stays()["z"]
    assert (news.renamed, news.added, news.cancelled, len(source.stays())) == (1, 0, 0, 1)
    assert (phones(stay), stay.door_code, stay.departure) == ([PHONE], "5512", dt.date(2026, 7, 6))


def test_another_name_while_a_stay_is_in_progress(source: Source) -> None:
    """
    A new booking in another name, for the day on which a stay in progress began, is another
    guest's: it gets nothing of that stay, which keeps standing.
    """
    source.read(event("a", name="Ada Winter"))
    source.give("a", phones=(PHONE,))
    source.now = IN_JULY

    news = source.read(event("z", "0701", "0706", name="Ben Summer"))

    assert (news.added, news.renamed, news.missing) == (1, 0, 1)
    assert {uid: phones(stay) for uid, stay in source.stays().items()} == {"a": [PHONE], "z": []}


def test_a_new_uid_while_the_old_one_is_cancelled(source: Source) -> None:
    """
    The same where the feed names the old UID as cancelled.
    """
    source.read(event("a", name="Ada Winter"))
    source.give("a", phones=(PHONE,))
    source.now = IN_JULY

    source.read(
        event("a", "0701", "0704", "STATUS:CANCELLED"),
        event("z", "0701", "0704", name="Ada Winter"),
    )

    assert {uid: phones(stay) for uid, stay in source.stays().items()} == {"z": [PHONE]}


def test_a_new_uid_before_arrival_with_the_same_name(source: Source) -> None:
    """
    The same days and the same name are the same booking.
    """
    source.read(event("a", name="Ada Winter"))
    source.give("a", phones=(PHONE,), door_code="5512")
    source.now += HOUR

    news = source.read(event("z", name="ada  winter"))

    assert news.renamed == 1
    assert {uid: phones(stay) for uid, stay in source.stays().items()} == {"z": [PHONE]}


@pytest.mark.parametrize(
    ("before", "after", "uids"),
    [
        ("Ada Winter", "Ben Summer", "steady"),
        ("Ada Winter", "Ben Summer", "changing"),
        ("Reserved", "Reserved", "steady"),
        ("Ada Winter", "Reserved", "steady"),
    ],
)
def test_another_guest_for_the_same_days(
    source: Source, before: str, after: str, uids: str
) -> None:
    """
    Who books days that came free does not get the numbers and the code of the guest before, and
    that guest is verified no longer, at once.
    """
    source.settings["uids"] = uids
    source.read(event("a", name=before))
    source.give("a", phones=(PHONE,), door_code="5512")
    source.now += HOUR

    news = source.read(event("z", name=after))

    assert (news.added, news.cancelled, news.renamed) == (1, 1, 0)
    stay = source.stays()["z"]
    assert (phones(stay), stay.door_code, len(source.stays())) == ([], None, 1)


def test_a_feed_that_changes_its_uids(source: Source) -> None:
    """
    Where the operator says so, unnamed bookings are told by their days at every reading.
    """
    source.settings["uids"] = "changing"
    source.read(event("a1"), event("b1", "0801", "0805"))
    source.give("a1", phones=(PHONE,))
    for n in range(2, 5):
        source.now += HOUR
        news = source.read(event(f"a{n}"), event(f"b{n}", "0801", "0805"))
        assert (news.renamed, news.added, news.cancelled) == (2, 0, 0)

    assert {uid: phones(stay) for uid, stay in source.stays().items()} == {"a4": [PHONE], "b4": []}


def test_a_new_booking_takes_nights(source: Source) -> None:
    """
    A missing stay whose nights a new booking takes is gone at once; one in progress is not.
    """
    source.read(event("a"), event("b", "0710", "0714"))
    source.now = IN_JULY

    news = source.read(event("y", "0703", "0706"), event("z", "0712", "0716"))

    assert (news.added, news.cancelled, news.missing) == (2, 1, 1)
    assert set(source.stays()) == {"a", "y", "z"}


def test_two_bookings_for_the_same_days_both_named(source: Source) -> None:
    """
    As long as the feed names both, neither replaces the other.
    """
    source.read(event("a"), event("b"))
    source.now += HOUR

    assert source.read(event("a"), event("b"), event("c")).cancelled == 0
    assert set(source.stays()) == {"a", "b", "c"}


# --- how it fares ------------------------------------------------------------------------------


def test_a_failure_is_kept_and_told(source: Source, caplog: pytest.LogCaptureFixture) -> None:
    """
    The feed's row says what was wrong and when, the log says so once, and a good reading clears
    it. No address is in either.
    """
    caplog.set_level(logging.INFO)
    news = source.read(content=b"<html>")

    with source.database.reading() as session:
        row = session.scalars(select(Feed)).one()
    assert news.problem == row.problem
    assert news.problem is not None
    assert "BEGIN:VCALENDAR" in news.problem
    assert (row.failed_at, row.read_at) == (JUNE, None)
    assert caplog.text.count("bookings") == 1
    source.now += HOUR
    source.read(event("a"))
    with source.database.reading() as session:
        row = session.scalars(select(Feed)).one()
    assert (row.problem, row.read_at) == (None, JUNE + HOUR)
    assert source.file.name not in f"{row.url} {row.name} {caplog.text}"


def test_an_older_reading_comes_too_late(source: Source) -> None:
    """
    Of two processes that read at once, the one that began later counts.
    """
    source.read(event("a"))
    source.now -= HOUR

    assert source.read(event("b")).unchanged
    assert set(source.stays()) == {"a"}


def test_over_http(database: Database, houses: Mapping[str, House]) -> None:
    """
    A feed that says that nothing has changed has named its stays again; while one is missing the
    whole text is asked for, so that it is missed in time.
    """
    house, now = houses["quay-flat"], JUNE
    asked: list[str | None] = []
    state = {"text": calendar(event("a"), event("b", "0801", "0802")), "etag": '"1"'}

    def answer(handler: Any) -> None:
        asked.append(handler.headers.get("If-None-Match"))
        if asked[-1] == state["etag"]:
            return sends(b"", 304)(handler)
        return sends(state["text"], ETag=state["etag"])(handler)

    def stand() -> list[str]:
        with database.reading() as session:
            return list(session.scalars(select(Stay.uid).where(Stay.cancelled_at.is_(None))))

    with serving(answer) as address:
        feed = FeedSettings(name="bookings", url=address)
        news = [read_feed(database, house, feed, at(now))]
        for _ in range(3):
            now += HOUR
            news.append(read_feed(database, house, feed, at(now)))
        assert (news[0].added, [n.unchanged for n in news[1:]]) == (2, [True] * 3)
        state |= {"text": calendar(event("b", "0801", "0802")), "etag": '"2"'}
        for _ in range(11):
            now += HOUR
            assert read_feed(database, house, feed, at(now)).missing == 1
        now += HOUR
        assert read_feed(database, house, feed, at(now)).cancelled == 1
        now += HOUR
        assert read_feed(database, house, feed, at(now)).unchanged

    assert stand() == ["b"]
    assert asked == [None, *['"1"'] * 4, *[None] * 11, '"2"']
    with database.reading() as session:
        assert SECRET not in session.scalars(select(Feed)).one().url


def test_a_new_address_does_not_send_the_old_etag(
    database: Database, houses: Mapping[str, House]
) -> None:
    """
    An ETag belongs to its address.
    """
    asked: list[str | None] = []

    def answer(handler: Any) -> None:
        asked.append(handler.headers.get("If-None-Match"))
        sends(calendar(event("a")), ETag='"1"')(handler)

    with serving(answer) as address:
        for n, more in enumerate(("", "", "&new=1")):
            feed = FeedSettings(name="bookings", url=address + more)
            read_feed(database, houses["quay-flat"], feed, at(JUNE + n * HOUR))

    assert asked == [None, '"1"', None]

"""The week's gaps queued once a week for each contact, of the houses that its person may see."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Iterator
from email.message import EmailMessage
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import trustme
from sqlalchemy import select

from askhouse.values import House
from service.alerts.contact_settings import EmailContact, MailSettings
from service.alerts.mail import EmailSender
from service.bell import Bell
from service.database import Database
from service.gaps.digest_settings import DigestSettings
from service.gaps.sending_digest import Digests, digest_key, week_before
from service.outbox import Outbox
from service.tables import Delivery, Gap, PartRow, Person
from tests.factories import make_house
from tests.service.alerts.receiving import Mailbox, mail_server
from tests.service.gaps.asking import NOON, asked, make_meaning

MINUTE = dt.timedelta(minutes=1)
HOUR = dt.timedelta(hours=1)
DAY = dt.timedelta(days=1)
LINK = "https://host.example/gaps"
MONDAY = dt.datetime(2027, 5, 31, 7, tzinfo=dt.UTC)  # 08:00 in London, the day before NOON
HOUSES = {"ferry-lodge": make_house(), "mill-loft": make_house(slug="mill-loft", name="Mill Loft")}
CONTACTS = {
    "desk": EmailContact(channel="email", address="desk@example.org"),
    "ola": EmailContact(channel="email", address="ola@example.org", person="ola@example.org"),
    "sam": EmailContact(channel="email", address="sam@example.org", person="sam@example.org"),
    "kim": EmailContact(channel="email", address="kim@example.org", person="kim@example.org"),
    "mute": EmailContact(channel="email", address="mute@example.org", may_read=False),
}


def settings(*contacts: str, **more: Any) -> DigestSettings:
    given = {"contacts": contacts or ("desk",), "timezone": "Europe/London", **more}
    return DigestSettings.model_validate(given)


class Service:
    """A process that sends digests, with a clock that is set by hand."""

    def __init__(self, database: Database, *contacts: str, **more: Any) -> None:
        self.now = MONDAY
        self.digests = Digests(
            database,
            settings(*contacts, **more),
            CONTACTS,
            houses=lambda: HOUSES,
            meaning=make_meaning(),
            clock=lambda: self.now,
            link=LINK,
        )

    def step(self, now: dt.datetime) -> bool:
        self.now = now
        return self.digests.step()


@pytest.fixture(autouse=True)
def _people(database: Database) -> None:
    """Ola owns all, Sam looks after the loft, Kim has left."""
    with database.writing() as session:
        for name, role, houses, left in (
            ("Ola", "owner", [], None),
            ("Sam", "staff", ["mill-loft"], None),
            ("Kim", "staff", ["mill-loft"], NOON - 9 * DAY),
        ):
            session.add(
                Person(
                    name=name,
                    email=f"{name.lower()}@example.org",
                    role=role,
                    houses=houses,
                    created_at=NOON - 99 * DAY,
                    left_at=left,
                )
            )


def ask(database: Database, text: str, at: dt.datetime, **more: Any) -> None:
    with database.writing() as session:
        asked(session, text, at=at, **more)


def queued(database: Database) -> list[Delivery]:
    with database.reading() as session:
        return list(session.scalars(select(Delivery).order_by(Delivery.target, Delivery.id)))


def test_once_a_week_at_its_time(database: Database) -> None:
    """
    Not a minute before, once however often it is looked, not again after a restart, and again a
    week later with what was asked in that week alone.
    """
    ask(database, "sauna", MONDAY - DAY)
    ask(database, "iron", MONDAY + DAY)
    service = Service(database)

    assert service.step(MONDAY - MINUTE) is False
    assert queued(database) == []
    assert service.step(MONDAY) is True
    assert service.step(MONDAY + MINUTE) is False
    assert Service(database).step(MONDAY + 3 * DAY) is False
    (mail,) = queued(database)
    assert mail.key == "digest:2027-W22:desk"
    assert (mail.channel, mail.target, mail.urgent, mail.due_at) == ("email", "desk", False, MONDAY)
    assert mail.title == "1 gap guests asked about in the week of 24 May 2027"
    assert "Sauna" in mail.text
    assert LINK in mail.text

    service.step(MONDAY + 7 * DAY)

    first, second = queued(database)
    assert first.id == mail.id
    assert second.key == "digest:2027-W23:desk"
    assert "Iron" in second.text
    assert "Sauna" not in second.text


@pytest.mark.parametrize(
    ("at", "is_sent"),
    [
        # From its hour a week earlier on, and no longer than until its hour.
        (MONDAY - 7 * DAY - MINUTE, False),
        (MONDAY - 7 * DAY, True),
        (MONDAY - MINUTE, True),
        (MONDAY, False),
    ],
)
def test_only_what_was_asked_in_the_week(
    database: Database, at: dt.datetime, is_sent: bool
) -> None:
    """
    A service that was down at the hour sends when it is back, and about that week alone; a week
    without questions has no mail.
    """
    ask(database, "sauna", at)

    Service(database).step(MONDAY + 2 * DAY)

    assert bool(queued(database)) is is_sent


def test_what_was_written_meanwhile_is_left_out(database: Database) -> None:
    """
    A gap that has its fact, or was left out, needs nobody.
    """
    ask(database, "sauna", MONDAY - DAY)
    Service(database).step(MONDAY - HOUR)  # which groups it as well
    with database.writing() as session:
        session.scalars(select(Gap)).one().state = "written"

    Service(database).step(MONDAY)

    assert queued(database) == []


def test_houses_of_the_contacts_person(database: Database) -> None:
    """
    Staff read of their houses, an owner and a contact of no one of all; who has left, nothing.
    """
    ask(database, "sauna", MONDAY - DAY)
    ask(database, "iron", MONDAY - DAY, house="mill-loft", sender="+447700900002")

    Service(database, "desk", "kim", "ola", "sam").step(MONDAY)

    texts = {mail.target: mail.text for mail in queued(database)}
    assert set(texts) == {"desk", "ola", "sam"}
    for all_of_it in (texts["desk"], texts["ola"]):
        assert "Sauna" in all_of_it
        assert "Iron" in all_of_it
    assert "Iron" in texts["sam"]
    assert "auna" not in texts["sam"]
    assert "Ferry Lodge" not in texts["sam"]


def test_staff_whose_houses_were_not_asked_about_get_none(database: Database) -> None:
    """
    No gap that they may see, no mail.
    """
    ask(database, "sauna", MONDAY - DAY)

    assert Service(database, "sam").step(MONDAY) is False
    assert queued(database) == []


def test_who_may_not_read_gets_topics_alone(database: Database) -> None:
    """
    With may_read: false no word of a guest is in it, nor in a gap's name.
    """
    ask(database, "a quiet sauna", MONDAY - DAY)
    ask(database, "password of the harpsichord", MONDAY - DAY, sender="+447700900002")

    Service(database, "mute").step(MONDAY)

    (mail,) = queued(database)
    assert "Sauna" in mail.text
    assert "quiet" not in mail.text
    assert "harpsichord" not in mail.text


def test_words_of_guests_are_not_kept(database: Database) -> None:
    """
    Two hours later the outbox takes them out: an erased guest must not be found in a sent mail.
    """
    ask(database, "a sauna for Wren", MONDAY - DAY)
    Service(database).step(MONDAY)
    assert "Wren" in queued(database)[0].text

    outbox(database, None, MONDAY + 2 * HOUR).sweep()

    (mail,) = queued(database)
    assert mail.text == f"1 gap guests asked about in the week of 24 May 2027: {LINK}"
    assert mail.blotted is None


def test_several_processes_queue_it_once(database: Database) -> None:
    """
    Six look at the same moment; one that was killed between two contacts is gone on from.
    """
    ask(database, "sauna", MONDAY - DAY)
    Service(database, "ola").step(MONDAY)
    services = [Service(database, "desk", "ola", "sam") for _ in range(6)]
    looks = [threading.Thread(target=each.step, args=(MONDAY + MINUTE,)) for each in services]

    for look in looks:
        look.start()
    for look in looks:
        look.join()

    assert [mail.target for mail in queued(database)] == ["desk", "ola"]
    with database.reading() as session:
        assert len(session.scalars(select(Gap)).all()) == 1
        assert session.scalars(select(PartRow.gap_id)).one() is not None


def test_the_same_local_time_all_year() -> None:
    """
    RFC 5545, 3.8.5.3, `DTSTART;TZID=America/New_York:19970902T090000`, `FREQ=WEEKLY;COUNT=10`: nine
    in the morning on Sep 2 to Oct 21 (EDT), Oct 28 and Nov 4 (EST).
    """
    chosen = settings(weekday="tuesday", at="09:00", timezone="America/New_York")
    edt = [(9, 2), (9, 9), (9, 16), (9, 23), (9, 30), (10, 7), (10, 14), (10, 21)]
    expected = [dt.datetime(1997, *day, 13, tzinfo=dt.UTC) for day in edt]
    expected += [dt.datetime(1997, *day, 14, tzinfo=dt.UTC) for day in ((10, 28), (11, 4))]
    now, found = dt.datetime(1997, 9, 2, 13, tzinfo=dt.UTC), []

    while now <= expected[-1]:
        week = week_before(chosen, now)
        if week.end not in found:
            found.append(week.end)
        now += HOUR / 2

    assert found == expected


@pytest.mark.parametrize(
    ("at", "day", "end"),
    [
        # London in 2026 (the tz database): 01:00 to 02:00 is skipped on 29 March, and comes twice
        # on 25 October. RFC 5545, 3.3.5: by the offset before the gap; the first of two.
        ("01:30", (2026, 3, 29), dt.datetime(2026, 3, 29, 1, 30, tzinfo=dt.UTC)),
        ("01:30", (2026, 10, 25), dt.datetime(2026, 10, 25, 0, 30, tzinfo=dt.UTC)),
        ("08:00", (2026, 3, 29), dt.datetime(2026, 3, 29, 7, tzinfo=dt.UTC)),
        ("08:00", (2026, 10, 25), dt.datetime(2026, 10, 25, 8, tzinfo=dt.UTC)),
    ],
)
def test_clock_changes(at: str, day: tuple[int, int, int], end: dt.datetime) -> None:
    """
    One digest on the day of a change, and weeks without gap or overlap around it.
    """
    chosen = settings(weekday="sunday", at=at)

    week = week_before(chosen, end)
    before, after = week_before(chosen, end - MINUTE), week_before(chosen, end + 8 * DAY)

    assert (week.day, week.end) == (dt.date(*day), end)
    assert before.end == week.start
    assert after.start == week.end
    # In the hour that comes twice it is not due a second time.
    assert {week_before(chosen, end + n * MINUTE) for n in range(180)} == {week}


@pytest.mark.parametrize(
    ("day", "named"),
    [
        # The example of Python's datetime.date.isocalendar: ISO year 2004 begins on 29 Dec 2003.
        (dt.date(2003, 12, 29), "2004-W01"),
        (dt.date(2004, 1, 4), "2004-W01"),
        # RFC 5545, 3.3.10: week 1 has four days in its year at least; 2020 began on a Wednesday
        # and was a leap year, so that it had a week 53, in which lies 1 January 2021.
        (dt.date(2021, 1, 1), "2020-W53"),
    ],
)
def test_the_key_names_the_iso_week(day: dt.date, named: str) -> None:
    """
    The year is the week's own: around New Year the calendar's would name two weeks alike.
    """
    weekday = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
    chosen = settings(weekday=weekday[day.weekday()], at="08:00")
    noon = dt.datetime.combine(day, dt.time(12), ZoneInfo("Europe/London"))

    assert digest_key(week_before(chosen, noon), "desk") == f"digest:{named}:desk"


@pytest.fixture
def box() -> Iterator[Mailbox]:
    """A mail server without encryption, on this machine."""
    with mail_server(trustme.CA(), tls=False) as server:
        yield server


def outbox(database: Database, sender: EmailSender | None, now: dt.datetime) -> Outbox:
    return Outbox(database, lambda *_: sender, lambda: now, bell=Bell())


def test_it_arrives(database: Database, box: Mailbox, small_house: House) -> None:
    """
    Over SMTP: subject, words and link; what a guest wrote is no markup in its HTML.
    """
    ask(database, "sauna <script>alert(1)</script>", MONDAY - DAY)
    Service(database).step(MONDAY)
    account = MailSettings(
        host="127.0.0.1", port=box.port, security="none", sender="askhouse@example.org"
    )
    sender = EmailSender(account, "desk@example.org", None, lambda: MONDAY)

    assert outbox(database, sender, MONDAY).send() is True

    (mail,) = box.mails
    assert (mail["To"], mail["Subject"]) == (
        "desk@example.org",
        "1 gap guests asked about in the week of 24 May 2027",
    )
    assert "sauna <script>" in _body(mail, "plain")
    assert "<script>" not in _body(mail, "html")
    assert f'href="{LINK}"' in _body(mail, "html")


def _body(mail: EmailMessage, kind: str) -> str:
    part = mail.get_body((kind,))
    assert isinstance(part, EmailMessage)
    return str(part.get_content())

"""What an alert says: most urgent first, masked, without secrets, short where it costs."""

from __future__ import annotations

from typing import Any

import pytest

from service.alerts.words import KINDS, OWN_WORDS, About, Words, headline, words_for
from service.lines.segments import Encoding, count
from service.tables import Escalation
from tests.service.alerts.staging import (
    ADA,
    DOOR_CODE,
    HOUSE,
    HOUSES,
    NOON,
    SECRET,
    make_settings,
)

LINK = "https://stay.example.org/take/abcdefghijklmnopqrstuv?by=ola-text"


def told(contact: str = "ola-push", **more: Any) -> Words:
    given: dict[str, Any] = {
        "reads": True,
        "link": LINK,
        "reply": "12",
        "round_": 0,
        "about": about(),
        **more,
    }
    return words_for(make_settings().contacts[contact], **given)


def about(**more: Any) -> About:
    alert = {
        "id": 12,
        "kind": "safety",
        "level": "emergency",
        "house": "ferry-lodge",
        "summary": "it smells of gas in the kitchen",
        "created_at": NOON,
    }
    given: dict[str, Any] = {"sender": ADA, "house": HOUSE, "houses": HOUSES}
    own = {name: more.pop(name) for name in list(more) if name in given or name == "door_code"}
    return About(alert=Escalation(**(alert | more)), **(given | own))


def test_an_emergency_as_a_mail_has_it() -> None:
    """All that is needed to act, the gravest first; help is left to the emergency services."""
    assert told("sam-mail") == Words(
        title="EMERGENCY: someone may be in danger, Ferry Lodge",
        text="EMERGENCY: someone may be in danger, Ferry Lodge\n"
        "First make sure that the emergency services (999) are called.\n"
        "From +44••••••••18 at 13:00 on 12 June.\n"
        "“it smells of gas in the kitchen”\n"
        f"Take it, and nobody else is called: {LINK}",
    )


def test_an_emergency_as_a_text_message_has_it() -> None:
    """A text message says the same in one line, and how to take it by a reply."""
    assert told("ola-text").text == (
        "EMERGENCY: someone may be in danger, Ferry Lodge. First make sure that the emergency "
        'services (999) are called. "it smells of gas in the kitchen" From ...18. Reply TAKE 12 '
        f"or {LINK}"
    )
    assert told("ola-text").title == ""


def test_what_can_wait_brings_no_alarm() -> None:
    """Only danger speaks of the emergency services."""
    text = told(about=about(kind="gap", level="soon", summary="is there a hair dryer")).text

    assert text.startswith("When you can: a guest asked what is not written yet, Ferry Lodge\n")
    assert "emergency" not in text.casefold()


def test_another_round_says_so() -> None:
    """Whoever is told again knows that nobody has taken it."""
    assert "again: nobody has taken it" in told(round_=1).title
    assert "again" not in told(round_=0).text


@pytest.mark.parametrize("contact", ["ola-push", "sam-mail", "desk-hook", "ola-text"])
@pytest.mark.parametrize("reads", [True, False])
def test_the_guests_words_go_only_to_who_may_read_them(contact: str, reads: bool) -> None:
    """A contact that may not read gets kind, level and place alone."""
    said = told(contact, reads=reads)

    assert ("gas" in said.text) is reads
    assert ADA not in said.text + said.title
    assert "someone may be in danger" in said.text


@pytest.mark.parametrize("kind", sorted(OWN_WORDS))
def test_askhouses_own_words_are_no_guests(kind: str) -> None:
    """What Askhouse itself says about a failure is told to every contact, and not in quotes."""
    text = told(
        reads=False, about=about(kind=kind, level="urgent", summary="It answered 500.")
    ).text

    assert "\nIt answered 500.\n" in text


@pytest.mark.parametrize("house", [HOUSE, None])
@pytest.mark.parametrize("contact", ["ola-push", "ola-text"])
def test_no_secret_is_in_an_alert(contact: str, house: Any) -> None:
    """A guest may repeat a code or a password: no alert does, whether the house is known or not."""
    summary = f"7318 does not work, nor {SECRET} or {DOOR_CODE}"

    text = told(contact, about=about(summary=summary, house=house, door_code=DOOR_CODE)).text

    assert not any(secret in text for secret in ("7318", SECRET, DOOR_CODE))
    assert "does not work" in text


@pytest.mark.parametrize(
    ("summary", "most"),
    [("gas! " * 30, 3), ("€" * 160, 3), ("größe “naïve” — ☎" * 9, 3), ("x" * 160, 3)],
)
def test_a_text_message_stays_short(summary: str, most: int) -> None:
    """The guest's words are what is shortened; level, place and how to take it never are."""
    text = told("ola-text", about=about(summary=summary)).text

    assert count(text).segments <= most
    assert text.startswith("EMERGENCY: someone may be in danger, Ferry Lodge.")
    assert text.endswith(f"Reply TAKE 12 or {LINK}")


def test_one_odd_quote_does_not_double_the_cost() -> None:
    """Typographic characters of a guest are written plainly, so that GSM-7 holds them."""
    text = told("ola-text", about=about(summary="“the ‘alarm’ beeps” – help…")).text

    assert count(text).encoding is Encoding.GSM_7


def test_without_house_sender_and_address_it_still_says_what_it_is() -> None:
    """Nothing of it is taken for granted: no house, no guest, no link."""
    bare = about(house=None, sender=None, kind="flood", level="soon", summary="More came.")
    bare.alert.house = None

    assert told(about=bare, link=None).text == (
        "When you can: many messages from one guest\nAt 12:00 on 12 June UTC.\nMore came."
    )


def test_every_kind_has_words() -> None:
    """A kind that nobody thought of is told as well."""
    assert headline(about(kind="new", level="urgent")) == "Urgent: something needs you, Ferry Lodge"
    assert all(words[0].islower() for words in KINDS.values())

"""The alerts' sections of the service's file: what is read, what is refused and how it says so."""

from __future__ import annotations

import re
from typing import Any

import pytest

from askhouse.errors import SettingsError
from service.alerts.checks import check_alerts
from service.alerts.contact_settings import AppriseContact
from service.alerts.settings import HouseAlerts, read_alert_settings
from service.stays.settings import StayRules
from tests.service.alerts.staging import HOUSES, LINE, LINES, SECTIONS, make_settings
from tests.service.texting import make_line


def contacts(**one: Any) -> dict[str, Any]:
    return {**SECTIONS["contacts"], "new": one}


def lodge(**more: Any) -> dict[str, Any]:
    return {**SECTIONS["houses"], "ferry-lodge": SECTIONS["houses"]["ferry-lodge"] | more}


def planned(**more: Any) -> dict[str, Any]:
    message = {"name": "hello", "day": "arrival", "at": "09:00", "text": "Welcome!"}
    return lodge(planned=[message | more])


def test_what_a_contact_may_read_by_default() -> None:
    """Push and e-mail hold the guest's words, text messages and webhooks do not unless told to."""
    read = {name: contact.reads for name, contact in make_settings().contacts.items()}

    assert read == {"ola-push": True, "ola-text": False, "sam-mail": True, "desk-hook": False}
    kept = AppriseContact(channel="apprise", url_env="A", may_read=False)
    assert not kept.reads


def test_the_sections_of_stays_and_alerts_make_one_section_of_a_house() -> None:
    """A house's section may be read as both at once, so that one file holds all of it."""

    class HouseSection(StayRules, HouseAlerts):
        """Both."""

    section = HouseSection.model_validate(
        {"release_from": "09:00", "again_minutes": 30, "ladder": [{"contacts": ["sam-mail"]}]}
    )

    settings = make_settings(houses={"ferry-lodge": section})

    assert settings.rules_of("ferry-lodge").again_minutes == 30


@pytest.mark.parametrize(
    ("sections", "said"),
    [
        # A name that is nobody's, a section that is missing.
        (
            {"houses": {"ferry-lodge": {"ladder": [{"contacts": ["sam-mail", "kim"]}]}}},
            "houses.ferry-lodge.ladder[0].contacts: there is no contact kim; name one of",
        ),
        ({"mail": None}, "mail: contacts get e-mail; set host, sender"),
        # One of two ways, never both and never none.
        (
            {"contacts": contacts(channel="webhook", secret_env="A")},
            "contacts.new: set url, or url_env",
        ),
        ({"contacts": contacts(channel="email")}, "contacts.new: set address or address_env"),
        (
            {"contacts": contacts(channel="line", line=LINE)},
            "contacts.new: set number, or person whose number it is",
        ),
        # What is no number, no address, no variable, no channel, no setting.
        (
            {"contacts": contacts(channel="line", line=LINE, number="0171")},
            "contacts.new.number: is no telephone number",
        ),
        (
            {"contacts": contacts(channel="email", address="sam")},
            "contacts.new.address: is no e-mail address; write one such as",
        ),
        (
            {"contacts": contacts(channel="apprise", url_env="json://127.0.0.1/hidden-token")},
            "contacts.new.url_env: String should match pattern",
        ),
        ({"contacts": contacts(channel="fax")}, "contacts.new: Input tag 'fax' found using"),
        (
            {"houses": lodge(quiet_hours={"from": "22:00", "to": "22:00"})},
            "houses.ferry-lodge.quiet_hours: from and to are the same time; leave",
        ),
        (
            {"houses": lodge(again_minutes=0)},
            "houses.ferry-lodge.again_minutes: Input should be greater than 0",
        ),
        ({"alerts": {"base_url": "stay.example.org"}}, "alerts.base_url: is no web address"),
        (
            {"mail": SECTIONS["mail"] | {"user": "a", "password_env": "B"}},
            "mail: a password needs security: starttls or tls",
        ),
        # Templates that cannot be read, or use what is not there.
        (
            {"houses": planned(text="{{ fact('bins') ")},
            "houses.ferry-lodge.planned.0.text: cannot be read as a template",
        ),
        (
            {"houses": planned(text="{{ environ }}")},
            "houses.ferry-lodge.planned.0.text: uses environ, which is not there; use",
        ),
    ],
)
def test_what_is_refused_says_where_and_how_to_mend_it(sections: dict[str, Any], said: str) -> None:
    """Each problem names its field and what to do, and repeats no secret in the wrong place."""
    with pytest.raises(SettingsError, match=re.escape(said)) as raised:
        read_alert_settings(SECTIONS | sections)

    assert "hidden-token" not in str(raised.value)


@pytest.mark.parametrize(
    ("sections", "line", "said"),
    [
        (
            {"contacts": contacts(channel="line", line="quay", number="+442079460042")},
            make_line("ferry-lodge"),
            "contacts.new.line: there is no line quay; name one of lines",
        ),
        (
            {},
            make_line("ferry-lodge", send=None, respond={}),
            f"contacts.ola-text.line: {LINE} cannot send; add send to it",
        ),
        (
            {"houses": {"ferry-lodge": SECTIONS["houses"]["ferry-lodge"]}},
            make_line("ferry-lodge"),
            "houses.pine-hut.ladder: nobody is alerted; name contacts there, or in alerts.ladder",
        ),
        (
            {"houses": planned(text="{{ fact('hot-tub') }}")},
            make_line("ferry-lodge"),
            "houses.ferry-lodge.planned.hello.text: it names a fact that the house does not have",
        ),
        (
            {"houses": planned(texts={"de": "{{ stay.name }}"})},
            make_line("ferry-lodge"),
            "houses.ferry-lodge.planned.hello.texts.de: its template fails",
        ),
        (
            {"houses": planned()},
            make_line("pine-hut"),
            "houses.ferry-lodge.planned: no line of the house can send; add send to one",
        ),
    ],
)
def test_what_fails_with_the_lines_or_the_houses(
    sections: dict[str, Any], line: Any, said: str
) -> None:
    """What could only fail when a guest waits is told at the start."""
    with pytest.raises(SettingsError, match=re.escape(said)):
        check_alerts(make_settings(**sections), HOUSES, {line.name: line}, {})


def test_a_message_that_could_never_be_sent_is_told() -> None:
    """A code whose window opens after the message's use is over is a mistake of the plan."""
    settings = make_settings(houses=planned(text="{{ fact('key-safe') }}"))
    late = {
        "ferry-lodge": StayRules.model_validate(
            {"release_facts": {"key-safe": {"from": "10:00", "days_before": 0, "until": "11:00"}}}
        )
    }
    never = {
        "ferry-lodge": StayRules.model_validate({"release_from": "23:59:59.5", "release_facts": {}})
    }

    check_alerts(settings, HOUSES, LINES, late)
    with pytest.raises(SettingsError, match="release window opens only when"):
        check_alerts(settings, HOUSES, LINES, never)


def test_the_settings_as_they_are_meant() -> None:
    """The settings that these tests use pass every check."""
    check_alerts(make_settings(houses=planned(text="{{ fact('key-safe') }}")), HOUSES, LINES, {})

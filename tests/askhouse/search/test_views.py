"""The short texts under which a fact is found; the secret of a sensitive fact is in none."""

from __future__ import annotations

import re
from collections.abc import Mapping

import pytest
from hypothesis import given
from hypothesis import strategies as st

from askhouse.search.views import views_of, without_secrets
from askhouse.values import House, Section
from tests.factories import make_fact
from tests.house import SECRETS

LONG = "The bins are behind the shed. The recycling goes out every Tuesday. No."


def test_the_first_view_is_title_and_text() -> None:
    """
    The first view is the whole fact; its ways of asking and its sentences are views of their own.
    """
    fact = make_fact("bins", LONG, title="Bins", asks=("where is the rubbish",))

    assert views_of(fact) == (
        f"Bins. {LONG}",
        LONG,
        "Bins",
        "where is the rubbish",
        "The bins are behind the shed.",
        "The recycling goes out every Tuesday.",
    )


def test_a_note_is_found_by_each_step() -> None:
    """
    Every section and every step of a note is a view, under the note's title.
    """
    section = Section("Laying the fire", "It is quick.", ("Open both levers.", "Lay two logs."))
    fact = make_fact("stove", "Short.", title="The stove", sections=(section,))

    assert views_of(fact)[-3:] == (
        "The stove: Laying the fire. It is quick.",
        "The stove: Open both levers.",
        "The stove: Lay two logs.",
    )
    untitled = make_fact("stove", "Short.", title="The stove", sections=(Section("", "Stay."),))
    assert views_of(untitled)[-1] == "The stove: Stay."


def test_a_step_is_not_parted_from_its_own_sentence(grown_house: House) -> None:
    """
    No view ends with the number of the step behind it, or is a number.
    """
    views = views_of(grown_house.fact("stove"))

    assert "Open both levers." in views
    assert "Laying the fire" in views
    assert [view for view in views[2:] if re.search(r"(?:^|\s)\d+\.$", view)] == []


def test_no_view_is_there_twice_or_empty() -> None:
    """
    A title that is also a way of asking is one view; an empty one is none.
    """
    fact = make_fact("bins", "Bins", title="Bins", asks=("Bins", "  "))

    assert views_of(fact) == ("Bins. Bins", "Bins")


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        # What follows "code is", "password:" and the like.
        ("The code is 4826, then the green key.", "The code is …, then the green key."),
        ("Wi-Fi password: heronlantern", "Wi-Fi password: …"),
        ("The password of the house Wi-Fi is blue-heron.", "The password of the house Wi-Fi is …."),
        ("The password for both networks is blueheron", "The password for both networks is …"),
        ("The Wi-Fi key is Heron!blau, with a capital H.", "The Wi-Fi key is …, with a capital H."),
        # A point inside a password is part of it, at its end it is not.
        ("The password is prickly.pear. It is new.", "The password is …. It is new."),
        # Any token with a digit, wherever it stands.
        ("Set the wheels to 4826 and pull.", "Set the wheels to … and pull."),
        ("Press C, then 7-1-8.", "Press C, then …"),
        ("The wheels are 4 8 2 6", "The wheels are … … … …"),
        ("The pad wants C4826Y", "The pad wants …"),
        # Capitals, and what stands in quotation marks.
        ("Turn the letters to HERON", "Turn the letters to …"),
        (
            "Tell the guard the word 'silver-tip' at the gate.",
            "Tell the guard the word … at the gate.",
        ),
        ("Say “blue heron” at the gate.", "Say … at the gate."),
        # Nothing secret, nothing lost.
        ("Don't let the guard's dog out.", "Don't let the guard's dog out."),
    ],
)
def test_a_secret_is_cut_from_the_text(text: str, shown: str) -> None:
    """
    What a host writes as a secret is an ellipsis in the views, and what surrounds it stays.
    """
    assert without_secrets(text) == shown


PASSWORDS = st.from_regex(r"[A-Za-z0-9!#+&._-]{4,20}[A-Za-z0-9]", fullmatch=True)
SAID = st.sampled_from(
    [
        "The Wi-Fi password is {}.",
        "Wi-Fi password: {}, all in small letters.",
        "The password of the wireless network is {} and nothing else.",
        "The code is {}.\nPress the green key.",
        "The passphrase for guests is {}",
        "The combination = {}; turn left first.",
        "Tell the guard the word '{}'.",
    ]
)


@given(PASSWORDS, SAID)
def test_no_password_is_in_any_view(password: str, said: str) -> None:
    """
    However a password looks, none of the usual ways to write it down lets it into a view.
    """
    fact = make_fact("wifi", said.format(password), title="Wi-Fi", sensitive=True)

    assert all(password not in view for view in views_of(fact))


def test_the_small_houses_keep_their_secrets(small_house: House, grown_house: House) -> None:
    """
    Neither form of the house lets the door code or the password into a view.
    """
    for house in (small_house, grown_house):
        views = [view for fact in house.facts for view in views_of(fact)]

        assert any("password" in view for view in views)
        assert not any(secret in view for secret in SECRETS for view in views)


def test_the_steps_of_a_sensitive_note_are_no_views() -> None:
    """
    A code may stand in any step, so a sensitive note is found by its text without codes alone.
    """
    section = Section("", "", ("Press HERON on the pad.",))
    fact = make_fact("pad", "Press 4826 on the pad.", sensitive=True, sections=(section,))

    assert not any("HERON" in view or "4826" in view for view in views_of(fact))


def test_every_fact_of_the_demo_houses_is_found_under_something(
    demo_houses: Mapping[str, House],
) -> None:
    """
    Each fact has a view that says more than its title.
    """
    for house in demo_houses.values():
        for fact in house.facts:
            assert len(views_of(fact)) >= 2, fact.id

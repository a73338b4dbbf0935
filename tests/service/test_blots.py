"""Secrets taken out of what is kept, however the text was cut."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from askhouse.values import House
from service.blots import blotted, guest_words
from service.lines.segments import plain
from tests.askhouse.test_secrets import secrets, shown  # noqa: F401 (a fixture)
from tests.factories import make_fact, make_house
from tests.house import DOOR_CODE, SECRETS, WIFI_PASSWORD


def test_what_was_told_stays_readable(small_house: House) -> None:
    """
    The sentence is there without the code; facts without a secret stay as they are.
    """
    text = " ".join(fact.text for fact in small_house.facts[:3])

    assert blotted(text, small_house.facts) == (
        "The Wi-Fi password is •••, all in small letters. The blue door opens with ••• then the "
        "green key. The bins are behind the boat shed. The recycling goes out every Tuesday by "
        "07:30."
    )


@pytest.mark.parametrize("slug", ["forest-cabin", "harbour-flat", "orchard-barn"])
def test_no_cut_of_a_sensitive_fact_keeps_its_secret(
    demo_houses: Mapping[str, House],
    secrets: Mapping[str, tuple[str, ...]],  # noqa: F811
    slug: str,
) -> None:
    """
    Wherever a text message ends or begins, in typographic or plain writing: no secret is left.
    """
    house = demo_houses[slug]
    count = 0
    for fact in house.facts:
        words = fact.text.split() if fact.sensitive else []
        for start in range(len(words)):
            for end in (start + 1, start + 4, len(words)):
                for text in (" ".join(words[start:end]), plain(" ".join(words[start:end]))):
                    count += 1
                    assert shown(blotted(text, house.facts), secrets[slug]) == []
    assert count > 200


def test_a_stays_own_code_goes_too(small_house: House) -> None:
    """
    A secret that no fact holds is named, and blotted as a whole word only.
    """
    assert blotted("Press 7193, then 71935.", small_house.facts, "7193", None) == (
        "Press •••, then 71935."
    )


def test_a_secret_of_common_words_loses_its_order() -> None:
    """
    Where the words of a passphrase stand elsewhere in the fact too, its sentence is blotted.
    """
    fact = make_fact(
        "wifi", "The password is blue door key. The key of the blue door is there.", sensitive=True
    )

    assert "blue door key" not in blotted(fact.text, [fact])


def test_guests_may_repeat_a_code(small_house: House) -> None:
    """
    In a guest's own words codes are blotted in any case, and numbers of people are not.
    """
    text = f"We are 2. Is {WIFI_PASSWORD.upper()} right? And {DOOR_CODE}?"

    words = guest_words(text, small_house)

    assert words == "We are 2. Is ••• right? And •••?"
    assert not [secret for secret in SECRETS if secret.lower() in words.lower()]


def test_plain_words_of_a_sensitive_fact_are_no_secret() -> None:
    """
    "porch" may be part of where a key hangs; a guest who asks about the porch is not censored.
    """
    fact = make_fact("key", "The number is on the porch post 88. Its code is 4719.", sensitive=True)

    assert guest_words("is the porch lit", make_house(fact)) == "is the porch lit"

"""Which texts seem to give a code away."""

from __future__ import annotations

import pytest

from askhouse.knowledge.sensitive import looks_sensitive


@pytest.mark.parametrize(
    "text",
    [
        # codes as people write them
        "The door code is 4471.",
        "Your code is 4418 followed by the check mark button.",
        "Open the key safe with C5580 and pull the lever.",
        "The padlock opens with 6-6-1-9.",
        "The combination lock is set to 7-1-8.",
        "C 5 0 8 is the code.",
        "Dial 3908 on the grey key box.",
        "The keypad wants 371925 and the tick.",
        # passwords are said after "is" or a colon
        "The Wi-Fi password is porchswing, all lower case.",
        "Network Mill, password: sluice",
        'The password of the guest network is "farine-et-eau".',
        # a value that is one
        "The network asks for {wifi_password}.",
        "Set the wheels to {key_safe_code}.",
        "{door.code}",
    ],
)
def test_a_code_in_a_text_is_noticed(text: str) -> None:
    """
    A lock with digits beside it, a password that is said, or a value called so, looks sensitive.
    """
    assert looks_sensitive(text)


@pytest.mark.parametrize(
    "text",
    [
        # where a code is, or that there is one
        "The door code is in your booking message.",
        "The password is printed under the router.",
        "The password is on the fridge.",
        "The lock has a four-digit code.",
        # numbers that open nothing
        "The postcode for the satnav is 45612.",
        "If the boiler shows error code 412, press reset.",
        "The key safe is 150 cm up the wall.",
        "Check in is from 16:00 with the keypad.",
        "In an emergency call 112; the key box is by the door.",
        "Dial 0131 496 0123 for a taxi.",
        "Enter the tunnel 300 metres on.",
        "Set the oven to 180 degrees.",
        "The network is called {wifi_name}.",
        "{codes_of_conduct}",
        "",
    ],
)
def test_other_numbers_are_left_alone(text: str) -> None:
    """
    Places, phone numbers, measures and times beside the word "code" do not look sensitive.
    """
    assert not looks_sensitive(text)


def test_any_of_several_texts_is_enough() -> None:
    """
    A caution can give a code away as well as the text above it.
    """
    assert looks_sensitive("The gate is green.", "Do not press the code 4471 twice.")

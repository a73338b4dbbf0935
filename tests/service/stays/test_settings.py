"""What an operator may set for a house's stays."""

from __future__ import annotations

import datetime as dt

import pytest
from pydantic import ValidationError

from askhouse.errors import SettingsError
from service.stays.settings import FeedSettings, StayRules, rules_of

SECRET = "https://feeds.example/k9-secret.ics"


def test_a_house_without_rules_has_the_defaults() -> None:
    """
    08:00 of arrival day, until check-out.
    """
    rules = rules_of("quay-flat", {})

    assert (rules.release_from, rules.release_until, rules.feeds) == (dt.time(8), None, ())


def test_as_written_in_the_file() -> None:
    """
    The section reads as an operator writes it.
    """
    rules = StayRules.model_validate(
        {
            "release_from": "14:00",
            "release_facts": {"garage": {"from": "18:00", "days_before": 1}},
            "area": "the harbour",
            "feeds": [{"name": "bookings", "url_env": "QUAY_FEED"}],
        }
    )

    assert rules.release_facts["garage"].from_ == dt.time(18)
    assert rules.feeds[0].address({"QUAY_FEED": SECRET}) == SECRET


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"feeds": [{"name": "a"}]}, "url or, better, in url_env"),
        ({"feeds": [{"name": "a", "url": SECRET, "url_env": "X"}]}, "one of them"),
        ({"feeds": [{"name": "a", "url_env": "X"}] * 2}, "same name"),
        ({"feeds": [{"name": "a", "url_env": "X", "blocked": "("}]}, "not a regular expression"),
        ({"feeds": [{"name": "A B", "url_env": "X"}]}, "pattern"),
        ({"relase_from": "08:00"}, "Extra inputs"),
        ({"release_from": "25:00"}, "time"),
        ({"early_days": -1}, "greater than or equal to 0"),
    ],
)
def test_mistakes_are_named(given: dict[str, object], said: str) -> None:
    """
    A setting that cannot be used says so when it is read, and shows no feed's address.
    """
    with pytest.raises(ValidationError, match=said) as raised:
        StayRules.model_validate(given)
    assert "k9-secret" not in str(raised.value)


def test_an_address_is_not_shown() -> None:
    """
    Neither the settings nor an error about them shows a feed's address.
    """
    feed = FeedSettings(name="bookings", url="gopher://feeds.example/k9-secret")

    assert "k9-secret" not in repr(StayRules(feeds=(feed,)))
    with pytest.raises(SettingsError, match="must begin with https") as raised:
        feed.address({})
    assert "k9-secret" not in str(raised.value)


def test_a_variable_that_is_not_set() -> None:
    """
    The variable is named, so that it can be set.
    """
    with pytest.raises(SettingsError, match="QUAY_FEED is not set"):
        FeedSettings(name="bookings", url_env="QUAY_FEED").address({})

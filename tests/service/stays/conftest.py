"""What the tests of stays share: two houses, and times in UTC."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

import pytest

from askhouse.values import House
from tests.factories import make_fact, make_house


def utc(*when: Any) -> dt.datetime:
    """A time in UTC."""
    return dt.datetime(*when, tzinfo=dt.UTC)


@pytest.fixture
def houses() -> Mapping[str, House]:
    """A flat in Berlin's time with three sensitive facts, and a lodge in London's."""
    facts = (
        make_fact("door", sensitive=True),
        make_fact("garage", sensitive=True),
        make_fact("boat-shed", sensitive=True),
        make_fact("bins"),
    )
    flat = make_house(
        *facts,
        slug="quay-flat",
        country="DE",
        timezone="Europe/Berlin",
        check_in=dt.time(15),
        check_out=dt.time(10),
        emergency_number="112",
        call_back="+49 30 5550123",
    )
    lodge = make_house(make_fact("door", sensitive=True))
    return {flat.slug: flat, lodge.slug: lodge}

"""What a shell asks of stays."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path

import pytest

from askhouse.values import House
from service.database import Database
from service.stays.commands import add, cancel, import_file, list_lines, news_line, read_feeds
from service.stays.drafts import Draft
from service.stays.errors import StayError
from service.stays.settings import FeedSettings, StayRules
from service.stays.stays import When
from tests.service.stays.conftest import utc

NOW = utc(2026, 6, 1, 12)
DRAFT = Draft(
    house="quay-flat",
    arrival=dt.date(2026, 7, 1),
    departure=dt.date(2026, 7, 4),
    guests=("Ada Winter",),
    phones=("+44 20 7946 0018",),
    door_code="5512",
)


def test_add_list_cancel(database: Database, houses: Mapping[str, House]) -> None:
    """
    A stay is shown in a line with its number, and without its code.
    """
    draft = Draft(
        **{**{n: getattr(DRAFT, n) for n in DRAFT.__slots__}, "phones": ("+442079460018",)}
    )
    added = add(database, draft, houses, NOW)
    stay_id = int(added.split()[1])
    line = f"{stay_id} quay-flat 2026-07-01 to 2026-07-04; Ada Winter; +442079460018; own door code"

    assert added == f"added: {line}"
    assert list_lines(database, houses, NOW) == [line]
    assert list_lines(database, houses, NOW, when=When.PAST) == []
    assert cancel(database, stay_id, NOW) == f"cancelled: {line}; cancelled"
    assert list_lines(database, houses, NOW) == []


def test_import(database: Database, houses: Mapping[str, House], tmp_path: Path) -> None:
    """
    A file is imported whole; a problem names it as the host does.
    """
    file = tmp_path / "stays.csv"
    file.write_text("house,arrival,departure\nquay-flat,2026-07-01,2026-07-04\n")
    assert import_file(database, file, houses, NOW) == "1 added, 0 changed, 0 as they were"

    file.write_text("house,arrival,departure\nquay-flat,2026-07-01,\n")
    with pytest.raises(StayError, match=f"{file}:2: departure is empty"):
        import_file(database, file, houses, NOW)


def test_every_feed_is_read(
    database: Database, houses: Mapping[str, House], tmp_path: Path
) -> None:
    """
    One that fails is told, and does not keep the next from being read.
    """
    file = tmp_path / "feed.ics"
    file.write_text(
        "BEGIN:VCALENDAR\nBEGIN:VEVENT\nUID:a\nDTSTART;VALUE=DATE:20260701\nEND:VEVENT\n"
        "BEGIN:VEVENT\nUID:b\nEND:VEVENT\nEND:VCALENDAR\n"
    )
    rules = {
        "quay-flat": StayRules(
            feeds=(
                FeedSettings(name="unset", url_env="QUAY_FEED"),
                FeedSettings(name="gone", url="file:///nowhere/k9-secret.ics"),
                FeedSettings(name="bookings", url=file.as_uri()),
            )
        )
    }

    lines = [news_line(*news) for news in read_feeds(database, houses, rules, lambda: NOW)]

    assert lines == [
        "quay-flat unset: not read: feed unset: the variable QUAY_FEED is not set; set it",
        "quay-flat gone: not read: its file cannot be read (FileNotFoundError)",
        "quay-flat bookings: 1 added, 1 events unread",
    ]

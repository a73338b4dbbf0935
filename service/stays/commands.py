"""What a shell asks of stays, as plain functions: each does one thing and gives lines to print.

Names and numbers are the host's own, and shown to them; door codes are not.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from pathlib import Path

from askhouse.errors import SettingsError
from askhouse.values import House
from service.database import Database
from service.stays.csv_file import import_csv
from service.stays.drafts import Draft
from service.stays.feeds import FeedNews, read_feed
from service.stays.settings import StayRules, rules_of
from service.stays.stays import When, add_stay, cancel_stay, list_stays
from service.tables import Stay

__all__ = ["add", "cancel", "import_file", "line_of", "list_lines", "news_line", "read_feeds"]


def add(database: Database, draft: Draft, houses: Mapping[str, House], now: dt.datetime) -> str:
    """Adds a stay, or changes the one of that reference.

    Raises:
        StayError: Something in it cannot be used; names everything.
    """
    with database.writing() as session:
        saved = add_stay(session, draft, houses, now)
        return f"{saved.done}: {line_of(saved.stay)}"


def list_lines(
    database: Database,
    houses: Mapping[str, House],
    now: dt.datetime,
    *,
    when: When | None = None,
    days: int | None = None,
    cancelled: bool = False,
) -> list[str]:
    """A line for each stay of these houses, by arrival."""
    with database.reading() as session:
        found = list_stays(session, houses, now, when=when, days=days, cancelled=cancelled)
        return [line_of(stay) for stay in found]


def cancel(database: Database, stay_id: int, now: dt.datetime) -> str:
    """Cancels a stay for good.

    Raises:
        UnknownStayError: There is no such stay.
    """
    with database.writing() as session:
        return f"cancelled: {line_of(cancel_stay(session, stay_id, now))}"


def import_file(
    database: Database, path: Path, houses: Mapping[str, House], now: dt.datetime
) -> str:
    """Imports a CSV file, all of it or nothing.

    Raises:
        StayError: Something in it cannot be used; names everything, by line.
        OSError: The file cannot be read.
    """
    content = path.read_bytes()
    with database.writing() as session:
        done = import_csv(session, content, houses, now, str(path))
    return f"{done.added} added, {done.changed} changed, {done.same} as they were"


def read_feeds(
    database: Database,
    houses: Mapping[str, House],
    rules: Mapping[str, StayRules],
    clock: Callable[[], dt.datetime],
) -> list[tuple[str, FeedNews]]:
    """Reads every feed of these houses: the house's slug, and what came of it.

    One that fails does not keep the others from being read.
    """
    every = []
    for slug, house in houses.items():
        for feed in rules_of(slug, rules).feeds:
            try:
                news = read_feed(database, house, feed, clock)
            except SettingsError as error:
                news = FeedNews(feed=feed.name, problem=str(error))
            every.append((slug, news))
    return every


def news_line(slug: str, news: FeedNews) -> str:
    """One reading of a feed in a line."""
    head = f"{slug} {news.feed}:"
    if news.problem is not None:
        return f"{head} not read: {news.problem}"
    if news.unchanged:
        return f"{head} as it was"
    counts = {
        "added": news.added,
        "changed": news.changed,
        "under a new UID": news.renamed,
        "cancelled": news.cancelled,
        "missing and kept": news.missing,
        "events unread": news.unread,
        "blocked": news.blocked,
    }
    told = ", ".join(f"{count} {what}" for what, count in counts.items() if count)
    return f"{head} {told or 'nothing new'}"


def line_of(stay: Stay) -> str:
    """A stay in a line."""
    parts = [
        f"{stay.id} {stay.house} {stay.arrival} to {stay.departure}",
        ", ".join(stay.guests),
        ", ".join(phone.number for phone in stay.phones) or "no number",
        f"feed {stay.feed}" if stay.feed else "",
        "own door code" if stay.door_code else "",
        "cancelled" if stay.cancelled_at else "",
    ]
    return "; ".join(part for part in parts if part)

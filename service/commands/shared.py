"""What these commands share: the database they work on, the clock, and whose number is meant."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Annotated

import typer

from askhouse.errors import SettingsError

if TYPE_CHECKING:
    from service.database import Database

__all__ = ["WHO", "AsSentOption", "DatabaseOption", "number_of", "opened", "utc_now"]

WHO = "command"
"""As the trail names whoever sits at the shell."""

_NO_COUNTRY = "ZZ"  # so that a number without its country's code is none

DatabaseOption = Annotated[
    str,
    typer.Option(
        "--database",
        envvar="ASKHOUSE_DATABASE",
        show_envvar=True,
        help="sqlite:///FILE or postgresql+psycopg://USER@HOST/NAME.",
    ),
]
AsSentOption = Annotated[
    bool,
    typer.Option("--as-sent", help="Take the number as it stands: a short code, a sender's name."),
]


@contextmanager
def opened(url: str) -> Iterator[Database]:
    """The database, closed afterwards.

    Raises:
        SettingsError: There is none at that URL.
    """
    from service.database import Database, open_engine
    from service.privacy.snapshots import is_empty

    if is_empty(url):
        raise SettingsError(
            "there is no database there yet: start the service once, which makes it, or give "
            "another with --database"
        )
    database = Database(open_engine(url))
    try:
        yield database
    finally:
        database.close()


def utc_now() -> dt.datetime:
    """What time it is."""
    return dt.datetime.now(dt.UTC)


def number_of(written: str, as_sent: bool) -> str:
    """The number as messages are kept under it.

    Raises:
        SettingsError: It is no telephone number.
    """
    from service.lines.numbers import e164

    number = written.strip() if as_sent else e164(written, _NO_COUNTRY)
    if number is None:
        raise SettingsError(
            "that is no telephone number: begin with + and the country's code; for a short code "
            "or a sender's name, add --as-sent"
        )
    return number

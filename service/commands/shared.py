"""What these commands share: the database they work on, the clock, and whose number is meant."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from askhouse.errors import SettingsError
from service.clock import utc_now

if TYPE_CHECKING:
    from service.database import Database

__all__ = [
    "WHO",
    "AsSentOption",
    "DatabaseOption",
    "FileOption",
    "number_of",
    "opened",
    "recorded",
    "url_of",
]

WHO = "command"
"""As the trail names whoever sits at the shell."""

_NO_COUNTRY = "ZZ"  # so that a number without its country's code is none

DatabaseOption = Annotated[
    str | None,
    typer.Option(
        "--database",
        envvar="ASKHOUSE_DATABASE",
        show_envvar=True,
        help="sqlite:///FILE or postgresql+psycopg://USER@HOST/NAME; beside the houses if none.",
    ),
]
FileOption = Annotated[
    Path | None,
    typer.Option(
        "--service-file",
        envvar="ASKHOUSE_SERVICE_FILE",
        show_envvar=True,
        help="The service's file, with its lines and houses.",
    ),
]
AsSentOption = Annotated[
    bool,
    typer.Option("--as-sent", help="Take the number as it stands: a short code, a sender's name."),
]


@contextmanager
def opened(url: str | None) -> Iterator[Database]:
    """The database, closed afterwards.

    Raises:
        SettingsError: There is none at that URL.
    """
    from service.database import Database, open_engine
    from service.privacy.snapshots import is_empty

    url = url_of(url)
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


def url_of(given: str | None) -> str:
    """The database that is meant: the one given, or the one beside the houses."""
    from service.settings import read_service_settings

    return given or read_service_settings().database_url


def recorded(database: Database, did: str, subject: str) -> None:
    """Writes into the trail what the shell did."""
    from service.privacy.trail import record

    with database.writing() as session:
        record(session, WHO, did, subject, {}, utc_now())


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

"""askhouse stays: the bookings, entered, listed, cancelled, imported, read from feeds."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from askhouse.commands.shared import (
    EXIT_PROBLEMS,
    KnowledgeOption,
    err,
    knowledge_folder,
    out,
    read_library,
)
from service.clock import utc_now
from service.commands.shared import (
    WHO,
    DatabaseOption,
    FileOption,
    opened,
    recorded,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from askhouse.values import House

__all__ = ["stays"]

stays = typer.Typer(help="The bookings, and who is in them.", no_args_is_help=True)

Day = Annotated[dt.datetime, typer.Argument(formats=["%Y-%m-%d"])]


def _houses(knowledge: Path | None) -> Mapping[str, House]:
    return read_library(knowledge_folder(knowledge)).houses


def _say(line: str) -> None:
    out.print(line, markup=False, highlight=False, soft_wrap=True)


@stays.command()
def add(
    house: Annotated[str, typer.Argument(help="The house's slug.")],
    arrival: Day,
    departure: Day,
    database: DatabaseOption = None,
    guest: Annotated[list[str] | None, typer.Option(help="A guest's name; repeat.")] = None,
    phone: Annotated[list[str] | None, typer.Option(help="A guest's number; repeat.")] = None,
    door_code: Annotated[str | None, typer.Option(help="The stay's own code.")] = None,
    reference: Annotated[
        str | None, typer.Option(help="Your own name for the booking; the same changes it.")
    ] = None,
    knowledge: KnowledgeOption = None,
) -> None:
    """Add a stay, or change the one of that reference."""
    from service.stays.commands import add as added
    from service.stays.drafts import Draft

    draft = Draft(
        house=house,
        arrival=arrival.date(),
        departure=departure.date(),
        guests=tuple(guest or ()),
        phones=tuple(phone or ()),
        door_code=door_code,
        reference=reference,
    )
    with _told(), opened(database) as memory:
        _say(added(memory, draft, _houses(knowledge), utc_now()))
        recorded(memory, "stay.add", f"house:{house}")


@stays.command(name="list")
def list_stays(
    database: DatabaseOption = None,
    cancelled: Annotated[bool, typer.Option("--cancelled", help="Also those cancelled.")] = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """List the stays, by arrival; door codes are not shown."""
    from service.stays.commands import list_lines

    with opened(database) as memory:
        lines = list_lines(memory, _houses(knowledge), utc_now(), cancelled=cancelled)
    for line in lines or ["no stays yet: add one with `askhouse stays add`"]:
        _say(line)


@stays.command()
def cancel(
    stay_id: Annotated[int, typer.Argument(help="As `askhouse stays list` numbers it.")],
    database: DatabaseOption = None,
) -> None:
    """Cancel a stay for good."""
    from service.stays.commands import cancel as cancelled

    with _told(), opened(database) as memory:
        _say(cancelled(memory, stay_id, utc_now()))
        recorded(memory, "stay.cancel", f"stay:{stay_id}")


@stays.command(name="import")
def import_stays(
    file: Annotated[Path, typer.Argument(help="CSV: house, arrival, departure, guests, phones.")],
    database: DatabaseOption = None,
    knowledge: KnowledgeOption = None,
) -> None:
    """Import stays from CSV: all of them, or none and every problem at once."""
    from service.stays.commands import import_file

    with _told(), opened(database) as memory:
        _say(import_file(memory, file, _houses(knowledge), utc_now()))
        recorded(memory, "stay.import", WHO)


@stays.command()
def feeds(
    database: DatabaseOption = None,
    service_file: FileOption = None,
    knowledge: KnowledgeOption = None,
) -> None:
    """Read the iCalendar feeds of the service's file now."""
    from service.service_file import read_service_file
    from service.stays.commands import news_line, read_feeds

    rules = read_service_file(service_file).rules
    with opened(database) as memory:
        news = read_feeds(memory, _houses(knowledge), rules, utc_now)
    for slug, one in news:
        _say(news_line(slug, one))
    if not news:
        _say("no feeds: name them in the service's file, under houses.SLUG.feeds")
    if any(one.problem is not None for _, one in news):
        raise typer.Exit(EXIT_PROBLEMS)


class _told:  # noqa: N801 (a block, read as a verb)
    """What cannot be used is listed, and the command ends with the code for problems."""

    def __enter__(self) -> None:
        pass

    def __exit__(self, kind: object, error: BaseException | None, trace: object) -> None:
        from askhouse.knowledge.problems import listing
        from service.stays.errors import StayError, UnknownStayError

        if isinstance(error, StayError):
            err.print(listing(error.problems), markup=False, highlight=False, soft_wrap=True)
            raise typer.Exit(EXIT_PROBLEMS) from None
        if isinstance(error, UnknownStayError):
            err.print("there is no such stay: see `askhouse stays list`", style="red")
            raise typer.Exit(EXIT_PROBLEMS) from None

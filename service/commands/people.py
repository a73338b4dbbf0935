"""askhouse people: who signs in, and a new link for someone who forgot the password."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from askhouse.commands.shared import err, out
from askhouse.errors import SettingsError
from service.clock import utc_now
from service.commands.shared import WHO, DatabaseOption, FileOption, opened

if TYPE_CHECKING:
    from sqlalchemy.orm import Session

    from service.tables import Person

__all__ = ["people"]

people = typer.Typer(help="Who signs in, and how they get in again.", no_args_is_help=True)

_OWNER = "owner"


@people.command()
def link(
    who: Annotated[
        str,
        typer.Argument(metavar="EMAIL|owner", help="Whose: an e-mail address, or the only owner."),
    ],
    database: DatabaseOption = None,
    service_file: FileOption = None,
) -> None:
    """Make a link that sets someone's password, once; earlier links no longer open."""
    from service.access.sign_in import INVITATION, new_link
    from service.privacy.trail import record

    base_url = _base_url(service_file)
    now = utc_now()
    with opened(database) as opened_database, opened_database.writing() as session:
        person = _person(session, who)
        key = new_link(session, person, now, INVITATION)
        record(session, WHO, "person.link", f"person:{person.id}", {}, now)
    err.print(f"It works once, for {INVITATION.days} days; the old password does until then.")
    out.print(f"{base_url}/start/{key}", markup=False, highlight=False, soft_wrap=True)


@people.command(name="list")
def list_people(database: DatabaseOption = None) -> None:
    """List everyone who may sign in: number, name, e-mail address, role, houses."""
    from sqlalchemy import select

    from service.tables import Person, Role

    here = select(Person).where(Person.left_at.is_(None)).order_by(Person.id)
    with opened(database) as opened_database, opened_database.reading() as session:
        rows = session.scalars(here).all()
    for row in rows:
        owner = row.role == Role.OWNER
        houses = "all houses" if owner else ", ".join(row.houses) or "no house"
        waiting = "" if row.password_hash else "; has no password yet"
        line = f"{row.id} {row.name}, {row.email or 'no e-mail'}: {row.role}; {houses}{waiting}"
        out.print(line, markup=False, highlight=False, soft_wrap=True)


def _base_url(service_file: Path | None) -> str:
    from service.service_file import read_service_file
    from service.settings import read_service_settings

    alerts = read_service_file(service_file).alerts
    return str(alerts.base_url or read_service_settings().base_url).rstrip("/")


def _person(session: Session, who: str) -> Person:
    from sqlalchemy import select

    from service.tables import Person, Role

    whose = Person.role == Role.OWNER if who == _OWNER else Person.email == who.strip().lower()
    found = session.scalars(select(Person).where(whose, Person.left_at.is_(None))).all()
    if not found:
        raise SettingsError("there is no such person: see `askhouse people list`")
    if len(found) > 1:
        raise SettingsError(
            f"there are {len(found)} owners: give an e-mail address, see `askhouse people list`"
        )
    return found[0]

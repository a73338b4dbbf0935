"""Runs the commands as a shell would, in this process."""

from __future__ import annotations

import typer
from typer.testing import CliRunner, Result

from service.commands.guest import erase_guest, export_guest
from service.commands.keeping import back_up, restore, trail
from service.commands.people import people
from service.commands.tokens import tokens
from service.database import Database

__all__ = ["run", "url_of"]

app = typer.Typer(pretty_exceptions_enable=False)
app.command("export-guest")(export_guest)
app.command("erase-guest")(erase_guest)
app.command("back-up")(back_up)
app.command("restore")(restore)
app.add_typer(people, name="people")
app.add_typer(trail, name="trail")
app.add_typer(tokens, name="tokens")


def run(database: Database | str, *arguments: str, given: str | None = None) -> Result:
    """Runs a command on that database; an error that it raises is in the result."""
    url = database if isinstance(database, str) else url_of(database)
    return CliRunner().invoke(app, arguments, env={"ASKHOUSE_DATABASE": url}, input=given)


def url_of(database: Database) -> str:
    """As an operator writes it."""
    return database.engine.url.render_as_string(hide_password=False)

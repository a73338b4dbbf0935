"""What the shell can ask of the memory, a module each."""

from __future__ import annotations

import typer

from service.commands.gaps import gaps
from service.commands.guest import erase_guest, export_guest
from service.commands.keeping import back_up, restore, trail
from service.commands.lines import line_test
from service.commands.people import people
from service.commands.stays import stays
from service.commands.tokens import tokens

__all__ = ["add_to"]


def add_to(app: typer.Typer) -> None:
    """Adds them to the command line, which finds this by the entry point `askhouse.commands`."""
    for command in (gaps, line_test, export_guest, erase_guest, back_up, restore):
        app.command()(command)
    groups = {"people": people, "stays": stays, "tokens": tokens, "trail": trail}
    for name, group in groups.items():
        app.add_typer(group, name=name)

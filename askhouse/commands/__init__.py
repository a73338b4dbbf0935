"""The ways in from a shell, a module each."""

from __future__ import annotations

import sys
from importlib.metadata import entry_points

import typer

from askhouse.commands import ask, calibrate, check, evaluate, index, serve
from askhouse.commands.shared import run

__all__ = ["app", "main"]

app = typer.Typer(
    name="askhouse",
    help="Answers a guest's message from what the host has written about the house.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode="rich",
)
app.command()(ask.ask)
app.command()(check.check)
app.command()(index.index)
app.command()(evaluate.evaluate)
app.command()(calibrate.calibrate)
app.command()(serve.serve)


def main() -> None:
    """The command `askhouse`; known errors become one clear line and an exit code."""
    own = {command.callback.__name__ for command in app.registered_commands if command.callback}
    if not own & set(sys.argv[1:2]):
        # Looked for only where it is needed: it costs a first answer a tenth of a second.
        for point in entry_points(group="askhouse.commands"):
            point.load()(app)
    run(app)

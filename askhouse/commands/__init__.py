"""The ways in from a shell, a module each."""

from __future__ import annotations

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
    run(app)

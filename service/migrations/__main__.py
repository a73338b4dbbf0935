"""Writes the next migration: `python -m service.migrations WHAT` after a change of the tables."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Annotated

import typer
from alembic import command
from alembic.script import ScriptDirectory

from service.database import open_engine
from service.migrations import migrate, settings_of


def main(what: Annotated[str, typer.Argument(help="What changes, in a few words.")]) -> None:
    """Compares the tables with a database of the newest shape, and writes the difference down."""
    with tempfile.TemporaryDirectory() as folder:
        engine = open_engine(f"sqlite:///{Path(folder) / 'askhouse.db'}")
        try:
            migrate(engine)
            with engine.begin() as connection:
                settings = settings_of(connection)
                steps = len(list(ScriptDirectory.from_config(settings).walk_revisions()))
                command.revision(settings, what, autogenerate=True, rev_id=f"{steps + 1:04}")
        finally:
            engine.dispose()


if __name__ == "__main__":
    typer.run(main)

"""askhouse back-up, restore and trail: what is kept, kept safe and shown to be unchanged."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from askhouse.commands.shared import (
    EXIT_OK,
    EXIT_PROBLEMS,
    KnowledgeOption,
    err,
    knowledge_folder,
    out,
    settings_for,
)
from service.clock import utc_now
from service.commands.shared import DatabaseOption, opened, url_of

__all__ = ["back_up", "restore", "trail"]

trail = typer.Typer(help="The record of who saw or changed what.", no_args_is_help=True)


def back_up(
    target: Annotated[Path, typer.Argument(help="A file, or a folder in which it gets a name.")],
    database: DatabaseOption = None,
    knowledge: KnowledgeOption = None,
) -> None:
    """Save database and houses in one file, while the service goes on."""
    from service.privacy import backup

    with opened(database) as opened_database:
        path, saved = backup.back_up(
            opened_database, knowledge_folder(knowledge), target, utc_now()
        )
    out.print(
        f"{sum(saved.rows.values())} rows of {len(saved.rows)} tables, {len(saved.files) - 1} "
        "files of houses",
        highlight=False,
    )
    out.print(str(path), markup=False, highlight=False, soft_wrap=True)


def restore(
    file: Annotated[Path, typer.Argument(help="A backup.")],
    database: DatabaseOption = None,
    knowledge: KnowledgeOption = None,
    force: Annotated[
        bool, typer.Option("--force", help="Replace a database and houses that are there.")
    ] = False,
) -> None:
    """Put a backup's database and houses back; the service must be stopped."""
    from service.privacy import backup

    folder = settings_for(knowledge, None).knowledge
    saved = backup.restore(file, url_of(database), folder, force=force)
    out.print(
        f"restored as of {saved.made_at}: {sum(saved.rows.values())} rows, "
        f"{len(saved.files) - 1} files of houses",
        highlight=False,
        soft_wrap=True,
    )


@trail.command()
def verify(
    database: DatabaseOption = None,
    backup: Annotated[
        Path | None,
        typer.Option("--backup", help="Also make sure that nothing it held is missing now."),
    ] = None,
) -> None:
    """Tell whether a line was changed, taken out or moved."""
    from service.privacy.archive import read_manifest
    from service.privacy.trail import Head, head, holds
    from service.privacy.trail import verify as first_broken

    saved = read_manifest(backup) if backup else None
    with opened(database) as opened_database, opened_database.reading() as session:
        broken = first_broken(session)
        cut = saved and not holds(session, Head(saved.trail_lines, saved.trail_hash))
        end = head(session)
    if broken is not None:
        err.print(f"broken at line {broken}: it, or one before it, was changed", style="red")
    elif cut:
        err.print("lines that the backup held are missing or changed", style="red")
    else:
        out.print(f"whole: {end.lines} lines", highlight=False)
        out.print(end.hash, highlight=False, soft_wrap=True)
    raise typer.Exit(EXIT_OK if broken is None and not cut else EXIT_PROBLEMS)

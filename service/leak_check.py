"""Looks for leaks on the houses of the settings: `python -m service.leak_check`."""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from typing import Annotated

import typer

from askhouse.build import build_assistant
from askhouse.knowledge.load import load_houses
from askhouse.settings import read_settings
from service.database import Database, open_engine
from service.leaks.check import Tried, look_for_leaks
from service.migrations import migrate

__all__ = ["main"]


def main(
    messages: Annotated[int, typer.Option(min=1, help="How many are sent.")] = 2_160,
    seed: Annotated[int, typer.Option(help="Of how they are mixed.")] = 1,
    database: Annotated[
        str | None, typer.Option(help="URL of an empty database; a file of its own if none.")
    ] = None,
) -> None:
    """Sends messages of those who may be told no code; exit code 1 where one is found anywhere."""
    settings = read_settings()
    started = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        index = Path(folder) / "index.npz"
        assistant = build_assistant(load_houses(settings.knowledge), index, settings.model)
        opened = Database(open_engine(database or f"sqlite:///{Path(folder) / 'askhouse.db'}"))
        migrate(opened.engine)
        tried = look_for_leaks(opened, assistant, index, messages, seed=seed)
        opened.close()
    _show(tried, time.perf_counter() - started)
    raise typer.Exit(1 if tried.leaks.found.total() else 0)


def _show(tried: Tried, seconds: float) -> None:
    out = sys.stdout
    out.write(
        f"{tried.messages} messages of {len(tried.kinds)} kinds of senders, {tried.sent} texts "
        f"sent, {tried.alerts} alerts, {tried.secrets} secrets; {seconds:.0f} s\n"
    )
    for kind, count in sorted(tried.kinds.items()):
        out.write(f"  {kind}: {count}\n")
    found, searched = tried.leaks.found, tried.leaks.searched
    for place in (place for place in searched if "," not in place or found[place]):
        out.write(f"{place}: {found[place]} found in {searched[place]} texts\n")
    inside = [place for place in searched if "," in place]
    total = sum(searched[place] for place in inside)
    out.write(f"database: {sum(found[place] for place in inside)} found in {total} texts\n")


if __name__ == "__main__":
    typer.run(main)

"""askhouse export-guest and erase-guest: all that is held about one guest, given out or erased."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from askhouse.commands.shared import KnowledgeOption, err, knowledge_folder, out, read_library
from service.clock import utc_now
from service.commands.shared import WHO, AsSentOption, DatabaseOption, number_of, opened

__all__ = ["erase_guest", "export_guest"]

NumberArgument = Annotated[str, typer.Argument(help="With + and the country's code.")]


def export_guest(
    number: NumberArgument,
    database: DatabaseOption = None,
    to: Annotated[
        Path | None, typer.Option("--out", help="A file for you alone; standard output if none.")
    ] = None,
    as_sent: AsSentOption = False,
    knowledge: KnowledgeOption = None,
) -> None:
    """Write all that is held about one guest as JSON; codes are left out."""
    from service.privacy.archive import written_whole
    from service.privacy.person import export

    sender = number_of(number, as_sent)
    houses = read_library(knowledge_folder(knowledge)).houses
    with opened(database) as opened_database, opened_database.writing() as session:
        content = export(session, sender, houses, WHO, utc_now())
        text = json.dumps(content, ensure_ascii=False, indent=2) + "\n"
        if to is not None:
            with written_whole(to) as part:
                part.write_text(text, encoding="utf-8")
    if to is None:
        sys.stdout.write(text)
    else:
        out.print(str(to), markup=False, highlight=False, soft_wrap=True)


def erase_guest(
    number: NumberArgument,
    database: DatabaseOption = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask first.")] = False,
    also_opt_out: Annotated[
        bool,
        typer.Option("--forget-opt-out", help="Also forget that they asked for no more messages."),
    ] = False,
    as_sent: AsSentOption = False,
) -> None:
    """Erase all that is held about one guest; it cannot be undone.

    Words of theirs that became ways of asking are taken out of the houses in ASKHOUSE_KNOWLEDGE.
    """
    from service.privacy.person import erase
    from service.privacy.taught import take_out
    from service.privacy.trail import record

    sender = number_of(number, as_sent)
    if not yes:
        typer.confirm(
            "Erase all that is held about this guest? Backups are not touched", abort=True
        )
    with opened(database) as opened_database, opened_database.writing() as session:
        now = utc_now()
        gone = erase(session, sender, WHO, now, also_opt_out=also_opt_out)
        # Before the database forgets that they are the guest's.
        places = [(taught, take_out(knowledge_folder(None), taught)) for taught in gone.taught]
        for taught, place in places:
            if place is not None and place.gone:
                record(session, WHO, "fact.write", f"fact:{taught.house}/{taught.fact}", {}, now)
    out.print(
        f"{gone.messages} messages, {gone.deliveries} deliveries and the guests of {gone.stays} "
        "stays erased",
        highlight=False,
        soft_wrap=True,
    )
    for taught, place in places:
        if place is not None:
            done = "taken out" if place.gone else "not found as they were: look for them yourself"
            where = f"{taught.house}: {place.file}, line {place.line}, {taught.fact}"
            _note(f"their words among the ways of asking: {where}: {done}")
    for line in gone.opted_out:
        _note(f"kept: they asked for no more messages on {line or 'every line'}")
    for feed in gone.feeds:
        _note(f"the feed {feed} listed their booking and may bring it back: erase it there, too")
    if gone.account:
        _note("kept: their account on the host's side; end it on the page People")


def _note(line: str) -> None:
    err.print(line, markup=False, highlight=False, soft_wrap=True)

"""askhouse gaps: what guests ask and nobody has written, for a terminal, a page or a program."""

from __future__ import annotations

import sys
from enum import StrEnum
from typing import Annotated

import typer

from askhouse.commands.shared import KnowledgeOption, knowledge_folder, out, settings_for
from service.clock import utc_now
from service.commands.shared import DatabaseOption, opened

__all__ = ["gaps"]


class Form(StrEnum):
    """How the report is written."""

    TABLE = "table"
    MARKDOWN = "markdown"
    CSV = "csv"
    JSON = "json"


def gaps(
    database: DatabaseOption = None,
    form: Annotated[Form, typer.Option("--as", help="How it is written.")] = Form.TABLE,
    house: Annotated[
        list[str] | None, typer.Option("--house", help="Only this house; repeat.")
    ] = None,
    near: Annotated[
        bool, typer.Option("--near/--no-near", help="Also the nearest facts, and why they do not.")
    ] = True,
    knowledge: KnowledgeOption = None,
) -> None:
    """Show the questions that no fact answers, grouped by meaning."""
    from askhouse.build import build_assistant
    from askhouse.commands.shared import read_library
    from askhouse.gaps import open_meaning
    from service.gaps.assigning import assign
    from service.gaps.report import report, with_near_facts, with_samples
    from service.gaps.shown import as_csv, as_json, as_markdown, as_table

    settings = settings_for(knowledge, None)
    library = read_library(knowledge_folder(knowledge))
    meaning = open_meaning(settings.index_file.with_name("topics.npz"))
    with opened(database) as memory:
        while assign(memory, meaning):
            pass
        with memory.reading() as session:
            rows = report(session, library.houses, utc_now(), only=house)
            rows = with_samples(session, rows)
    if near and rows:
        assistant = build_assistant(
            library, settings.index_file, settings.model, calibration=settings.calibration_file
        )
        rows = [with_near_facts(row, assistant) for row in rows]
    if form is Form.TABLE:
        out.print(as_table(rows) if rows else "no gaps: every question so far had its fact")
        return
    written = {Form.MARKDOWN: as_markdown, Form.CSV: as_csv, Form.JSON: as_json}[form]
    sys.stdout.write(written(rows))

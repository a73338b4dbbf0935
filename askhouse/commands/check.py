"""askhouse check: every problem in every file, at once."""

from __future__ import annotations

import typer

from askhouse.commands.shared import (
    EXIT_OK,
    EXIT_PROBLEMS,
    JsonOption,
    KnowledgeOption,
    err,
    knowledge_folder,
    out,
    print_json,
)
from askhouse.knowledge.load import load_houses
from askhouse.knowledge.problems import listing

__all__ = ["check"]


def check(knowledge: KnowledgeOption = None, as_json: JsonOption = False) -> None:
    """Check the house files, and say where and how to mend them."""
    library = load_houses(knowledge_folder(knowledge))
    if as_json:
        print_json(
            {
                "houses": {slug: len(house.facts) for slug, house in library.houses.items()},
                "problems": [
                    {
                        "file": p.file,
                        "line": p.line,
                        "field": p.field,
                        "what": p.what,
                        "mend": p.mend,
                        "severity": str(p.severity),
                    }
                    for p in library.problems
                ],
            }
        )
    else:
        if library.problems:
            err.print(
                listing(library.problems), markup=False, highlight=False, end="", soft_wrap=True
            )
        for slug, house in library.houses.items():
            notes = sum(bool(fact.sections) for fact in house.facts)
            out.print(f"{slug}: {len(house.facts) - notes} facts, {notes} notes", highlight=False)
        if not library.houses:
            err.print(f"No house can be used in {knowledge_folder(knowledge)}.")
    raise typer.Exit(EXIT_PROBLEMS if library.errors or not library.houses else EXIT_OK)

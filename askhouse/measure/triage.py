"""What the words of triage find, what the learned heads find, and what both do.

    python -m askhouse.measure.triage SETDIR

The same labelled set goes through three assistants: one whose heads never raise an alarm,
one whose guidance file has words for the guest but no signals, and the whole.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.table import Table

from askhouse.build import build_assistant, shipped_calibration
from askhouse.knowledge.load import load_houses
from askhouse.measure.evaluate import Evaluation, evaluate
from askhouse.measure.labelled import read_messages
from askhouse.triage.guidance import Guidance, guidance

__all__ = ["without_signals"]

NEVER = 2.0  # a probability that no head reaches
FIGURES = (
    "safety noticed",
    "false safety",
    "lockout noticed",
    "false lockout",
    "right answers",
    "wrong replies",
    "gaps kept",
)


def without_signals(rules: Guidance) -> Guidance:
    """The guidance with its words and without what raises an alarm."""
    return rules.model_copy(
        update={
            "hazards": {
                hazard: entry.model_copy(update={"signals": ()})
                for hazard, entry in rules.hazards.items()
            },
            "lockout": rules.lockout.model_copy(update={"signals": ()}),
        }
    )


def _versions(folder: Path, model: str) -> Iterator[tuple[str, Evaluation]]:
    library, messages = load_houses(folder / "properties"), read_messages(folder)
    shipped = shipped_calibration(model)
    with tempfile.TemporaryDirectory() as place:
        deaf = Path(place) / "deaf.json"
        replace(shipped, safety=NEVER, lockout=NEVER, harmless=0.0).write(deaf)
        for name, calibration, rules in (
            ("words alone", deaf, guidance()),
            ("learned alone", None, without_signals(guidance())),
            ("both", None, guidance()),
        ):
            assistant = build_assistant(library, None, model, calibration=calibration, rules=rules)
            yield name, evaluate(assistant, messages)


def main(
    folder: Annotated[Path, typer.Argument(help="Holds properties/*.yaml and messages.jsonl.")],
    model: Annotated[str, typer.Option(help="trained or plain")] = "trained",
) -> None:
    """Print the figures of words alone, heads alone, and both."""
    table = Table("figure", "words alone", "learned alone", "both", box=None)
    found = dict(_versions(folder, model))
    for figure in FIGURES:
        shares = [found[name].shares[figure] for name in found]
        table.add_row(
            figure,
            *(
                f"{s.count} of {s.total} ({s.interval[0]:.1%} – {s.interval[1]:.1%})"
                for s in shares
            ),
        )
    Console(width=110).print(table)


if __name__ == "__main__":
    typer.run(main)

"""What each model adds to the answers: `python -m askhouse.training.ablation FOLDER`.

The folder is a labelled set of houses that no model has learned from. Every row is the
decision fitted anew on the signals that are left, with the house that it is judged on held
out, at the threshold for the stated risk.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import numpy as np
import typer
from rich.console import Console
from rich.table import Table

from askhouse.decision.risk import threshold_for_risk
from askhouse.decision.signals import SIGNALS
from askhouse.knowledge.load import load_houses
from askhouse.measure.labelled import read_messages
from askhouse.training.decision import held_out, shares_at
from askhouse.training.scored import Example, from_labelled, signals_of

__all__ = ["row"]

_READER = np.array([name.startswith("answers") for name in SIGNALS])
_SEEDS = range(10)  # a set of this size moves a single fit by some points
_HEADS = np.array([name.startswith("kind_") for name in SIGNALS])


def row(
    examples: Sequence[Example], risk: float, *, reader: bool, heads: bool
) -> tuple[float, float, float, float]:
    """Shares: best fact right, answered rightly, gaps kept at the risk; and the threshold.

    Each is the mean over fits from several random starts.
    """
    gone = (_READER & (not reader)) | (_HEADS & (not heads))
    signals = [np.where(gone, 0.0, own) for own in signals_of(examples)]
    rows = []
    for seed in _SEEDS:
        found = held_out(examples, signals, seed)
        threshold = threshold_for_risk(found.chance, found.wrong, risk)
        first, right, _, kept = shares_at(examples, found, threshold)
        rows.append((first, right, kept, threshold))
    first, right, kept, threshold = np.mean(rows, axis=0).tolist()
    return first, right, kept, threshold


def main(
    folder: Annotated[Path, typer.Argument(help="Holds properties/*.yaml and messages.jsonl.")],
    risk: Annotated[float, typer.Option()] = 0.03,
) -> None:
    """Print the table."""
    houses, messages = load_houses(folder / "properties").houses, read_messages(folder)
    plain, trained = (from_labelled(houses, messages, model) for model in ("plain", "trained"))
    table = Table(title=f"houses held out, at most {risk:.0%} of messages given a wrong reply")
    for name in ("models", "best fact right", "right answers", "gaps kept", "threshold"):
        table.add_column(name, justify="left" if name == "models" else "right")
    for name, examples, reader, heads in (
        ("plain", plain, False, False),
        ("+ encoder", trained, False, False),
        ("+ reader", trained, True, False),
        ("+ heads", trained, True, True),
    ):
        *shares, threshold = row(examples, risk, reader=reader, heads=heads)
        table.add_row(name, *(f"{share:.3f}" for share in shares), f"{threshold:.2f}")
    Console().print(table)


if __name__ == "__main__":
    typer.run(main)

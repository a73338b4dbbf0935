"""What each model adds to the answers: `python -m askhouse.training.ablation --folds DIR`.

Every row is the decision fitted anew on the signals that are left, and judged on houses
that neither it nor the models have seen, at the threshold for the stated risk.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Annotated
from zlib import crc32

import numpy as np
import typer
from rich.console import Console
from rich.table import Table

from askhouse.decision.risk import threshold_for_risk
from askhouse.decision.signals import SIGNALS
from askhouse.encoder import open_encoder
from askhouse.training.corpus import read_corpus
from askhouse.training.decision import held_out, shares_at
from askhouse.training.scored import Example, from_folds, from_plain, signals_of

_READER = np.array([name.startswith("answers") for name in SIGNALS])
_HEADS = np.array([name.startswith("kind_") for name in SIGNALS])


def row(
    examples: Sequence[Example], risk: float, *, reader: bool, heads: bool
) -> tuple[float, float, float, float]:
    """Shares: best fact right, answered rightly, gaps kept at the risk; and the threshold."""
    gone = (_READER & (not reader)) | (_HEADS & (not heads))
    signals = [np.where(gone, 0.0, own) for own in signals_of(examples)]
    found = held_out(examples, signals)
    threshold = threshold_for_risk(found.chance, found.wrong, risk)
    first, right, _, kept = shares_at(examples, found, threshold)
    return first, right, kept, threshold


def main(
    folds: Annotated[Path, typer.Option(help="what the folds wrote")],
    corpus: Annotated[Path, typer.Option()] = Path("knowledge/corpus"),
    risk: Annotated[float, typer.Option()] = 0.03,
    houses: Annotated[int, typer.Option(help="on so many houses, since plain takes long")] = 60,
) -> None:
    """Print the table."""
    read = read_corpus(corpus)
    some = sorted(read.houses, key=lambda slug: crc32(slug[::-1].encode()))[:houses]
    read = replace(
        read,
        houses={slug: read.houses[slug] for slug in some},
        lines=tuple(line for line in read.lines if line.house in some),
    )
    plain = from_plain(read, open_encoder("plain"))
    trained = from_folds(read, folds)
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

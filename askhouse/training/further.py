"""Go on training the shipped models, with a corpus that has grown since.

    python -m askhouse.training.further --data corpus.json --base DIR --out DIR

All of it again, old and new, so that nothing is forgotten, at half the rate of the first
training. No fold can be had in this way, since the shipped models have seen every house:
the decision stays as it is, and its threshold is chosen on houses that none has seen.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import torch
import typer

from askhouse.encoder import MODELS
from askhouse.training.batches import Plan
from askhouse.training.examples import read_training_set
from askhouse.training.folds import save
from askhouse.training.modules import MAX_TOKENS
from askhouse.training.shipped import shipped
from askhouse.training.tokens import Tokens
from askhouse.training.train import train


def main(
    data: Annotated[Path, typer.Option(help="what askhouse.training.prepare wrote")],
    base: Annotated[Path, typer.Option(help="folder of the weights training started from")],
    out: Annotated[Path, typer.Option()],
    epochs: Annotated[int, typer.Option()] = 3,
    rate: Annotated[float, typer.Option(help="of the encoder's learning")] = Plan().rate / 2,
    seed: Annotated[int, typer.Option()] = Plan().seed,
) -> None:
    """Write encoder.pt and reader.pt."""
    torch.manual_seed(seed)
    encoder, reader = shipped(MODELS, str(base), "cuda" if torch.cuda.is_available() else "cpu")
    plan = replace(Plan(), epochs=epochs, rate=rate, seed=seed)
    train(encoder, reader, read_training_set(data), Tokens(str(base), MAX_TOKENS), plan)
    out.mkdir(parents=True, exist_ok=True)
    save(encoder, reader, out)


if __name__ == "__main__":
    typer.run(main)

"""Go on training the shipped models, with messages that they have not learned from.

    python -m askhouse.training.further --data corpus.json --base DIR --out DIR

One pass over the later messages and some of the earlier ones, so that what was learned
is not forgotten, at a lower rate than the first training's. Two processor cores are to be
enough: the lowest layers stay as they are, and a batch has many messages to few houses,
whose facts cost most. No fold can be had in this way, since the shipped models have seen
every house: the decision stays as it is, and its threshold is chosen on houses that none
has seen.
"""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path
from typing import Annotated

import torch
import typer
from torch import nn

from askhouse.encoder import MODELS
from askhouse.training.batches import Plan
from askhouse.training.examples import TrainingSet, read_training_set
from askhouse.training.folds import save
from askhouse.training.modules import MAX_TOKENS
from askhouse.training.shipped import shipped
from askhouse.training.tokens import Tokens
from askhouse.training.train import train

__all__ = ["later_and_some"]


def later_and_some(data: TrainingSet, share: float, seed: int) -> TrainingSet:
    """The later messages, and of the others `share` times as many."""
    late = [one for one in data.asked if one.late]
    others = [one for one in data.asked if not one.late]
    some = random.Random(seed).sample(others, min(len(others), round(share * len(late))))
    return replace(data, asked=(*late, *some))


def main(
    data: Annotated[Path, typer.Option(help="what askhouse.training.prepare wrote")],
    base: Annotated[Path, typer.Option(help="folder of the weights training started from")],
    out: Annotated[Path, typer.Option()],
    rate: Annotated[float, typer.Option(help="of the encoder's learning")] = 8e-5,
    share: Annotated[float, typer.Option(help="earlier messages for each later one")] = 0.25,
    still: Annotated[int, typer.Option(help="lowest layers that do not learn")] = 5,
    seed: Annotated[int, typer.Option()] = Plan().seed,
) -> None:
    """Write encoder.pt and reader.pt."""
    torch.manual_seed(seed)
    encoder, reader = shipped(MODELS, str(base))
    for module in encoder.modules():
        if isinstance(module, nn.Dropout):
            module.p = 0.0  # one pass learns nothing by heart, and it is a tenth of the time
    for part in (encoder.body.embeddings, *encoder.body.encoder.layer[:still]):
        part.requires_grad_(False)
    some = later_and_some(read_training_set(data), share, seed)
    plan = Plan(
        epochs=1,
        houses=2,
        messages=130,
        told=64,
        rate=rate,
        near=2,
        all_views=False,
        seed=seed,
        workers=1,
    )
    train(encoder, reader, some, Tokens(str(base), MAX_TOKENS), plan)
    out.mkdir(parents=True, exist_ok=True)
    save(encoder, reader, out)


if __name__ == "__main__":
    typer.run(main)

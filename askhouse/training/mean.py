"""The mean of the weights of several trainings that started from the same base.

    python -m askhouse.training.mean --trained DIR --trained DIR --out DIR

Trainings from one start end in one basin, and the middle of it answers better than
its edges, at the cost of one model (Wortsman et al., "Model soups", ICML 2022).
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import torch
import typer
from torch import Tensor

__all__ = ["mean_of_weights"]


def mean_of_weights(trained: Sequence[dict[str, Tensor]]) -> dict[str, Tensor]:
    """The mean of each tensor, in single precision.

    Raises:
        ValueError: The trainings do not have the same tensors.
    """
    first, *others = trained
    shapes = {name: tensor.shape for name, tensor in first.items()}
    if any({n: t.shape for n, t in other.items()} != shapes for other in others):
        raise ValueError("the trainings are of different models; train them from the same base")
    return {name: torch.stack([one[name].float() for one in trained]).mean(0) for name in first}


def main(
    trained: Annotated[list[Path], typer.Option(help="a folder with encoder.pt and reader.pt")],
    out: Annotated[Path, typer.Option()],
) -> None:
    """Write encoder.pt and reader.pt with the mean of the weights."""
    out.mkdir(parents=True, exist_ok=True)
    for name in ("encoder.pt", "reader.pt"):
        torch.save(mean_of_weights([torch.load(folder / name) for folder in trained]), out / name)


if __name__ == "__main__":
    typer.run(main)

"""Learn the trained model's kind head anew, on the encoder as it is shipped.

    python -m askhouse.training.kind_head --data corpus.json

For a corpus that has grown, where no accelerator is at hand: encoder and reader stay, so
that no index has to be made again. Half an hour on two cores, nearly all of it encoding.
The thresholds are chosen anew afterwards, by `askhouse.training.alarms` and `askhouse calibrate`.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import torch
import typer
from numpy.typing import NDArray
from torch import nn
from torch.nn import functional

from askhouse.encoder import MODELS, Encoded, open_encoder
from askhouse.kinds import KINDS
from askhouse.training.export import head_arrays
from askhouse.training.modules import WordHead
from askhouse.training.ragged import Ragged

__all__ = ["fit_kind_head"]

_BATCH = 256
_RATE = 2e-3  # of what looks at words; ten times that for the vector, which is of length one
_AT_ONCE = 4096  # texts that are encoded before their states are put away


def fit_kind_head(
    encoded: Sequence[Encoded],
    kinds: Sequence[str],
    weights: NDArray[np.float32],
    *,
    epochs: int = 12,
    seed: int = 7,
) -> WordHead:
    """The head that tells these kinds from each other.

    Args:
        encoded: Texts with their word states.
        kinds: Of each, a name of `KINDS`.
        weights: How much each counts, `(texts,)`.
    """
    torch.manual_seed(seed)
    head = WordHead(len(encoded[0].vector), len(KINDS), "cpu")
    small = [*head.looks.parameters(), *head.says.parameters()]
    groups = [
        {"params": head.whole.parameters(), "lr": 10 * _RATE},
        {"params": small, "lr": _RATE},
    ]
    optimiser = torch.optim.AdamW(groups, weight_decay=0.0)
    truth = np.array([KINDS.index(kind) for kind in kinds])
    rng = random.Random(seed)
    steps = epochs * -(-len(encoded) // _BATCH)
    rates = [10 * _RATE, _RATE]
    schedule = torch.optim.lr_scheduler.OneCycleLR(optimiser, rates, steps + 1, pct_start=0.1)
    for _ in range(epochs):
        for places in _batches(len(encoded), rng):
            logits = head(*_read([encoded[place] for place in places]))
            counts = torch.from_numpy(weights[places])
            losses = functional.cross_entropy(
                logits, torch.from_numpy(truth[places]), reduction="none", label_smoothing=0.02
            )
            optimiser.zero_grad()
            ((losses * counts).sum() / counts.sum()).backward()  # type: ignore[no-untyped-call]
            nn.utils.clip_grad_norm_(head.parameters(), 1.0)
            optimiser.step()
            schedule.step()
    return head


def _batches(count: int, rng: random.Random) -> Iterator[list[int]]:
    places = list(range(count))
    rng.shuffle(places)
    for start in range(0, count, _BATCH):
        yield places[start : start + _BATCH]


def _read(some: Sequence[Encoded]) -> tuple[torch.Tensor, torch.Tensor, Ragged]:
    """Vectors, word states end to end, and how long the texts are."""
    words = [one.words for one in some if one.words is not None]
    vectors = np.stack([one.vector for one in some])
    states = np.concatenate(words).astype(np.float32)
    lie = Ragged([len(one) for one in words], "cpu")
    return torch.from_numpy(vectors), torch.from_numpy(states), lie


def _learned(
    content: Mapping[str, Any], latest: str, questions: int
) -> tuple[dict[str, str], set[str]]:
    """Texts with their kinds, and those of them that are of the latest round."""
    whole: dict[str, str] = {}
    older: dict[str, str] = {}
    for line in content["lines"]:
        if len(line["labels"]) == 1:
            group = whole if line["round"] == latest else older
            group[line["text"]] = line["labels"][0]["kind"]
    asked = [text for text, kind in older.items() if kind == "question"]
    left = set(random.Random(5).sample(asked, min(questions, len(asked))))
    learned = {text: kind for text, kind in older.items() if kind != "question" or text in left}
    learned |= {entry["text"]: entry["kind"] for entry in content["triage"]}
    return learned | whole, set(whole)


def main(
    data: Annotated[Path, typer.Option(help="what askhouse.training.prepare wrote")],
    latest: Annotated[str, typer.Option(help="the round that is learned whole")] = "tenth round",
    times: Annotated[int, typer.Option(help="how much a line of it counts")] = 3,
    questions: Annotated[int, typer.Option(help="drawn from the questions before it")] = 40_000,
    out: Annotated[Path, typer.Option()] = MODELS / "heads-trained.npz",
) -> None:
    """Write the kind head into the heads that are there; hazards and cuts stay."""
    learned, whole = _learned(json.loads(data.read_text(encoding="utf-8")), latest, questions)
    texts, encoder = list(learned), open_encoder("trained")
    encoded: list[Encoded] = []
    with typer.progressbar(range(0, len(texts), _AT_ONCE), label="encoding") as starts:
        for start in starts:
            encoded += encoder.encode_words(texts[start : start + _AT_ONCE])
    weights = np.array([times if text in whole else 1 for text in texts], dtype=np.float32)
    head = fit_kind_head(encoded, list(learned.values()), weights)
    with np.load(out, allow_pickle=False) as file:
        arrays = dict(file)
    arrays |= head_arrays("kind", KINDS, head)
    np.savez(out, allow_pickle=False, **arrays)
    print(f"{out.name}: {len(texts)} texts, {len(whole)} of them of the {latest}")


if __name__ == "__main__":
    typer.run(main)

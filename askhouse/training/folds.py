"""Train encoder and reader once on all houses, and once for each fold without its houses.

    python -m askhouse.training.folds --data corpus.json --encoder-base DIR --reader-base DIR --out DIR

The folds' scores on the houses they have not seen are what the decision is
fitted on. Several processes share the accelerators.
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import torch
import torch.multiprocessing as processes

from askhouse.training.encoder import EncoderPlan, TextEncoder, fact_scores, train_encoder
from askhouse.training.examples import Asked, TrainingSet, read_training_set
from askhouse.training.reader import PairReader, ReaderPlan, train_reader

__all__ = ["fold_of_houses"]


def fold_of_houses(houses: Sequence[str], folds: int) -> dict[str, int]:
    """Houses dealt out to folds in turn, by name."""
    return {house: place % folds for place, house in enumerate(sorted(houses))}


def house_scores(
    model: TextEncoder, data: TrainingSet, asked: Sequence[Asked]
) -> tuple[list[np.ndarray], list[np.ndarray], torch.Tensor]:
    """For each message the whole and the nearest cosine of every fact of its house, and its vector."""
    vectors = model.encode([one.text for one in asked])
    whole: list[np.ndarray] = [np.empty(0)] * len(asked)
    nearest: list[np.ndarray] = [np.empty(0)] * len(asked)
    places = defaultdict(list)
    for i, one in enumerate(asked):
        places[one.house].append(i)
    for house, rows in places.items():
        groups = data.views[house]
        owners = torch.tensor([f for f, group in enumerate(groups) for _ in group])
        views = model.encode([view for group in groups for view in group])
        both = fact_scores(vectors[rows], views, owners, len(groups))
        first = torch.searchsorted(owners, torch.arange(len(groups)))
        alone = vectors[rows] @ views[first].T
        for i, mean, single in zip(rows, both.numpy(), alone.numpy(), strict=True):
            whole[i], nearest[i] = single, 2 * mean - single
    return whole, nearest, vectors


def one_fold(number: int, arguments: argparse.Namespace) -> None:
    """Trains one fold, or the final models where `number` is the count of folds."""
    started = time.time()
    device = arguments.device
    if device == "cuda":
        torch.cuda.set_device(number % torch.cuda.device_count())
    data = read_training_set(Path(arguments.data))
    folds = fold_of_houses(list(data.views), arguments.folds)
    held = {house for house, fold in folds.items() if fold == number}
    learn = data.without(held)
    encoder = train_encoder(learn, arguments.encoder_base, device, EncoderPlan(epochs=arguments.encoder_epochs))
    whole, nearest, _ = house_scores(encoder, data, learn.asked)
    order = [np.argsort(-(w + n)).tolist() for w, n in zip(whole, nearest, strict=True)]
    reader = train_reader(learn, order, arguments.reader_base, device, ReaderPlan(epochs=arguments.reader_epochs))
    out = Path(arguments.out)
    if number == arguments.folds:
        save(encoder, reader, out)
    else:
        save_scores(encoder, reader, data, held, out / f"fold{number}.npz")
    print(f"fold {number}: {time.time() - started:.0f} s", flush=True)


def save(encoder: TextEncoder, reader: PairReader, out: Path) -> None:
    """Writes both models in half precision, which is finer than the int8 they become."""
    for name, model in (("encoder", encoder), ("reader", reader)):
        torch.save({k: v.half().cpu() for k, v in model.state_dict().items()}, out / f"{name}.pt")


def save_scores(
    encoder: TextEncoder, reader: PairReader, data: TrainingSet, held: set[str], path: Path
) -> None:
    """Writes what the models of a fold say about the houses they have not seen."""
    asked = [one for one in data.asked if one.house in held]
    whole, nearest, vectors = house_scores(encoder, data, asked)
    answers = []
    messages = [one.text for one in asked for _ in data.views[one.house]]
    facts = [group[0] for one in asked for group in data.views[one.house]]
    logits = reader.read(messages, facts).numpy()
    start = 0
    for one in asked:
        answers.append(logits[start : start + len(data.views[one.house])])
        start += len(data.views[one.house])
    with torch.no_grad():
        on_device = vectors.to(encoder.device)
        kinds = encoder.kind(on_device).softmax(1).cpu().numpy()
    first = [w + n for w, n in zip(whole, nearest, strict=True)]
    _report(path.stem, asked, first, answers)
    np.savez(
        path,
        texts=np.array([one.text for one in asked]),
        houses=np.array([one.house for one in asked]),
        lengths=np.array([len(row) for row in whole]),
        whole=np.concatenate(whole).astype(np.float16),
        nearest=np.concatenate(nearest).astype(np.float16),
        answers=np.concatenate(answers).astype(np.float16),
        kinds=kinds.astype(np.float16),
    )


def _report(
    name: str, asked: Sequence[Asked], first: Sequence[np.ndarray], answers: Sequence[np.ndarray]
) -> None:
    for language in ("en", "other"):
        ranks: dict[str, list[bool]] = defaultdict(list)
        for one, score, logit in zip(asked, first, answers, strict=True):
            if not one.needed or (one.language == "en") != (language == "en"):
                continue
            may = {*one.needed, *one.also}
            order = np.argsort(-score)
            ranks["encoder@1"].append(order[0] in may)
            ranks["encoder@3"].append(bool(may & set(order[:3].tolist())))
            ranks["reader@1 of 5"].append(order[:5][np.argmax(logit[order[:5]])] in may)
        shares = {key: round(float(np.mean(value)), 3) for key, value in ranks.items()}
        print(f"{name} {language} n={len(ranks['encoder@1'])} {shares}", flush=True)


def main() -> None:
    """Run all folds and the final training, several at a time."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", required=True)
    parser.add_argument("--encoder-base", required=True)
    parser.add_argument("--reader-base", required=True)
    parser.add_argument("--out", required=True)
    parser.add_argument("--folds", type=int, default=4)
    parser.add_argument("--only", type=int, nargs="*", help="these folds alone; the last is final")
    parser.add_argument("--encoder-epochs", type=int, default=8)
    parser.add_argument("--reader-epochs", type=int, default=5)
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    arguments = parser.parse_args()
    Path(arguments.out).mkdir(parents=True, exist_ok=True)
    numbers = arguments.only if arguments.only else list(range(arguments.folds + 1))
    processes.set_start_method("spawn")
    running = [processes.Process(target=one_fold, args=(n, arguments)) for n in numbers]
    for process in running:
        process.start()
    for process in running:
        process.join()
    if any(process.exitcode for process in running):
        raise SystemExit("a fold failed")


if __name__ == "__main__":
    main()

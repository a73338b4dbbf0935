"""Train once on all houses, and once for each fold without its houses.

    python -m askhouse.training.folds --data corpus.json --base DIR --out DIR

The folds' scores on the houses they have not seen are what the decision is
fitted on. One process a fold; they share the accelerators.
"""

from __future__ import annotations

import argparse
import time
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from zlib import crc32

import numpy as np
import torch
import torch.multiprocessing as processes
from torch import Tensor

from askhouse.training.batches import Plan
from askhouse.training.examples import KINDS, Asked, TrainingSet, read_training_set
from askhouse.training.modules import MAX_TOKENS, FactReader, TextEncoder, fact_scores
from askhouse.training.ragged import Pairs, Ragged, on_device
from askhouse.training.tokens import Tokens
from askhouse.training.train import train

__all__ = ["fold_of_houses", "save"]


def fold_of_houses(houses: Sequence[str], folds: int) -> dict[str, int]:
    """Houses dealt out to folds by their names alone, so that a new house moves no other.

    Messages were borrowed within these folds (for three of them), which keeps what
    `TrainingSet.without` must leave out small.
    """
    return {house: crc32(house.encode()) % folds for house in houses}


def save(encoder: TextEncoder, reader: FactReader, folder: Path) -> None:
    """Writes `encoder.pt` and `reader.pt`, as `askhouse.training.export` reads them."""
    for name, model in (("encoder", encoder), ("reader", reader)):
        weights = {key: value.half().cpu() for key, value in model.state_dict().items()}
        torch.save(weights, folder / f"{name}.pt")


@dataclass(frozen=True, slots=True)
class Trained:
    """Both models with the tokenizer, as they read texts once trained."""

    tokens: Tokens
    encoder: TextEncoder
    reader: FactReader

    def read(self, texts: Sequence[str]) -> tuple[Tensor, Tensor, Ragged]:
        """Vectors, narrowed words, and how long the texts are."""
        rows = self.tokens(texts)
        device = self.encoder.device
        lie = Ragged([len(row) for row in rows], device)
        return *self.encoder(on_device(np.concatenate(rows), device), lie), lie

    def kinds(self, read: tuple[Tensor, Tensor, Ragged]) -> np.ndarray:
        """The kind head's probabilities, `(texts, KINDS)`."""
        shares: np.ndarray = self.encoder.kind(*read).softmax(1).cpu().numpy()
        return shares


@torch.no_grad()
def held_out_scores(
    models: Trained, data: TrainingSet, asked: Sequence[Asked]
) -> dict[str, np.ndarray]:
    """What the models say about messages to houses they have not seen.

    Returns:
        For each pair of message and fact of its house, message by message: `whole`
        and `nearest` cosine and the reader's logit `answers`; `lengths`, how many
        facts each message's house has; `kinds`, `(messages, KINDS)`; texts and houses.
    """
    rows: dict[str, list[np.ndarray]] = {name: [np.empty(0)] * len(asked) for name in _PAIRS}
    kinds = np.empty((len(asked), len(KINDS)), dtype=np.float32)
    by_house = defaultdict(list)
    for i, one in enumerate(asked):
        by_house[one.house].append(i)
    device = models.encoder.device
    for house, places in by_house.items():
        groups = data.views[house]
        owners = torch.tensor([f for f, group in enumerate(groups) for _ in group], device=device)
        views, _, _ = models.read([view for group in groups for view in group])
        facts, fact_words, fact_texts = models.read([group[0] for group in groups])
        for start in range(0, len(places), 64):
            some = places[start : start + 64]
            vectors, words, texts = read = models.read([asked[i].text for i in some])
            kinds[some] = models.kinds(read)
            both = fact_scores(vectors, views, owners, len(groups))
            alone = vectors @ facts.T
            everything = Ragged(np.concatenate([texts.lengths, fact_texts.lengths]), device)
            first = np.repeat(np.arange(len(some)), len(groups))
            second = len(some) + np.tile(np.arange(len(groups)), len(some))
            pairs = Pairs(everything, first, second)
            logits = models.reader.ragged(torch.cat([words, fact_words]), pairs, alone.flatten())
            found = {"whole": alone, "nearest": 2 * both - alone, "answers": logits}
            for name, values in found.items():
                for i, row in zip(some, values.view(len(some), -1).cpu().numpy(), strict=True):
                    rows[name][i] = row
    return {
        **{name: np.concatenate(value).astype(np.float16) for name, value in rows.items()},
        "lengths": np.array([len(row) for row in rows["whole"]]),
        "kinds": kinds.astype(np.float16),
        "texts": np.array([one.text for one in asked]),
        "houses": np.array([one.house for one in asked]),
    }


@torch.no_grad()
def _kinds_of(models: Trained, texts: Sequence[str]) -> np.ndarray:
    """The kind head's probabilities, `(texts, KINDS)`."""
    pieces = [texts[i : i + 256] for i in range(0, len(texts), 256)]
    return np.concatenate([models.kinds(models.read(piece)) for piece in pieces])


_PAIRS = ("whole", "nearest", "answers")


def one_fold(number: int, arguments: argparse.Namespace) -> None:
    """Trains one fold, or the final models where `number` is the count of folds."""
    started = time.time()
    device = arguments.device
    if device == "cuda":
        torch.cuda.set_device(number % torch.cuda.device_count())
    torch.set_num_threads(4)
    data = read_training_set(Path(arguments.data))
    folds = fold_of_houses(list(data.views), arguments.folds)
    held = {house for house, fold in folds.items() if fold == number}
    aside = dict.fromkeys(
        one for place, one in enumerate(data.told) if place % arguments.folds == number
    )
    chosen = {name: getattr(arguments, name) for name in ("epochs", "rate", "seed", "workers")}
    tokens = Tokens(arguments.base, MAX_TOKENS)
    some = data.without(held, set(aside))
    torch.manual_seed(arguments.seed)
    encoder, reader = TextEncoder(arguments.base, device), FactReader(device)
    train(encoder, reader, some, tokens, replace(Plan(), **chosen))
    out = Path(arguments.out)
    if number == arguments.folds:
        save(encoder, reader, out)
    else:
        asked = [one for one in data.asked if one.house in held and one.measured]
        models = Trained(tokens, encoder.eval(), reader.eval())
        scores = held_out_scores(models, data, asked)
        _report(f"fold {number}", asked, scores)
        _report_cuts(f"fold {number}", models, data, held)
        told_kinds = _kinds_of(models, [one.text for one in aside])
        np.savez_compressed(
            out / f"fold{number}.npz",
            told=np.array([one.text for one in aside]),
            told_kinds=told_kinds.astype(np.float16),
            allow_pickle=False,
            **scores,
        )
    print(f"fold {number}: {time.time() - started:.0f} s", flush=True)


def _report(name: str, asked: Sequence[Asked], scores: dict[str, np.ndarray]) -> None:
    ends = np.cumsum(scores["lengths"])[:-1]
    first = np.split(scores["whole"].astype(float) + scores["nearest"], ends)
    answers = np.split(scores["answers"].astype(float), ends)
    for language in ("en", "other"):
        found: dict[str, list[bool]] = defaultdict(list)
        for one, score, logit in zip(asked, first, answers, strict=True):
            if not one.needed or (one.language == "en") != (language == "en"):
                continue
            may = {*one.needed, *one.also}
            order = np.argsort(-score)
            found["encoder@1"].append(order[0] in may)
            found["encoder@3"].append(bool(may & set(order[:3].tolist())))
            found["reader@1"].append(int(np.argmax(logit)) in may)
            found["both@1"].append(int(np.argmax(logit + 5 * score)) in may)
        shares = {key: round(float(np.mean(value)), 3) for key, value in found.items()}
        print(f"{name} {language} n={len(found['encoder@1'])} {shares}", flush=True)


@torch.no_grad()
def _report_cuts(name: str, models: Trained, data: TrainingSet, held: set[str]) -> None:
    """How often the number of parts is the labelled one, for some limits of the probability."""
    several = [(one.text, one.parts) for one in data.several if one.house in held]
    single = [(one.text, 1) for one in data.asked if one.house in held and one.measured]
    groups = {
        "several": several,
        "short": [one for one in single if len(one[0]) <= _LONG],
        "long": [one for one in single if len(one[0]) > _LONG],
    }
    for group, messages in groups.items():
        counts = []
        for start in range(0, len(messages), 256):
            some = messages[start : start + 256]
            _, words, texts = models.read([text for text, _ in some])
            for (text, parts), first in zip(some, texts.starts.tolist(), strict=False):
                at = [first + token for token, _ in models.tokens.word_starts(text)]
                if at:
                    sure = models.encoder.cuts(words, torch.tensor(at, device=words.device))
                    counts.append(
                        [int((sure.sigmoid() >= limit).sum()) + 1 - parts for limit in _LIMITS]
                    )
        off = np.array(counts).reshape(-1, len(_LIMITS))
        for place, limit in enumerate(_LIMITS):
            shares = [float(np.mean(test(off[:, place], 0))) for test in (np.less, np.equal)]
            print(
                f"{name} {group} n={len(off)} limit {limit}: "
                f"too few parts {shares[0]:.3f}, as many as labelled {shares[1]:.3f}",
                flush=True,
            )


_LONG = 120  # characters
_LIMITS = (0.2, 0.3, 0.4, 0.5, 0.6, 0.7)


def main() -> None:
    """Run all folds and the final training: at once on an accelerator, else one by one."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", required=True)
    parser.add_argument("--base", required=True, help="folder of the weights to start from")
    parser.add_argument("--out", required=True)
    parser.add_argument("--folds", type=int, default=3)
    parser.add_argument("--only", type=int, nargs="*", help="these alone; the last is the final")
    parser.add_argument("--epochs", type=int, default=Plan().epochs)
    parser.add_argument("--rate", type=float, default=Plan().rate, help="of the encoder's learning")
    parser.add_argument("--seed", type=int, default=Plan().seed)
    parser.add_argument("--workers", type=int, default=Plan().workers, help="that make batches")
    parser.add_argument("--device", default="cuda" if torch.cuda.is_available() else "cpu")
    arguments = parser.parse_args()
    Path(arguments.out).mkdir(parents=True, exist_ok=True)
    numbers = arguments.only if arguments.only else list(range(arguments.folds + 1))
    processes.set_start_method("spawn")
    running = [processes.Process(target=one_fold, args=(n, arguments)) for n in numbers]
    for process in running:
        process.start()
        if arguments.device == "cpu":
            process.join()  # each takes all cores, and 14 GB
    for process in running:
        process.join()
    if any(process.exitcode for process in running):
        raise SystemExit("a fold failed")


if __name__ == "__main__":
    main()

"""How well gaps are grouped by meaning: `python -m askhouse.measure.grouping [FOLDER]`.

The folder holds `choose.psv` and `report.psv`, a question a line: group, house, language,
text; see knowledge/gap-groups/README.md. Ours has its constants in `askhouse/gaps.py`, chosen
on the first file. Beside it stand plain cosines, with Askhouse's own encoder and with the
general one, each at the threshold that is best for it on the first file. Reported is the
second, in which no group is about what a group of the first is about.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np
import typer
from numpy.typing import NDArray
from rich.console import Console
from rich.table import Table

from askhouse.encoder import Vectors, open_encoder
from askhouse.errors import KnowledgeError
from askhouse.gaps import Centre, Meaning, grouped, nearest
from askhouse.topics import catalogue

__all__ = [
    "Question",
    "Score",
    "agreement",
    "in_turn",
    "interval",
    "main",
    "read_questions",
    "weighted",
]

FOLDER = Path("knowledge/gap-groups")
THRESHOLDS = np.arange(0.1, 0.96, 0.02)
DRAWS = 2_000
ORDERS = 20
SEED = 20260

Labels = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Question:
    """An unanswered question, and the group it is in; one of its own for a single."""

    group: str
    house: str
    language: str
    text: str


@dataclass(frozen=True, slots=True)
class Score:
    """How one way of grouping does on both files."""

    name: str
    threshold: float
    chosen: float
    reported: float
    interval: tuple[float, float]


def read_questions(path: Path) -> list[Question]:
    """The questions of a file, in its order.

    Raises:
        KnowledgeError: The file is missing, or a line is not as it should be; names the line.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise KnowledgeError(f"{path} cannot be read: name the folder of a labelled set") from error
    questions = []
    for number, line in enumerate(lines, 1):
        if line.startswith("#") or not line.strip():
            continue
        cells = [cell.strip() for cell in line.split("|")]
        if len(cells) != 4 or not all(cells):
            raise KnowledgeError(f"{path}:{number}: write group|house|language|text")
        group = f"single, line {number}" if cells[0] == "-" else cells[0]
        questions.append(Question(group, *cells[1:]))
    return questions


def agreement(questions: Sequence[Question], found: Sequence[int]) -> float:
    """The adjusted Rand index of the groups found, at most 1; 0 is chance.

    L. Hubert and P. Arabie, Journal of Classification 2, 1985, 193-218, by scikit-learn.
    """
    from sklearn.metrics import adjusted_rand_score

    return float(adjusted_rand_score([question.group for question in questions], found))


def interval(questions: Sequence[Question], found: Sequence[int]) -> tuple[float, float]:
    """A 95 % interval of the agreement over the choice of groups, by the bootstrap.

    Whole groups are drawn with putting back. The index counts pairs of questions, and so does
    this: a group drawn twice has its own pairs twice and its pairs with others twice, but no
    pairs with its copy, which would be found by themselves.
    """
    chance = np.random.default_rng(SEED)
    names, group = np.unique([question.group for question in questions], return_inverse=True)
    both = np.zeros((len(names), len(set(found))))
    np.add.at(both, (group, np.unique(found, return_inverse=True)[1]), 1)
    draws = chance.multinomial(len(names), np.full(len(names), 1 / len(names)), size=DRAWS)
    values = [weighted(both, weights) for weights in draws]
    low, high = np.percentile(values, [2.5, 97.5])
    return float(low), float(high)


def weighted(both: NDArray[np.float64], weights: NDArray[np.int64]) -> float:
    """The adjusted Rand index where each true group counts so often.

    Args:
        both: How many questions of each true group (rows) are in each found one.
        weights: One for each true group.
    """
    size = both.sum(axis=1)
    across = np.outer(weights, weights) * (1 - np.eye(len(weights)))
    together = weights @ (both * (both - 1) / 2).sum(axis=1)
    true = weights @ (size * (size - 1) / 2)
    found = together + (across * (both @ both.T)).sum() / 2
    every = true + (across * np.outer(size, size)).sum() / 2
    expected = true * found / every
    return float((together - expected) / ((true + found) / 2 - expected))


def plain(vectors: Vectors, threshold: float) -> list[int]:
    """Average linkage over cosines alone, until the nearest two groups are further apart."""
    from sklearn.cluster import AgglomerativeClustering

    clusters = AgglomerativeClustering(
        n_clusters=None, metric="cosine", linkage="average", distance_threshold=threshold
    )
    labels: list[int] = clusters.fit_predict(vectors).tolist()
    return labels


def in_turn(vectors: Vectors) -> list[int]:
    """The groups as the service makes them: each question as it comes, none moved afterwards."""
    centres: list[Centre] = []
    found = []
    for vector in vectors:
        place = nearest(vector, centres)
        if place is None:
            place = len(centres)
            centres.append(Centre(vector, 1))
        else:
            centres[place] = centres[place].with_more(Centre(vector, 1))
        found.append(place)
    return found


def best_threshold(questions: Sequence[Question], vectors: Vectors) -> float:
    """The threshold at which plain cosines agree best."""
    return float(max(THRESHOLDS, key=lambda t: agreement(questions, plain(vectors, float(t)))))


def scores(folder: Path, tell: Callable[[str], None] = lambda line: None) -> list[Score]:
    """Every way of grouping, measured."""
    chosen, reported = (read_questions(folder / f"{name}.psv") for name in ("choose", "report"))
    texts = [[question.text for question in questions] for questions in (chosen, reported)]
    rows = []
    for name in ("plain", "trained"):
        encoder = open_encoder(name)
        first, second = (encoder.encode(some) for some in texts)
        threshold = best_threshold(chosen, first)
        found = plain(second, threshold)
        chose = agreement(chosen, plain(first, threshold))
        rows.append(_score(f"cosine, {name} encoder", threshold, chose, reported, found))
        tell(f"{name} done")
    meaning = Meaning(encoder, catalogue())
    first, second = (meaning.of(some) for some in texts)
    chose = agreement(chosen, grouped(first))
    rows.append(_score("ours, all at once", 0.0, chose, reported, grouped(second)))
    return [*rows, _turns(chosen, first, reported, second)]


def _score(
    name: str, threshold: float, chose: float, reported: Sequence[Question], found: list[int]
) -> Score:
    value = agreement(reported, found)
    return Score(name, threshold, chose, value, interval(reported, found))


def _turns(
    chosen: Sequence[Question], first: Vectors, reported: Sequence[Question], second: Vectors
) -> Score:
    """Ours as questions come one by one: the mean over orders, and the spread of these."""

    def over_orders(questions: Sequence[Question], vectors: Vectors) -> list[float]:
        chance = np.random.default_rng(SEED)
        values = []
        for _ in range(ORDERS):
            order = chance.permutation(len(questions))
            values.append(agreement([questions[p] for p in order], in_turn(vectors[order])))
        return values

    values = over_orders(reported, second)
    chose = float(np.mean(over_orders(chosen, first)))
    spread = (min(values), max(values))
    return Score(f"ours, one by one ({ORDERS} orders)", 0.0, chose, float(np.mean(values)), spread)


def table(rows: Sequence[Score], folder: Path) -> Table:
    """The scores as a person reads them."""
    shown = Table(title=f"Grouping of gaps, adjusted Rand index, {folder.as_posix()}")
    for column in ("way", "threshold", "choosing", "reporting", "95 % interval"):
        shown.add_column(column, justify="left" if column == "way" else "right")
    for row in rows:
        threshold = f"{row.threshold:.2f}" if row.threshold else "as shipped"
        low, high = row.interval
        shown.add_row(
            row.name, threshold, f"{row.chosen:.3f}", f"{row.reported:.3f}", f"{low:.3f}-{high:.3f}"
        )
    return shown


def main(folder: Annotated[Path, typer.Argument(help="The labelled set.")] = FOLDER) -> None:
    """Measures the grouping of gaps, and prints a table."""
    console = Console()
    console.print(table(scores(folder), folder))
    console.print("One by one, the interval is the least and the best of the orders.")


if __name__ == "__main__":
    typer.run(main)

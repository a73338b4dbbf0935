"""Fit the decision on the corpus: weights of the signals, and the thresholds.

    python -m askhouse.training.decision --model plain

Whole houses are held out throughout: the heads, the weights and the chances
from which a threshold is chosen each come from other houses than the message's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np
import typer
from numpy.typing import NDArray
from scipy.stats import beta
from sklearn.linear_model import LogisticRegression
from sklearn.model_selection import GroupKFold

from askhouse.build import known_words
from askhouse.decision.calibration import Calibration, Promise
from askhouse.decision.signals import SIGNALS, hit_signals
from askhouse.encoder import Encoder, Vectors, open_encoder
from askhouse.kinds import KINDS, KindHead
from askhouse.search.search import HouseSearch
from askhouse.search.store import VectorStore
from askhouse.training.corpus import Corpus, Label, read_corpus
from askhouse.training.heads import fit_heads
from askhouse.values import Hit

__all__ = ["clopper_pearson_upper", "threshold_for_risk"]

FOLDS = 6
MOST_HITS = 5
CONFIDENCE = 0.95
SEED = 7


@dataclass(frozen=True, slots=True)
class Example:
    """One message of the corpus with one label, searched."""

    house: str
    text: str
    language: str
    label: Label
    vector: Vectors
    hits: tuple[Hit, ...]

    @property
    def right(self) -> NDArray[np.bool_]:
        """For each hit, whether it may be given as the answer."""
        may = {*self.label.needed, *self.label.also}
        return np.array([hit.fact.id in may for hit in self.hits])


def gather(corpus: Corpus, encoder: Encoder) -> list[Example]:
    """Every message with one label, searched in its house."""
    store = VectorStore(None, encoder)
    examples = []
    for slug, house in corpus.houses.items():
        search = HouseSearch(house, store, known=known_words())
        lines = [line for line in corpus.lines if line.house == slug and len(line.labels) == 1]
        texts = [search.mend(line.text) for line in lines]
        vectors = encoder.encode(texts)
        for line, text, vector in zip(lines, texts, vectors, strict=True):
            hits = search.hits(text, vector, most=MOST_HITS)
            examples.append(Example(slug, text, line.language, line.labels[0], vector, hits))
    return examples


def held_out_kinds(
    examples: Sequence[Example], corpus: Corpus, encoder: Encoder
) -> list[dict[str, float]]:
    """The kind head's probabilities for each example, from a head fitted on other houses."""
    triage_vectors = encoder.encode([entry.text for entry in corpus.triage])
    triage_kinds = [entry.kind for entry in corpus.triage]
    triage_hazards = [entry.hazard for entry in corpus.triage]
    vectors = np.stack([example.vector for example in examples])
    kinds = [example.label.kind for example in examples]
    scores: list[dict[str, float]] = [{} for _ in examples]
    for train, test in _folds(examples):
        arrays = fit_heads(
            np.concatenate([vectors[train], triage_vectors]),
            [kinds[i] for i in train] + triage_kinds,
            [None] * len(train) + triage_hazards,
        )
        head = KindHead(
            tuple(str(c) for c in arrays["kind_classes"]),
            arrays["kind_weights"].astype(np.float32),
            arrays["kind_bias"].astype(np.float32),
        )
        for place in test:
            scores[place] = head.probabilities(vectors[place])
    return scores


def fit_weights(
    signals: Sequence[NDArray[np.float64]], right: Sequence[NDArray[np.bool_]]
) -> tuple[NDArray[np.float64], float]:
    """Logistic regression over all hits of all examples: weights and bias on raw signals."""
    rows, truth = np.concatenate(signals), np.concatenate(right)
    mean, spread = rows.mean(axis=0), rows.std(axis=0) + 1e-9
    model = LogisticRegression(C=1.0, max_iter=2000, random_state=SEED)
    model.fit((rows - mean) / spread, truth)
    weights = model.coef_[0] / spread
    return weights, float(model.intercept_[0] - weights @ mean)


def _folds(examples: Sequence[Example]) -> list[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    houses = [example.house for example in examples]
    folds = min(FOLDS, len(set(houses)))
    return list(GroupKFold(folds).split(houses, groups=houses))


def clopper_pearson_upper(errors: int, total: int, confidence: float = CONFIDENCE) -> float:
    """The upper bound of a share: with `confidence` the true share is not above it.

    C. J. Clopper and E. S. Pearson, Biometrika 26, 1934, 404-413.
    """
    if errors >= total:
        return 1.0
    return float(beta.ppf(confidence, errors + 1, total - errors))


def threshold_for_risk(
    chances: NDArray[np.float64],
    wrong: NDArray[np.bool_],
    risk: float,
    confidence: float = CONFIDENCE,
) -> float:
    """The lowest threshold whose wrong replies stay under `risk` with `confidence`.

    Thresholds are tried from the strictest down and the first that fails ends the
    search (fixed-sequence testing), so that trying many costs no confidence.

    Args:
        chances: For each message, the chance of its best fact.
        wrong: Whether that fact would be a wrong reply.
        risk: The share of all messages that may get one.
        confidence: Over the draw of messages.
    """
    best = 1.0
    for threshold in np.arange(0.99, 0.04, -0.01):
        errors = int((wrong & (chances >= threshold)).sum())
        if clopper_pearson_upper(errors, len(chances), confidence) > risk:
            break
        best = float(threshold)
    return round(best, 2)


def main(
    model: Annotated[str, typer.Option(help="plain, trained, or a folder")] = "plain",
    corpus: Annotated[Path, typer.Option()] = Path("knowledge/corpus"),
    risk: Annotated[
        float, typer.Option(help="share of messages that may get a wrong reply")
    ] = 0.04,
    out: Annotated[Path | None, typer.Option()] = None,
) -> None:
    """Fit and write the calibration."""
    encoder = open_encoder(model)
    read = read_corpus(corpus)
    examples = gather(read, encoder)
    kinds = held_out_kinds(examples, read, encoder)
    signals = [hit_signals(e.text, e.hits, k) for e, k in zip(examples, kinds, strict=True)]
    right = [example.right for example in examples]
    chances = np.zeros(len(examples))
    wrong = np.zeros(len(examples), dtype=bool)
    also_chances: list[tuple[float, bool]] = []
    for train, test in _folds(examples):
        weights, bias = fit_weights([signals[i] for i in train], [right[i] for i in train])
        for place in test:
            share = 1 / (1 + np.exp(-(signals[place] @ weights + bias)))
            best = int(np.argmax(share))
            chances[place], wrong[place] = share[best], not right[place][best]
            also_chances += [
                (float(s), bool(r))
                for i, (s, r) in enumerate(zip(share, right[place], strict=True))
                if i != best
            ]
    alarmed = np.array([max(k["safety"], k["lockout"]) >= 0.5 for k in kinds])
    chances[alarmed] = 0.0  # an alarm is never answered from the facts
    threshold = threshold_for_risk(chances, wrong, risk)
    answerable = np.array([bool(example.label.needed) for example in examples])
    right_now = answerable & ~wrong & (chances >= threshold)
    print(f"messages {len(examples)}, houses {len(read.houses)}, threshold {threshold}")
    print(
        f"right {right_now.sum() / answerable.sum():.3f} of answerable, "
        f"wrong {(wrong & (chances >= threshold)).mean():.3f} of messages"
    )
    weights, bias = fit_weights(signals, right)
    for name, weight in sorted(zip(SIGNALS, weights, strict=True), key=lambda p: -abs(p[1])):
        print(f"  {name:16} {weight:+.3f}")
    safety, lockout = _alarm_thresholds(examples, kinds)
    path = out or Path(__file__).parents[1] / "models" / f"decision-{model}.json"
    Calibration(
        encoder=encoder.name,
        reader="",
        weights=weights,
        bias=bias,
        threshold=threshold,
        also=_also(also_chances),
        safety=safety,
        lockout=lockout,
        promise=Promise(risk, CONFIDENCE, len(examples), len(read.houses)),
    ).write(path)
    print(path)


def _also(chances: Sequence[tuple[float, bool]], precision: float = 0.8) -> float:
    """The lowest chance from which further facts are right at least so often."""
    ordered = sorted(chances, reverse=True)
    best, right = 0.95, 0
    for count, (chance, good) in enumerate(ordered, start=1):
        right += good
        if count >= 20 and right / count >= precision:
            best = chance
    return round(best, 3)


def _alarm_thresholds(
    examples: Sequence[Example], kinds: Sequence[dict[str, float]]
) -> tuple[float, float]:
    """Probabilities from which the heads alone raise an alarm: at most 1 % false on other messages."""
    assert set(kinds[0]) == set(KINDS)
    return tuple(  # type: ignore[return-value]
        round(
            float(
                np.quantile(
                    [k[name] for e, k in zip(examples, kinds, strict=True) if e.label.kind != name],
                    0.99,
                )
            ),
            3,
        )
        for name in ("safety", "lockout")
    )


if __name__ == "__main__":
    typer.run(main)

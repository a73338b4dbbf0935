"""Fit the decision on the corpus: weights of the signals, and the thresholds.

    python -m askhouse.training.decision --model trained --folds DIR

With the folds of several trainings the decision is the mean of what each would say.

Whole houses are held out throughout: the models, the heads, the weights and the
chances from which a threshold is chosen each come from other houses than the
message's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np
import typer
from numpy.typing import NDArray
from sklearn.neural_network import MLPClassifier

from askhouse.decision.calibration import Calibration, Network, Promise
from askhouse.decision.risk import CONFIDENCE, threshold_for_risk
from askhouse.encoder import MODELS, open_encoder
from askhouse.training.corpus import read_corpus
from askhouse.training.scored import Example, from_folds, from_plain, house_folds, signals_of

__all__ = ["HeldOut", "alarm_threshold", "averaged", "fit_network", "held_out", "shares_at"]

SEED = 7
_STARTS = (SEED, 8, 9)  # one fit hangs on its random start; the mean of three does less
UNITS = 32  # more did no better on houses held out
HARMLESS = 0.005  # below it, no alarm that a doubtful word named was missed on houses held out


def fit_network(
    signals: Sequence[NDArray[np.float64]], right: Sequence[NDArray[np.bool_]], seed: int = SEED
) -> Network:
    """One hidden layer over the signals of all hits of all examples."""
    rows, truth = np.concatenate(signals), np.concatenate(right)
    mean, spread = rows.mean(axis=0), rows.std(axis=0)
    spread[spread < 1e-6] = 1.0  # a signal that is always the same, such as a reader's without one
    model = MLPClassifier(
        (UNITS,),
        alpha=1e-3,
        early_stopping=True,
        max_iter=60,
        batch_size=512,
        learning_rate_init=2e-3,
        random_state=seed,
    )
    model.fit((rows - mean) / spread, truth)
    (hidden, out), (hidden_bias, bias) = model.coefs_, model.intercepts_
    return Network(
        mean=mean,
        spread=spread,
        hidden=hidden,
        hidden_bias=hidden_bias,
        weights=out[:, 0],
        bias=float(bias[0]),
    )


def averaged(networks: Sequence[Network]) -> Network:
    """One network whose logit is the mean of theirs.

    Their hidden units stand side by side; each keeps its own scale of the signals,
    told in that of the first.
    """
    first = networks[0]
    return Network(
        mean=first.mean,
        spread=first.spread,
        hidden=np.hstack([n.hidden * (first.spread / n.spread)[:, None] for n in networks]),
        hidden_bias=np.concatenate(
            [n.hidden_bias + ((first.mean - n.mean) / n.spread) @ n.hidden for n in networks]
        ),
        weights=np.concatenate([n.weights for n in networks]) / len(networks),
        bias=float(np.mean([n.bias for n in networks])),
    )


@dataclass(frozen=True, slots=True)
class HeldOut:
    """What networks say about houses that they have not seen.

    Attributes:
        chance: Of each message's best hit, `(messages,)`.
        wrong: Whether that hit would be a wrong reply, `(messages,)`.
        further: Chance of every other hit, and whether it may be given.
    """

    chance: NDArray[np.float64]
    wrong: NDArray[np.bool_]
    further: list[tuple[float, bool]]


def held_out(
    examples: Sequence[Example], signals: Sequence[NDArray[np.float64]], seed: int = SEED
) -> HeldOut:
    """Fits on all houses but some, and judges those, until all are judged."""
    right = [example.right for example in examples]
    found = HeldOut(np.zeros(len(examples)), np.zeros(len(examples), dtype=bool), [])
    for train, test in house_folds([example.house for example in examples]):
        fitted = fit_network([signals[i] for i in train], [right[i] for i in train], seed)
        for place in test:
            chances = fitted.probabilities(signals[place])
            best = int(np.argmax(chances))
            found.chance[place], found.wrong[place] = chances[best], not right[place][best]
            found.further.extend(
                (float(chance), bool(good))
                for i, (chance, good) in enumerate(zip(chances, right[place], strict=True))
                if i != best
            )
    return found


def main(
    model: Annotated[str, typer.Option(help="trained or plain")] = "trained",
    corpus: Annotated[Path, typer.Option()] = Path("knowledge/corpus"),
    folds: Annotated[
        list[Path] | None, typer.Option(help="what the folds of a training wrote; repeat")
    ] = None,
    risk: Annotated[
        float, typer.Option(help="share of messages that may get a wrong reply")
    ] = 0.03,
    out: Annotated[Path, typer.Option()] = MODELS,
) -> None:
    """Fit and write the calibration."""
    encoder = open_encoder(model)
    read = read_corpus(corpus)
    trainings = [from_folds(read, folder) for folder in folds or ()] or [from_plain(read, encoder)]
    signals = [signals_of(examples) for examples in trainings]
    networks = [
        fit_network(own, [example.right for example in examples], seed)
        for own, examples in zip(signals, trainings, strict=True)
        for seed in _STARTS
    ]
    # What is promised, and when a head raises an alarm, is told by the last training.
    examples = trainings[-1]
    found = held_out(examples, signals[-1])
    safety, lockout = (alarm_threshold(examples, name) for name in ("safety", "lockout"))
    alarmed = [e.kinds["safety"] >= safety or e.kinds["lockout"] >= lockout for e in examples]
    found.chance[np.array(alarmed)] = 0.0  # an alarm is never answered from the facts
    threshold = threshold_for_risk(found.chance, found.wrong, risk)
    _report(examples, found, threshold)
    path = out / f"decision-{model}.json"
    Calibration(
        encoder=encoder.name,
        reader="reader.onnx" if folds else "",
        network=averaged(networks),
        threshold=threshold,
        also=_also(found.further),
        safety=safety,
        lockout=lockout,
        harmless=HARMLESS if folds else 0.0,
        promise=Promise(risk, CONFIDENCE, len(examples), len({e.house for e in examples})),
    ).write(path)
    print(path.name)


def shares_at(
    examples: Sequence[Example],
    found: HeldOut,
    threshold: float,
    group: NDArray[np.bool_] | None = None,
) -> tuple[float, float, float, float]:
    """Shares, 0 to 1: best fact right, answered rightly, wrong of all, gaps kept.

    Args:
        group: Only these examples; None for all.
    """
    some = np.ones(len(examples), dtype=bool) if group is None else group
    answerable = some & np.array([bool(example.label.needed) for example in examples])
    gap = some & np.array([example.label.is_gap for example in examples])
    given = found.chance >= threshold
    good = answerable & ~found.wrong
    return (
        float(good.sum() / answerable.sum()),
        float((good & given).sum() / answerable.sum()),
        float((some & found.wrong & given).sum() / some.sum()),
        float((gap & ~given).sum() / gap.sum()),
    )


def _report(examples: Sequence[Example], found: HeldOut, threshold: float) -> None:
    english = np.array([example.language == "en" for example in examples])
    for name, group in (("all", english | True), ("English", english), ("other", ~english)):
        first, right, wrong, kept = shares_at(examples, found, threshold, group)
        print(
            f"{name:8} {group.sum():6} messages, threshold {threshold:.2f}: right {right:.3f}, "
            f"wrong {wrong:.3f}, gaps kept {kept:.3f}, best fact right {first:.3f}"
        )


def _also(chances: Sequence[tuple[float, bool]], precision: float = 0.8) -> float:
    """The lowest chance from which further facts are right at least so often."""
    best, right = 0.95, 0
    for count, (chance, good) in enumerate(sorted(chances, reverse=True), start=1):
        right += good
        if count >= 20 and right / count >= precision:
            best = chance
    return round(best, 3)


def alarm_threshold(examples: Sequence[Example], name: str) -> float:
    """The probability from which a head alone raises an alarm: it does so falsely for 1 in 100.

    A miss can cost a life and a false alarm a night's sleep, so no more is asked of it.
    """
    others = [example.heard[name] for example in examples if example.label.kind != name]
    return round(float(np.quantile(others, 0.99)), 3)


if __name__ == "__main__":
    typer.run(main)

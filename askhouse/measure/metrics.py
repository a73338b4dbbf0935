"""Each figure as n of N with its interval, and the curves over confidence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from statsmodels.stats.proportion import proportion_confint

__all__ = [
    "Share",
    "area_under_risk_coverage",
    "brier_score",
    "calibration_error",
    "reliability",
    "risk_coverage",
]


@dataclass(frozen=True, slots=True)
class Share:
    """A share with its Wilson 95 % interval (E. B. Wilson, JASA 22, 1927, 209-212)."""

    count: int
    total: int

    @property
    def value(self) -> float:
        """The share, 0 to 1; not a number where nothing was counted."""
        return self.count / self.total if self.total else float("nan")

    @property
    def interval(self) -> tuple[float, float]:
        """Lower and upper bound, 0 to 1."""
        if not self.total:
            return (0.0, 1.0)
        low, high = proportion_confint(self.count, self.total, alpha=0.05, method="wilson")
        return (float(low), float(high))

    def __str__(self) -> str:
        if not self.total:
            return "0 of 0"
        low, high = self.interval
        return f"{self.count} of {self.total} = {self.value:.1%} [{low:.1%}, {high:.1%}]"


def risk_coverage(
    confidences: Sequence[float], errors: Sequence[bool]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Coverage and risk when only the surest k are answered, for k = 1 to n.

    Geifman and El-Yaniv, "Selective classification for deep neural networks", 2017.
    """
    order = np.argsort(-np.asarray(confidences, dtype=float), kind="stable")
    wrong = np.asarray(errors, dtype=float)[order]
    counts = np.arange(1, len(wrong) + 1)
    return counts / max(len(wrong), 1), np.cumsum(wrong) / counts


def area_under_risk_coverage(confidences: Sequence[float], errors: Sequence[bool]) -> float:
    """The mean of the risks over all coverages; smaller is better."""
    _, risk = risk_coverage(confidences, errors)
    return float(risk.mean()) if len(risk) else float("nan")


def calibration_error(confidences: Sequence[float], right: Sequence[bool], bins: int = 10) -> float:
    """Expected calibration error with bins of equal width; empty bins count nothing.

    Guo et al., "On calibration of modern neural networks", ICML 2017.
    """
    if not len(confidences):
        return float("nan")
    sure, good, counts = reliability(confidences, right, bins)
    return float((counts / counts.sum() * np.abs(good - sure)).sum())


def reliability(
    confidences: Sequence[float], right: Sequence[bool], bins: int = 10
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.int64]]:
    """Mean confidence, share right and count of each bin of equal width that is not empty."""
    sure = np.asarray(confidences, dtype=float)
    good = np.asarray(right, dtype=float)
    places = np.minimum((sure * bins).astype(int), bins - 1)
    counts = np.bincount(places, minlength=bins)
    held = counts > 0
    return (
        np.bincount(places, sure, bins)[held] / counts[held],
        np.bincount(places, good, bins)[held] / counts[held],
        counts[held],
    )


def brier_score(confidences: Sequence[float], right: Sequence[bool]) -> float:
    """The mean squared difference of confidence and truth, 0 to 1; smaller is better.

    G. W. Brier, Monthly Weather Review 78, 1950, 1-3, halved as is usual for two classes.
    """
    if not len(confidences):
        return float("nan")
    sure, good = np.asarray(confidences, dtype=float), np.asarray(right, dtype=float)
    return float(((sure - good) ** 2).mean())

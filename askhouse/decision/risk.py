"""The threshold for a stated risk, with a guarantee for finite samples."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.stats import beta

__all__ = ["CONFIDENCE", "clopper_pearson_upper", "threshold_for_risk"]

CONFIDENCE = 0.95


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

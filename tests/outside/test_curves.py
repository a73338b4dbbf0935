"""Risk by coverage and calibration, against worked examples and scikit-learn."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from sklearn.calibration import calibration_curve
from sklearn.metrics import auc

from askhouse.measure.metrics import area_under_risk_coverage, calibration_error, risk_coverage

# Errors of five answers, the surest first.
ERRORS = [False, False, True, False, True]
SURE = [0.9, 0.8, 0.7, 0.6, 0.5]


def test_risks_by_definition() -> None:
    """
    Of 0, 0, 1, 0, 1: the first k hold 0, 0, 1, 1, 2 errors, so the risks are 0, 0, 1/3, 1/4, 2/5.

    Y. Geifman, R. El-Yaniv, "Selective classification for deep neural networks", NeurIPS 2017.
    """
    coverage, risk = risk_coverage(SURE, ERRORS)

    assert coverage.tolist() == pytest.approx([0.2, 0.4, 0.6, 0.8, 1.0])
    assert risk.tolist() == pytest.approx([0, 0, 1 / 3, 1 / 4, 2 / 5])


def test_the_area_is_the_mean_risk() -> None:
    """
    The mean of those risks is 0.1967; with both errors last it is 0.13, the least there is.

    Y. Geifman, G. Uziel, R. El-Yaniv, "Bias-reduced uncertainty estimation", ICLR 2019, whose
    excess area is the difference: 0.0667.
    """
    found = area_under_risk_coverage(SURE, ERRORS)
    orders = [area_under_risk_coverage(SURE, order) for order in set(permutations(ERRORS))]

    assert found == pytest.approx(0.1967, abs=5e-5)
    assert min(orders) == pytest.approx(0.13)
    assert found - min(orders) == pytest.approx(0.0667, abs=5e-5)


def test_the_area_is_near_the_trapezium_rule() -> None:
    """
    With many answers, the mean of the risks is scikit-learn's area under the same curve.
    """
    random = np.random.default_rng(7)
    sure = random.random(2000)
    wrong = random.random(2000) > sure

    coverage, risk = risk_coverage(sure, wrong)

    assert area_under_risk_coverage(sure, wrong) == pytest.approx(auc(coverage, risk), abs=0.002)


def test_the_worked_calibration_error() -> None:
    """
    Four at 0.95 (3 right), four at 0.75 (3 right), two at 0.55 (1 right), in ten bins: 0.09.

    0.4 · 0.20 + 0.4 · 0 + 0.2 · 0.05. The definition: M. P. Naeini, G. Cooper, M. Hauskrecht,
    AAAI 2015; C. Guo, G. Pleiss, Y. Sun, K. Weinberger, ICML 2017.
    """
    sure = [0.95] * 4 + [0.75] * 4 + [0.55] * 2
    right = [True, True, True, False] * 2 + [True, False]

    assert calibration_error(sure, right, bins=10) == pytest.approx(0.09)


@pytest.mark.parametrize("bins", [5, 10, 15])
def test_the_bins_are_scikit_learns(bins: int) -> None:
    """
    From scikit-learn's reliability curve, the weighted mean of the gaps is our error.
    """
    random = np.random.default_rng(11)
    sure = random.beta(5, 2, 1500)
    right = random.random(1500) < sure**1.3

    share, mean = calibration_curve(right, sure, n_bins=bins, strategy="uniform")
    counts = np.histogram(sure, bins=bins, range=(0, 1))[0]
    gaps = np.abs(share - mean) * counts[counts > 0] / len(sure)

    assert calibration_error(sure, right, bins=bins) == pytest.approx(gaps.sum(), abs=1e-9)
    assert gaps.sum() > 0.01

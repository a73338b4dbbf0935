"""The Brier score, against scikit-learn."""

from __future__ import annotations

import math

import numpy as np
import pytest
from sklearn.metrics import brier_score_loss

from askhouse.measure.metrics import brier_score


def test_the_example_of_scikit_learn() -> None:
    """
    Of 0, 1, 1, 0 with 0.1, 0.9, 0.8, 0.3: (0.01 + 0.01 + 0.04 + 0.09) / 4 = 0.0375.

    scikit-learn 1.9.1, docstring of `sklearn.metrics.brier_score_loss`; the definition is
    G. W. Brier, Monthly Weather Review 78, 1950.
    """
    assert brier_score([0.1, 0.9, 0.8, 0.3], [False, True, True, False]) == pytest.approx(0.0375)


def test_it_is_scikit_learns() -> None:
    """
    For 1,500 drawn chances, ours is scikit-learn's.
    """
    random = np.random.default_rng(13)
    sure = random.beta(4, 2, 1500)
    right = random.random(1500) < sure

    found = brier_score(sure.tolist(), right.tolist())

    assert found == pytest.approx(brier_score_loss(right, sure))
    assert found > 0.1


def test_of_nothing_there_is_no_score() -> None:
    """
    Nothing answered is not a good score.
    """
    assert math.isnan(brier_score([], []))

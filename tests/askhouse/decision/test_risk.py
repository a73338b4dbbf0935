"""The threshold for a stated risk, worked out by hand; its bound is checked in tests/outside."""

from __future__ import annotations

import numpy as np
import pytest

from askhouse.decision.risk import clopper_pearson_upper, threshold_for_risk


def threshold(chances: list[float], wrong: list[bool], risk: float) -> float:
    return threshold_for_risk(np.array(chances), np.array(wrong), risk, confidence=0.95)


def test_without_errors_the_threshold_falls_to_the_floor() -> None:
    """
    A hundred messages without a wrong fact have a bound of 2.95 %, so 5 % risk allows everything.
    """
    assert clopper_pearson_upper(0, 100) == pytest.approx(1 - 0.05**0.01)
    assert threshold([0.5] * 100, [False] * 100, 0.05) == pytest.approx(0.05)


def test_the_threshold_stands_above_the_error_too_many() -> None:
    """
    One error in a hundred has the bound 4.66 %, two have 6.16 %: at 5 % the second must stay out.

    The errors are at 0.805 and 0.605, so every threshold from 0.61 up lets in one of them.
    """
    chances = [0.95] * 98 + [0.805, 0.605]
    wrong = [False] * 98 + [True, True]

    assert clopper_pearson_upper(1, 100) == pytest.approx(0.0466, abs=5e-5)
    assert clopper_pearson_upper(2, 100) == pytest.approx(0.0616, abs=5e-5)
    assert threshold(chances, wrong, 0.05) == 0.61
    assert threshold(chances, wrong, 0.04) == 0.81
    assert threshold(chances, wrong, 0.07) == 0.05


def test_too_few_messages_allow_nothing() -> None:
    """
    Ten messages without an error still leave a bound of 25.9 %: no threshold keeps 5 %.
    """
    assert threshold([0.9] * 10, [False] * 10, 0.05) == 1.0


def test_the_threshold_itself_answers() -> None:
    """
    `>=` is on the answering side: an error exactly at a threshold counts there.
    """
    chances = [0.95] * 98 + [0.75, 0.75]
    wrong = [False] * 98 + [True, True]

    assert threshold(chances, wrong, 0.05) == 0.76

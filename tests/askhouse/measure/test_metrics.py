"""Each figure by hand; published values are in tests/outside."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from askhouse.measure.metrics import (
    Share,
    area_under_risk_coverage,
    calibration_error,
    risk_coverage,
)


def test_a_share_says_n_of_all() -> None:
    """
    18 of 20 are 90 %, with the Wilson interval that belongs to it.
    """
    assert str(Share(18, 20)) == "18 of 20 = 90.0% [69.9%, 97.2%]"
    assert Share(18, 20).value == pytest.approx(0.9)


def test_nothing_counted_is_no_share() -> None:
    """
    Of nothing, the share is not a number, and the interval says that it could be any.
    """
    assert math.isnan(Share(0, 0).value)
    assert Share(0, 0).interval == (0.0, 1.0)
    assert str(Share(0, 0)) == "0 of 0"


@given(st.integers(1, 5000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_interval_holds_the_share(counted: tuple[int, int]) -> None:
    """
    The interval lies in 0 to 1, holds the share, and is narrower than that of a tenth as many.
    """
    count, total = counted
    low, high = Share(count, total).interval

    assert 0.0 <= low <= count / total + 1e-12
    assert count / total - 1e-12 <= high <= 1.0
    wide_low, wide_high = Share(count, total).interval
    narrow_low, narrow_high = Share(10 * count, 10 * total).interval
    assert narrow_high - narrow_low < wide_high - wide_low


def test_risk_is_counted_from_the_surest_down() -> None:
    """
    Four answers, surest first right, wrong, right, wrong: risks 0, 1/2, 1/3, 2/4.
    """
    coverage, risk = risk_coverage([0.6, 0.9, 0.7, 0.8], [True, False, False, True])

    assert coverage.tolist() == [0.25, 0.5, 0.75, 1.0]
    assert risk.tolist() == pytest.approx([0, 1 / 2, 1 / 3, 2 / 4])
    assert area_under_risk_coverage(
        [0.6, 0.9, 0.7, 0.8], [True, False, False, True]
    ) == pytest.approx((0 + 1 / 2 + 1 / 3 + 1 / 2) / 4)


def test_equally_sure_answers_keep_their_order() -> None:
    """
    Where confidences tie, the order given decides, so that a run can be repeated.
    """
    _, risk = risk_coverage([0.5, 0.5], [True, False])

    assert risk.tolist() == [1.0, 0.5]


def test_no_answers_have_no_curve() -> None:
    """
    Where nothing was answered there is no figure, and no error.
    """
    assert [len(axis) for axis in risk_coverage([], [])] == [0, 0]
    assert math.isnan(area_under_risk_coverage([], []))
    assert math.isnan(calibration_error([], []))


def test_calibration_error_is_the_gap_of_each_bin() -> None:
    """
    Two at 0.85 (one right): gap 0.35. Two at 0.25 (none right): gap 0.25. Half each: 0.30.
    """
    assert calibration_error(
        [0.85, 0.85, 0.25, 0.25], [True, False, False, False]
    ) == pytest.approx(0.30)


def test_certainty_belongs_to_the_last_bin() -> None:
    """
    1.0 falls into the bin below it; always right and certain is no error, never right is one.
    """
    assert calibration_error([1.0, 1.0], [True, True]) == 0.0
    assert calibration_error([1.0, 1.0], [False, False]) == 1.0


@given(
    st.lists(st.tuples(st.floats(0, 1), st.booleans()), min_size=1, max_size=60),
)
def test_the_curves_are_bounded(answers: list[tuple[float, bool]]) -> None:
    """
    The last risk is the share of errors; all risks, their mean and the error of calibration are
    shares.
    """
    sure, wrong = [s for s, _ in answers], [w for _, w in answers]

    coverage, risk = risk_coverage(sure, wrong)

    assert risk[-1] == pytest.approx(np.mean(wrong))
    assert coverage[-1] == 1.0
    assert all(0 <= one <= 1 for one in risk)
    assert min(risk) <= area_under_risk_coverage(sure, wrong) <= max(risk) + 1e-12
    assert 0 <= calibration_error(sure, wrong) <= 1

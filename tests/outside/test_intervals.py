"""Intervals of shares, against published values."""

from __future__ import annotations

import pytest
from statsmodels.stats.proportion import proportion_confint

from askhouse.decision.risk import clopper_pearson_upper
from askhouse.measure.metrics import Share


@pytest.mark.parametrize(
    ("count", "total", "low", "high"),
    [
        # statsmodels/statsmodels@82c59e3, statsmodels/stats/tests: values from R.
        (18, 20, 0.698966, 0.972134),
        (4, 20, 0.080658, 0.416017),
        (100, 200, 0.4313609, 0.5686391),
        # R, as published at rstudio-pubs-static 1367507.
        (6, 32, 0.08889545, 0.35309155),
        # R. G. Newcombe, Statistics in Medicine 17, 1998, 857-872, table I, method 3.
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
        # By hand: of nothing wrong in ten, z² / (10 + z²) = 3.8415 / 13.8415.
        (0, 10, 0.0, 0.2775),
        (10, 10, 0.7225, 1.0),
    ],
)
def test_wilson(count: int, total: int, low: float, high: float) -> None:
    """
    The Wilson 95 % interval to as many digits as were printed, and never outside of 0 and 1.
    """
    found = Share(count, total).interval

    assert found == pytest.approx((low, high), abs=5e-5)
    assert 0.0 <= found[0] <= found[1] <= 1.0


@pytest.mark.parametrize(
    ("errors", "total"), [(0, 10), (1, 10), (5, 10), (10, 10), (3, 300), (12, 481), (40, 7352)]
)
@pytest.mark.parametrize("confidence", [0.9, 0.95, 0.99])
def test_clopper_pearson(errors: int, total: int, confidence: float) -> None:
    """
    The one-sided bound at 95 % is the upper end of statsmodels' two-sided interval at 90 %.
    """
    _, high = proportion_confint(errors, total, alpha=2 * (1 - confidence), method="beta")

    assert clopper_pearson_upper(errors, total, confidence) == pytest.approx(high, abs=1e-9)


@pytest.mark.parametrize(("total", "bound"), [(10, 0.2589), (30, 0.0950), (59, 0.0495)])
def test_no_error_has_a_bound_by_hand(total: int, bound: float) -> None:
    """
    Without an error in n, the bound p solves (1 - p)ⁿ = 0.05: 1 - 0.05^(1/n), about 3/n.

    Fifty-nine without an error show at 95 % that less than one in twenty is wrong.
    """
    assert clopper_pearson_upper(0, total, 0.95) == pytest.approx(1 - 0.05 ** (1 / total))
    assert clopper_pearson_upper(0, total, 0.95) == pytest.approx(bound, abs=5e-5)


@pytest.mark.parametrize(
    ("errors", "total", "bound"),
    [
        # R. G. Newcombe, Statistics in Medicine 17, 1998, 857-872, table I, method 5: the
        # upper ends of the two-sided 95 % interval, which are one-sided at 97.5 %.
        (81, 263, 0.3676),
        (15, 148, 0.1617),
        (0, 20, 0.1684),
        (1, 29, 0.1776),
    ],
)
def test_clopper_pearson_as_published(errors: int, total: int, bound: float) -> None:
    """
    The exact bound to as many digits as were printed.
    """
    assert clopper_pearson_upper(errors, total, 0.975) == pytest.approx(bound, abs=5e-5)

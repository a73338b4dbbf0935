"""The pictures say what the numbers say: titles, axes and the points that are drawn."""

from __future__ import annotations

import pytest

pytest.importorskip("matplotlib")

from askhouse.measure.pictures import Curve, draw_reliability, draw_risk_coverage
from askhouse.measure.threshold import Surest

# Four answered at 0.95, three of them right; two at 0.55, one right; one alarm, never answered.
FOUND = [
    *[Surest(0.95, wrong=False)] * 3,
    Surest(0.95, wrong=True),
    Surest(0.55, wrong=False),
    Surest(0.55, wrong=True),
    Surest(0.0, wrong=False),
]
CURVE = Curve("by hand", FOUND, "#000000", "-")


def test_the_diagram_shows_share_right_by_chance() -> None:
    """
    The points are (0.55, 1/2) and (0.95, 3/4); 4/6 · 0.2 + 2/6 · 0.05 = 0.15 is the error.
    """
    above, below = draw_reliability(CURVE).axes

    points = above.lines[1].get_xydata()
    assert points[:, 0].tolist() == pytest.approx([0.55, 0.95])
    assert points[:, 1].tolist() == pytest.approx([0.5, 0.75])
    assert "calibration error 0.150" in above.get_title()
    assert above.get_ylabel() == "share that is right"
    assert below.get_xlabel() == "chance of the best fact"
    assert [bar.get_height() for bar in below.patches] == [2, 4]


def test_the_curve_marks_the_threshold() -> None:
    """
    At 0.9 four of seven messages get a fact, and one of the four is wrong.
    """
    (axes,) = draw_risk_coverage([CURVE], threshold=0.9).axes

    curve, mark = axes.lines
    # The alarm is among the seven, but the curve ends with the six that could get a fact.
    assert curve.get_xdata()[-1] == pytest.approx(6 / 7)
    assert mark.get_xydata()[0].tolist() == pytest.approx([4 / 7, 1 / 4])
    assert mark.get_label() == "threshold 0.90"


def test_a_threshold_that_nothing_reaches_is_not_marked() -> None:
    """
    Without an answered message there is no point to mark.
    """
    (axes,) = draw_risk_coverage([CURVE], threshold=0.99).axes

    assert len(axes.lines) == 1

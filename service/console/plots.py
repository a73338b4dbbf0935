"""Plots as SVG, drawn here: no script, no picture file, colours from the style sheet.

A plot is for the eye alone; the page puts its caption and the table with the same numbers beside
it, and these are what a screen reader reads.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from markupsafe import Markup

__all__ = ["Series", "lying_bars", "standing_bars", "steps"]

_WIDTH, _HEIGHT = 320, 200
_MOST_NAMES = 5
_LEFT, _RIGHT, _TOP, _BOTTOM = 34, 6, 10, 24


@dataclass(frozen=True, slots=True)
class Series:
    """One row of numbers with the name of its colour; None where there is no number."""

    colour: str
    values: Sequence[float | None]


def steps(top: float) -> list[float]:
    """Round numbers from 0 up to at least `top`, three to six of them: 23 -> 0, 10, 20, 30."""
    if top <= 0:
        return [0.0, 1.0]
    rough = top / 4
    power = 10 ** math.floor(math.log10(rough))
    step = next(power * m for m in (1, 2, 5, 10) if power * m >= rough)
    return [step * n for n in range(math.ceil(top / step - 1e-9) + 1)]


def standing_bars(names: Sequence[str], stacked: Sequence[Series], unit: str = "") -> Markup:
    """Bars side by side, one a name, each made of the series from the bottom up."""
    totals = [sum(s.values[i] or 0 for s in stacked) for i in range(len(names))]
    marks = steps(max(totals, default=0))
    height, width = _HEIGHT - _TOP - _BOTTOM, (_WIDTH - _LEFT - _RIGHT) / max(len(names), 1)
    lines = [_open(_HEIGHT)]
    for mark in marks:
        y = _TOP + height * (1 - mark / marks[-1])
        lines.append(
            f'<line class="grid" x1="{_LEFT}" x2="{_WIDTH - _RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>'
        )
        lines.append(_text(_LEFT - 5, y + 4, f"{mark:g}{unit}", "end"))
    for i, name in enumerate(names):
        x, y = _LEFT + width * i + width * 0.14, _TOP + float(height)
        for series in stacked:
            tall = height * (series.values[i] or 0) / marks[-1]
            y -= tall
            if tall:
                lines.append(
                    f'<rect class="fill-{series.colour}" x="{x:.1f}" y="{y:.1f}" '
                    f'width="{width * 0.72:.1f}" height="{tall:.1f}"/>'
                )
        # Not every name where all would run into each other.
        if (len(names) - 1 - i) % math.ceil(len(names) / _MOST_NAMES) == 0:
            last = i == len(names) - 1  # its name must not hang over the edge
            x = _WIDTH - _RIGHT if last else _LEFT + width * (i + 0.5)
            lines.append(_text(x, _HEIGHT - 8, name, "end" if last else "middle"))
    return Markup("".join([*lines, "</svg>"]))


def lying_bars(rows: Sequence[tuple[str, float]], colour: str) -> Markup:
    """A bar a row, the name above it and the number at its end."""
    top, row = max((value for _, value in rows), default=1) or 1, 34
    lines = [_open(row * len(rows) + 4)]
    for i, (name, value) in enumerate(rows):
        y = row * i
        long = (_WIDTH - 46) * value / top
        lines.append(_text(0, y + 13, name, "start"))
        lines.append(
            f'<rect class="fill-{colour}" x="0" y="{y + 18}" width="{long:.1f}" '
            'height="11" rx="2"/>'
        )
        lines.append(_text(long + 6, y + 28, f"{value:g}", "start"))
    return Markup("".join([*lines, "</svg>"]))


def _open(height: float) -> str:
    return (
        f'<svg class="plot" viewBox="0 0 {_WIDTH} {height:g}" aria-hidden="true" focusable="false">'
    )


def _text(x: float, y: float, words: str, anchor: str) -> str:
    safe = Markup.escape(words if len(words) <= 48 else words[:47] + "…")
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{safe}</text>'

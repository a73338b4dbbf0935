"""Numbers: how it goes, week by week and house by house, as plots with their tables; and as CSV."""

from __future__ import annotations

import csv
import io

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.console.contexts import NumbersPage
from service.console.figures import Counts, Figures, figures, weeks_before
from service.console.house_views import (
    Plot,
    Tally,
)
from service.console.page import NotHereError, PageRoute, Visit, Visitor, render
from service.console.plots import Series, lying_bars, standing_bars
from service.console.views import (
    Choice,
)
from service.console.words import OUTCOMES

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)

_WEEKS = 12
_REVIEWED, _WAIT = "Right when looked over", "Middle wait in minutes"
_COLOURS = {"answer": "1", "gap": "2", "escalate": "3", "chat": "4"}


@router.get("/numbers")
def numbers_page(request: Request, seen: Visitor, house: str = "") -> Response:
    found = _figures(seen, house)
    total = found.total()
    page = NumbersPage(
        frame=seen.frame("Numbers", "numbers"),
        houses=tuple(Choice(slug, each.name) for slug, each in seen.houses.items()),
        house=house,
        weeks=_WEEKS,
        tallies=(
            Tally(str(total.messages), "messages came in"),
            Tally(_share(total.answered), f"of {total.asked} questions answered"),
            Tally(_share(total.right_share), f"right of {total.reviewed} that you looked over"),
            Tally(_minutes(total.wait_min), "minutes, in the middle, until someone took an alert"),
        ),
        plots=_plots(seen, found) if total.asked or total.messages else (),
    )
    return render(request, page)


@router.get("/numbers.csv")
def export(seen: Visitor, house: str = "") -> Response:
    """One row a week and house is what a table calculation can turn any way."""
    out = io.StringIO()
    table = csv.writer(out)
    table.writerow(
        [
            *("week", "house", "messages"),
            *(f"parts_{name}" for name in OUTCOMES),
            *("right", "looked_over", "median_minutes_to_host"),
        ]
    )
    found = _figures(seen, house)
    for (place, slug), counts in sorted(found.cells.items()):
        table.writerow(
            [
                *(found.weeks[place], slug, counts.messages),
                *(counts.parts[name] for name in OUTCOMES),
                *(counts.right, counts.reviewed),
                "" if counts.wait_min is None else f"{counts.wait_min:.1f}",
            ]
        )
    headers = {
        "Content-Disposition": 'attachment; filename="askhouse-numbers.csv"',
        "Cache-Control": "no-store",
    }
    return Response(out.getvalue(), media_type="text/csv; charset=utf-8", headers=headers)


def _figures(seen: Visit, house: str) -> Figures:
    if house and house not in seen.houses:
        raise NotHereError
    only = [house] if house else seen.only
    with seen.database.reading() as session:
        return figures(session, only, weeks_before(seen.now, seen.zone(house or None), _WEEKS))


def _plots(seen: Visit, found: Figures) -> tuple[Plot, ...]:
    names = [f"{monday.day} {monday:%b}" for monday in found.weeks]
    weeks = found.by_week()
    by_week = Plot(
        id="parts",
        title="What became of the questions",
        svg=standing_bars(
            names, [Series(c, [week.parts[name] for week in weeks]) for name, c in _COLOURS.items()]
        ),
        legend=tuple(Choice(colour, OUTCOMES[name]) for name, colour in _COLOURS.items()),
        head=("Week of", "Messages", *OUTCOMES.values(), "Share answered", _REVIEWED),
        rows=tuple(
            (
                name,
                str(week.messages),
                *(str(week.parts[outcome]) for outcome in OUTCOMES),
                _share(week.answered),
                _review(week),
            )
            for name, week in zip(names, weeks, strict=True)
        ),
    )
    waits = Plot(
        id="waits",
        title="Minutes until someone took an alert",
        svg=standing_bars(names, [Series("1", [week.wait_min for week in weeks])]),
        legend=(),
        head=("Week of", "Alerts taken", "Middle wait in minutes"),
        rows=tuple(
            (name, str(len(week.waits_min)), _minutes(week.wait_min))
            for name, week in zip(names, weeks, strict=True)
        ),
    )
    topics = Plot(
        id="topics",
        title="What is asked and not written yet",
        svg=lying_bars(found.topics, "2"),
        legend=(),
        head=("Topic", "Questions"),
        rows=tuple((name, str(n)) for name, n in found.topics),
    )
    shown = sorted(found.by_house().items(), key=lambda each: -each[1].messages)
    houses = Plot(
        id="houses",
        title="Messages by house",
        svg=lying_bars([(seen.house_name(slug), n.messages) for slug, n in shown[:10]], "1"),
        legend=(),
        head=("House", "Messages", "Questions", "Share answered", _REVIEWED, _WAIT),
        rows=tuple(
            (
                seen.house_name(slug),
                str(counts.messages),
                str(counts.asked),
                _share(counts.answered),
                _review(counts),
                _minutes(counts.wait_min),
            )
            for slug, counts in shown
        ),
    )
    waited = any(week.waits_min for week in weeks)
    shown_ones = (by_week, *([waits] if waited else []), topics, houses)
    return tuple(plot for plot in shown_ones if plot.rows)


def _review(counts: Counts) -> str:
    return f"{counts.right} of {counts.reviewed}" if counts.reviewed else "none yet"


def _share(value: float | None) -> str:
    return "–" if value is None else f"{value:.0%}"


def _minutes(value: float | None) -> str:
    return "–" if value is None else f"{value:.0f}"

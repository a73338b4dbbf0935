"""Numbers: how it goes, week by week and house by house, as plots with their tables; and as CSV."""

from __future__ import annotations

import csv
import io

from fastapi import APIRouter, Request
from fastapi.responses import Response

from service.console.contexts import NumbersPage
from service.console.figures import Figures, figures, weeks_before
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
_COLOURS = {"answer": "1", "gap": "2", "escalate": "3", "chat": "4"}


@router.get("/numbers")
def numbers_page(request: Request, seen: Visitor, house: str = "") -> Response:
    found = _figures(seen, house)
    reviewed = sum(each.reviewed for each in found.houses)
    right = sum(each.right for each in found.houses)
    answered = sum(week.parts["answer"] for week in found.weeks)
    asked = sum(sum(week.parts.values()) - week.parts["chat"] for week in found.weeks)
    messages = sum(week.messages for week in found.weeks)
    page = NumbersPage(
        frame=seen.frame("Numbers", "numbers"),
        houses=tuple(Choice(slug, each.name) for slug, each in seen.houses.items()),
        house=house,
        weeks=_WEEKS,
        tallies=(
            Tally(str(messages), "messages came in"),
            Tally(_share(answered / asked if asked else None), f"of {asked} questions answered"),
            Tally(
                _share(right / reviewed if reviewed else None),
                f"right of {reviewed} that you looked over",
            ),
        ),
        plots=_plots(seen, found) if asked or messages else (),
    )
    return render(request, page)


@router.get("/numbers.csv")
def export(seen: Visitor, house: str = "") -> Response:
    """One row a week and house is what a table calculation can turn any way."""
    out = io.StringIO()
    table = csv.writer(out)
    table.writerow(
        ["week", "messages", *(f"parts_{name}" for name in OUTCOMES), "median_minutes_to_host"]
    )
    for week in _figures(seen, house).weeks:
        wait = "" if week.wait_min is None else f"{week.wait_min:.1f}"
        table.writerow([week.first, week.messages, *(week.parts[n] for n in OUTCOMES), wait])
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
    names = [f"{week.first.day} {week.first:%b}" for week in found.weeks]
    by_week = Plot(
        id="parts",
        title="What became of the questions",
        svg=standing_bars(
            names,
            [Series(c, [w.parts[name] for w in found.weeks]) for name, c in _COLOURS.items()],
        ),
        legend=tuple(Choice(colour, OUTCOMES[name]) for name, colour in _COLOURS.items()),
        head=("Week of", "Messages", *OUTCOMES.values(), "Answered"),
        rows=tuple(
            (
                name,
                str(week.messages),
                *(str(week.parts[outcome]) for outcome in OUTCOMES),
                _share(week.answered),
            )
            for name, week in zip(names, found.weeks, strict=True)
        ),
    )
    waits = Plot(
        id="waits",
        title="Minutes until someone took an alert",
        svg=standing_bars(names, [Series("1", [week.wait_min for week in found.weeks])]),
        legend=(),
        head=("Week of", "Alerts taken", "Middle wait in minutes"),
        rows=tuple(
            (name, str(len(week.waits_min)), _minutes(week.wait_min))
            for name, week in zip(names, found.weeks, strict=True)
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
    shown = sorted(found.houses, key=lambda each: -each.messages)
    houses = Plot(
        id="houses",
        title="Messages by house",
        svg=lying_bars([(seen.house_name(h.house), h.messages) for h in shown[:10]], "1"),
        legend=(),
        head=(
            "House",
            "Messages",
            "Questions",
            "Answered",
            "Right when looked over",
            "Middle wait",
        ),
        rows=tuple(
            (
                seen.house_name(each.house),
                str(each.messages),
                str(sum(each.parts.values()) - each.parts["chat"]),
                _share(each.answered),
                f"{each.right} of {each.reviewed}" if each.reviewed else "none yet",
                _minutes(each.wait_min),
            )
            for each in shown
        ),
    )
    waited = any(week.waits_min for week in found.weeks)
    shown_ones = (by_week, *([waits] if waited else []), topics, houses)
    return tuple(plot for plot in shown_ones if plot.rows)


def _share(value: float | None) -> str:
    return "–" if value is None else f"{value:.0%}"


def _minutes(value: float | None) -> str:
    return "–" if value is None else f"{value:.0f}"

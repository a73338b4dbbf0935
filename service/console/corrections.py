"""Corrections: who was told words that have changed since, and a draft for each of them."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response
from sqlalchemy.orm import Session

from service.console.acts import why_closed, write_to_guest
from service.console.asked import (
    corrected,
    said_about,
)
from service.console.contexts import CorrectionsPage
from service.console.draft import fact_href
from service.console.house_views import (
    CorrectionView,
)
from service.console.noting import note
from service.console.page import (
    Id,
    NotHereError,
    PageRoute,
    Poster,
    Text,
    Visit,
    Visitor,
    go,
    render,
)
from service.console.views import (
    Choice,
)
from service.console.words import day, when
from service.corrections import Correction, corrections

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)

_MOST = 30


@router.get("/corrections")
def corrections_page(request: Request, seen: Visitor, house: str = "", told: str = "") -> Response:
    with seen.database.reading() as session:
        found = _open_ones(session, seen, house)
        said = said_about(session, [each.part_id for each in found[:_MOST]])
        rows = tuple(_view(session, seen, each, said[each.part_id]) for each in found[:_MOST])
    page = CorrectionsPage(
        frame=seen.frame("Corrections", "corrections", told),
        houses=tuple(Choice(slug, each.name) for slug, each in seen.houses.items()),
        house=house if house in seen.houses else "",
        corrections=rows,
        left=max(0, len(found) - _MOST),
        opening=seen.opening,
    )
    return render(request, page)


@router.post("/corrections/{part_id}/{fact_id}")
def send(
    seen: Poster,
    part_id: Id,
    fact_id: str,
    text: Annotated[Text, Form(max_length=5000)],
) -> Response:
    with seen.database.writing() as session:
        found = _open_ones(session, seen, "")
        each = next((c for c in found if (c.part_id, c.fact) == (part_id, fact_id)), None)
        if each is None:
            raise NotHereError
        write_to_guest(
            session,
            each.thread,
            text=text,
            who=seen.caller.who,
            key=_key(each),
            houses=seen.answering.houses,
            lines=seen.lines,
            now=seen.now,
        )
        note(session, seen, "fact.correct", f"fact:{each.house}/{fact_id}")
    return go("/corrections", "corrected")


def _open_ones(session: Session, seen: Visit, house: str) -> list[Correction]:
    """Those that were not sent yet, of the person's houses or of one of them."""
    only = [house] if house in seen.houses else None
    done = corrected(session)
    found = corrections(session, seen.houses, seen.now, only=only)
    return [each for each in found if _key(each) not in done and each.thread.line != "pages"]


def _key(each: Correction) -> str:
    return f"correction:{each.part_id}:{each.fact}"


def _view(session: Session, seen: Visit, each: Correction, said: str) -> CorrectionView:
    today = seen.today(each.house)
    return CorrectionView(
        part_id=each.part_id,
        fact=each.fact,
        title=each.title,
        href="" if each.gone else fact_href(each.house, each.fact),
        house=seen.house_name(each.house),
        who=", ".join(each.stay.guests) or each.thread.sender,
        arrival=day(each.stay.arrival, today),
        departure=day(each.stay.departure, today),
        at=when(each.told_at, seen.now, seen.zone(each.house)),
        said=said,
        draft=each.draft,
        thread_id=each.thread.id,
        closed=why_closed(session, each.thread, seen.lines),
    )

"""The rest of the pages on a phone, and the count of segments that the script asks for."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import PlainTextResponse, Response

from service.console.contexts import MorePage
from service.console.draft import segments
from service.console.page import (
    PageRoute,
    Poster,
    Text,
    Visitor,
    render,
)

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)


@router.get("/more")
def more(request: Request, seen: Visitor) -> Response:
    return render(request, MorePage(frame=seen.frame("More", "more")))


@router.post("/segments")
def count(seen: Poster, text: Annotated[Text, Form(max_length=20_000)] = "") -> Response:
    number = segments(text)
    return PlainTextResponse(f"{number} segment{'' if number == 1 else 's'}")

"""Paste: a guest's message in, a draft out, each sentence with its fact; and what it teaches."""

from __future__ import annotations

import datetime as dt
from typing import Annotated

from anyio import from_thread
from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from askhouse.errors import MessageError
from askhouse.values import Message, Reply
from service.access.keys import new_key
from service.answering import Stage
from service.console.contexts import PastePage
from service.console.draft import draft_view, fact_href
from service.console.lessons import learn
from service.console.noting import note
from service.console.page import (
    MOST_ID,
    NotHereError,
    NotThisError,
    PageRoute,
    Poster,
    Text,
    Visit,
    Visitor,
    go,
    render,
)
from service.console.pasting import keep
from service.console.queries import near_stays, thread_of_stay
from service.console.views import Choice, DraftView, SendTo
from service.console.words import day
from service.drafting import OWN_CODE, own_code
from service.phrases import phrase
from service.stays.release import later_facts, open_facts
from service.stays.settings import rules_of
from service.tables import Stay

__all__ = ["router"]

router = APIRouter(route_class=PageRoute)


@router.get("/paste")
def paste_page(request: Request, seen: Visitor, about: str = "", told: str = "") -> Response:
    return _page(request, seen, chosen=about, told=told)


@router.post("/paste")
def paste(
    request: Request,
    seen: Poster,
    text: Annotated[Text, Form()] = "",
    about: Annotated[Text, Form(max_length=200)] = "",
    verified: Annotated[Text, Form()] = "",
) -> Response:
    if seen.answering.stage is not Stage.OPEN:
        return _page(request, seen, text=text, chosen=about)
    house, stay = _about(seen, about)
    known = verified == "yes"
    try:
        message = _message(seen, text, house, stay, known)
        reply = from_thread.run(seen.answering.reply, message, house)
    except MessageError as error:
        return _page(request, seen, text=text, chosen=about, verified=known, problem=str(error))
    with seen.database.writing() as session:
        parts = keep(
            session,
            reply,
            text=text,
            verified=known,
            stay_id=stay.id if stay else None,
            who=seen.caller.who,
            now=seen.now,
        )
        thread = thread_of_stay(session, stay.id) if stay else None
        code, missing = _own_code(seen, reply, stay if known else None)
        if code and stay:
            note(session, seen, "stay.code.see", f"stay:{stay.id}")
    send = SendTo(thread_id=thread.id, who=thread.sender, key=new_key()) if thread else None
    return _page(
        request,
        seen,
        text=text,
        chosen=about,
        verified=known,
        draft=draft_view(
            reply,
            seen.house_name(house),
            parts,
            seen.today(house),
            code or phrase("own_code", reply.parts[0].part.language),
        ),
        missing=missing,
        send=send,
    )


@router.post("/paste/lessons")
def lesson(
    seen: Poster,
    part: Annotated[int, Form(ge=1, le=MOST_ID)],
    verdict: Annotated[Text, Form(max_length=16)] = "",
    fact: Annotated[Text, Form(max_length=200)] = "",
    other: Annotated[Text, Form(max_length=200)] = "",
    wrong: Annotated[Text, Form(max_length=200)] = "",
) -> Response:
    """What the host makes of a part is kept; a fact that is wrong is opened.

    `fact` is the id of one that came near, `other` the title of any.
    """
    with seen.database.writing() as session:
        house = learn(
            session,
            seen,
            part_id=part,
            verdict="fact-wrong" if wrong else verdict,
            fact_id=wrong or fact,
            title=other,
        )
    if not wrong and verdict == "answered-by":
        seen.house_changed(house)
    if wrong:
        return go(fact_href(house, wrong))
    told = {"gap": "gap", "right": "right"}.get(verdict, "learned")
    return go("/paste", told, about=f"house:{house}")


def _own_code(seen: Visit, reply: Reply, stay: Stay | None) -> tuple[str | None, str]:
    """The stay's own door code where the draft tells it, or why it cannot be told.

    Args:
        stay: The one whose guest the host knows; None for none.
    """
    if OWN_CODE not in reply.full:
        return None, ""
    if stay is None:
        words = "This answer tells the door code of the guest’s own stay: choose the stay above."
        return None, words
    if stay.door_code is None:
        return None, "This stay has no door code yet: enter it on the stay’s page."
    cited = {citation.fact_id for part in reply.parts for citation in part.citations}
    code = own_code(seen.house(stay.house), cited, stay)
    if code is None:
        return None, "The fact that tells the stay’s door code is not marked as holding a code."
    return code, ""


def _message(seen: Visit, text: str, slug: str, stay: Stay | None, known: bool) -> Message:
    """The message; for a stay, codes are told only inside its release window."""
    day = seen.today(slug)
    if stay is None or not known:
        return Message(text=text, verified=known, day=day)
    house = seen.house(slug)
    rules = rules_of(slug, seen.stay_rules)
    later = later_facts(stay, house, rules, seen.now)
    return Message(
        text=text,
        verified=True,
        told=open_facts(stay, house, rules, seen.now),
        later={fact: window.local_start(house) for fact, window in later.items()},
        day=day,
    )


def _about(seen: Visit, about: str) -> tuple[str, Stay | None]:
    what, _, which = about.partition(":")
    if what == "house":
        return seen.house(which).slug, None
    if what == "stay" and which.isdecimal() and int(which) <= MOST_ID:
        with seen.database.reading() as session:
            stay = session.get(Stay, int(which))
            if stay is not None and stay.cancelled_at is None:
                return seen.house(stay.house).slug, stay
    if not about:
        raise NotThisError("Choose the house or the stay that the message is about.")
    raise NotHereError


def _page(
    request: Request,
    seen: Visit,
    *,
    text: str = "",
    chosen: str = "",
    verified: bool = False,
    problem: str = "",
    draft: DraftView | None = None,
    missing: str = "",
    send: SendTo | None = None,
    told: str = "",
) -> Response:
    houses = tuple(Choice(f"house:{slug}", house.name) for slug, house in seen.houses.items())
    with seen.database.reading() as session:
        stays = tuple(_stay(seen, stay) for stay in near_stays(session, seen.only, seen.now))
    page = PastePage(
        frame=seen.frame("Paste", "paste", told),
        houses=houses,
        stays=stays,
        chosen=chosen,
        text=text,
        verified=verified,
        opening=seen.opening,
        problem=problem,
        draft=draft,
        titles=tuple(fact.title for fact in seen.house(draft.house).facts) if draft else (),
        missing=missing,
        send=send,
    )
    return render(request, page, 422 if problem else 200)


def _stay(seen: Visit, stay: Stay) -> Choice:
    today: dt.date = seen.now.date()
    guests = ", ".join(stay.guests) or "guest"
    days = f"{day(stay.arrival, today).words} to {day(stay.departure, today).words}"
    return Choice(f"stay:{stay.id}", f"{seen.house_name(stay.house)}: {guests}, {days}")

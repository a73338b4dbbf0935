"""What every page needs: who looks, the frame around it, and an answer in HTML to every error."""

from __future__ import annotations

import datetime as dt
import logging
import math
from collections.abc import Callable, Coroutine, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from pathlib import Path
from typing import Annotated, Any, TypeVar
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from fastapi import Depends, Form, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import HTMLResponse, RedirectResponse
from fastapi.routing import APIRoute
from jinja2 import Environment, PackageLoader, StrictUndefined
from pydantic import AfterValidator, Field
from sqlalchemy.orm import Session
from starlette.exceptions import HTTPException
from starlette.responses import Response

from askhouse.errors import KnowledgeError, MessageError
from askhouse.values import House
from service.access.forms import ForeignFormError, check_form, check_origin, form_token
from service.access.roles import Caller, caller_of, may_see
from service.access.sign_in import person_of_session
from service.alerts.errors import AlertError
from service.answering import Answering, Stage
from service.clock import Clock
from service.console.contexts import ErrorPage, Frame
from service.console.queries import open_alerts
from service.console.words import TOLD
from service.database import Database
from service.errors import GapError
from service.gaps.preview import Effects
from service.lines.settings import LineSettings
from service.stays.settings import StayRules
from service.tables import Escalation, Gap, PartRow, Stay, Thread

__all__ = [
    "MOST_ID",
    "Clock",
    "EffectsOf",
    "Id",
    "NotHereError",
    "NotThisError",
    "PageRoute",
    "Poster",
    "Text",
    "Visit",
    "Visitor",
    "cookie_name",
    "go",
    "render",
    "visit_key",
]

log = logging.getLogger(__name__)

MOST_ID = 2**31 - 1  # what a column of PostgreSQL holds
Id = Annotated[int, Field(ge=1, le=MOST_ID)]
"""The id of a row, in an address or a form."""


def _storable(text: str) -> str:
    """Without what no database keeps: the NUL, and halves of characters."""
    return text.replace("\0", "").encode("utf-8", "ignore").decode()


Text = Annotated[str, AfterValidator(_storable)]
"""What someone typed, or wrote into an address."""

OfAHouse = TypeVar("OfAHouse", Escalation, Gap, PartRow, Stay, Thread)
EffectsOf = Callable[[House, str, Sequence[str]], Effects]
"""A house as it would be, the fact that changes, and past questions -> what would change."""


class SignInNeededError(Exception):
    """Nobody is signed in, or the session has ended."""


class NotHereError(Exception):
    """There is no such thing, or not for this person: the two look the same."""


class NotThisError(Exception):
    """What was asked cannot be done; the words are for the person who asked."""

    def __init__(self, words: str, status: int = 422) -> None:
        super().__init__(words)
        self.status = status


@dataclass(frozen=True)
class Visit:
    """One request of a person who is signed in."""

    request: Request
    caller: Caller
    person_id: int
    key: str
    now: dt.datetime
    alerts: int

    @property
    def database(self) -> Database:
        return database_of(self.request)

    @property
    def answering(self) -> Answering:
        answering = self.request.app.state.answering
        assert isinstance(answering, Answering)
        return answering

    @property
    def lines(self) -> Mapping[str, LineSettings]:
        """The lines by which guests write, by name."""
        lines: Mapping[str, LineSettings] = self.request.app.state.lines
        return lines

    @property
    def stay_rules(self) -> Mapping[str, StayRules]:
        """The rules of stays by house, for when a code may be told."""
        rules: Mapping[str, StayRules] = self.request.app.state.stay_rules
        return rules

    @cached_property
    def houses(self) -> Mapping[str, House]:
        """The houses that can be asked about and that this person may see, by slug."""
        every = self.answering.houses
        return {slug: every[slug] for slug in sorted(every) if may_see(self.caller, slug)}

    @property
    def opening(self) -> bool:
        """Whether the houses are still being opened."""
        return self.answering.stage is Stage.OPENING

    @property
    def only(self) -> frozenset[str] | None:
        """The houses to which queries are narrowed; None for one who sees everything."""
        return None if self.caller.everywhere else self.caller.houses

    def house_name(self, slug: str | None) -> str:
        """The name for people; the slug where the house is not open."""
        if slug is None:
            return "House not known yet"
        every = self.answering.houses
        return every[slug].name if slug in every else slug

    def zone(self, slug: str | None) -> str:
        """The time zone in which times of that house are told."""
        every = self.answering.houses
        if slug is not None and slug in every:
            return every[slug].timezone
        # Where no house is meant, that of the person's first house; most hosts have one zone.
        return next((house.timezone for house in self.houses.values()), "UTC")

    def house(self, slug: str) -> House:
        """An open house that this person may see.

        Raises:
            NotHereError: There is none.
        """
        if slug not in self.houses:
            raise NotHereError
        return self.houses[slug]

    def today(self, slug: str | None) -> dt.date:
        """The date at that house."""
        return self.now.astimezone(ZoneInfo(self.zone(slug))).date()

    @property
    def knowledge(self) -> Path:
        """The folder of the houses."""
        folder = self.request.app.state.knowledge
        assert isinstance(folder, Path)
        return folder

    def house_files(self, slug: str) -> Path:
        """The file or folder of one house, to read it without looking through the others.

        Files are written by way of `knowledge` alone, which is what is locked.
        """
        house = self.house(slug)
        if house.facts:
            own = self.knowledge / house.facts[0].source.file.partition("/")[0]
            if own.exists():
                return own
        return self.knowledge

    def house_changed(self, slug: str) -> None:
        """Tells the service that a house's files are others now."""
        changed: Callable[[str], None] = self.request.app.state.house_changed
        changed(slug)

    def must_see(self, house: str | None) -> None:
        """Raises:
        NotHereError: What belongs to that house is not for this person.
        """
        if not may_see(self.caller, house):
            raise NotHereError

    def theirs(self, session: Session, table: type[OfAHouse], row_id: int) -> OfAHouse:
        """The row of that id.

        Raises:
            NotHereError: There is none, or its house is not for this person: alike.
        """
        row = session.get(table, row_id)
        if row is None:
            raise NotHereError
        self.must_see(row.house)
        return row

    def must_own(self) -> None:
        """Raises:
        NotThisError: Only an owner may do this.
        """
        if not self.caller.owner:
            raise NotThisError("Only an owner can do this.", 403)

    def frame(self, title: str, here: str, told: str = "") -> Frame:
        """The frame of a page."""
        return Frame(
            title=title,
            here=here,
            person=self.caller.name,
            owner=self.caller.owner,
            token=form_token(self.key),
            alerts=self.alerts,
            told=TOLD.get(told, ""),
            version=str(self.request.app.state.console_version),
        )


def database_of(request: Request) -> Database:
    database = request.app.state.database
    assert isinstance(database, Database)
    return database


def now_of(request: Request) -> dt.datetime:
    clock: Clock = request.app.state.clock
    return clock()


def cookie_name(request: Request, what: str = "session") -> str:
    """The cookie's name; over https one that no other host and no plain page can set (RFC 6265bis,
    4.1.3.2)."""
    return f"__Host-askhouse-{what}" if request.url.scheme == "https" else f"askhouse-{what}"


def visit_key(request: Request) -> str | None:
    """The session's key, as the browser gives it."""
    return request.cookies.get(cookie_name(request))


def visitor(request: Request) -> Visit:
    """Who is signed in.

    Raises:
        SignInNeededError: Nobody.
    """
    key, now = visit_key(request), now_of(request)
    if not key:
        raise SignInNeededError
    with database_of(request).reading() as session:
        person = person_of_session(session, key, now)
        if person is None:
            raise SignInNeededError
        caller = caller_of(person)
        alerts = open_alerts(session, None if caller.everywhere else caller.houses)
        return Visit(request, caller, person.id, key, now, alerts)


Visitor = Annotated[Visit, Depends(visitor)]


def poster(request: Request, seen: Visitor, form: Annotated[str, Form()] = "") -> Visit:
    """Who sent a form of ours.

    Raises:
        ForeignFormError: It is not one of ours.
    """
    check_origin(request)
    check_form(seen.key, form)
    return seen


Poster = Annotated[Visit, Depends(poster)]


def render(request: Request, context: Any, status: int = 200) -> HTMLResponse:
    """A page, from its context."""
    environment: Environment = request.app.state.console_templates
    values = {field.name: getattr(context, field.name) for field in fields(context)}
    return HTMLResponse(environment.get_template(context.template).render(values), status)


def environment() -> Environment:
    """The templates; everything that is put in is escaped, and a misspelt name is an error."""
    return Environment(
        loader=PackageLoader("service.console"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )


def go(path: str, told: str = "", **query: str) -> RedirectResponse:
    """To another page after something was done (303, so that reloading does it no second time).

    Args:
        path: Where to.
        told: A key of `TOLD`: the line that the page then shows.
        query: The rest of the address.
    """
    parts = {**query, **({"told": told} if told else {})}
    return RedirectResponse(path + (f"?{urlencode(parts)}" if parts else ""), 303)


class PageRoute(APIRoute):
    """Answers every error of a page with a page; a program's routes answer with a problem."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        handler = super().get_route_handler()

        async def answer(request: Request) -> Response:
            try:
                return await handler(request)
            except SignInNeededError:
                return _to_sign_in(request)
            except ForeignFormError:
                return error_page(
                    request,
                    403,
                    "This form is out of date",
                    "It was opened before you last signed in, or did not come from this site. "
                    "Go back, load the page again, and send it once more.",
                )
            except NotHereError:
                return _not_here(request)
            except NotThisError as error:
                return error_page(request, error.status, "That did not work", str(error))
            except GapError as error:
                raised = str(error)
                words = f"{raised[:1].upper()}{raised[1:]}."
                return error_page(request, 422, "That did not work", words)
            except AlertError as error:
                words = str(error)
                return error_page(
                    request, 409, "That did not work", f"{words[:1].upper()}{words[1:]}."
                )
            except MessageError as error:
                return error_page(request, 422, "That did not work", str(error))
            except RequestValidationError as error:
                places = [fault["loc"] for fault in error.errors()]
                if any(place[0] == "path" for place in places):
                    return _not_here(request)
                names = sorted({str(place[-1]) for place in places})
                return error_page(
                    request,
                    422,
                    "Something is missing",
                    f"Go back and look at: {', '.join(names)}.",
                )
            except KnowledgeError as error:
                return error_page(request, 409, "The house's files cannot be changed", str(error))
            except Exception as error:
                if isinstance(error, HTTPException):
                    status = error.status_code
                    return error_page(request, status, "That did not work", "Go back once.")
                log.exception("a page failed", extra={"fields": {"path": request.url.path}})
                words = "It is not your fault; the log has the reason. Try again in a minute."
                return error_page(request, 500, "Something broke", words)

        return answer


def error_page(request: Request, status: int, title: str, words: str) -> HTMLResponse:
    """The page that tells what went wrong and what to do."""
    return render(
        request,
        ErrorPage(
            title=title,
            words=words,
            version=str(request.app.state.console_version),
            signed_in=visit_key(request) is not None,
        ),
        status,
    )


def _not_here(request: Request) -> HTMLResponse:
    words = "It may have been removed, or it belongs to a house that is not yours."
    return error_page(request, 404, "Nothing here", words)


def _to_sign_in(request: Request) -> Response:
    # Only a page that was asked for is gone back to; a form would be sent twice.
    path = request.url.path if request.method == "GET" else ""
    return go("/sign-in", **({"next": path} if path not in ("", "/") else {}))


def pages(total: int, size: int) -> int:
    """How many pages a list of that length takes; at least one."""
    return max(1, math.ceil(total / size))

"""The host's pages: paste, decide, teach. Rendered here, for a phone between two errands.

Routes are thin: they read, call whoever owns the matter, and render a context of `contexts.py`.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Mapping
from importlib.resources import files
from types import MappingProxyType

from fastapi import FastAPI, Request
from fastapi.responses import FileResponse, RedirectResponse
from starlette.responses import Response

from service.access.headers import SecurityHeaders
from service.access.tries import Tries
from service.alerts.settings import AlertSettings
from service.clock import utc_now
from service.console import (
    alerts,
    corrections,
    entering,
    facts,
    gaps,
    house,
    messages,
    more,
    numbers,
    paste,
    people,
    stays,
)
from service.console.page import Clock, EffectsOf, PageRoute, environment
from service.console.page import NotHereError as _NotHereError
from service.lines.settings import LineSettings
from service.stays.settings import StayRules

__all__ = ["ROUTERS", "add_console"]

_STATIC = files("service.console") / "static"
_STATICS = {
    "askhouse.css": "text/css; charset=utf-8",
    "askhouse.js": "text/javascript; charset=utf-8",
    "door.svg": "image/svg+xml",
}
# Ten wrong passwords in a quarter of an hour for a name, thirty from an address: far from what a
# person with a new password needs, far below what guessing needs.
_TRIES_S = 15 * 60.0
_OF_NAME, _OF_ADDRESS = 10, 30

ROUTERS = (
    entering.router,
    paste.router,
    alerts.router,
    messages.router,
    stays.router,
    house.router,
    facts.router,
    gaps.router,
    corrections.router,
    numbers.router,
    people.router,
    more.router,
)


def add_console(
    app: FastAPI,
    *,
    house_changed: Callable[[str], None],
    lines: Mapping[str, LineSettings] = MappingProxyType({}),
    alert_settings: AlertSettings | None = None,
    stay_rules: Mapping[str, StayRules] | None = None,
    effects: EffectsOf | None = None,
    clock: Clock = utc_now,
) -> None:
    """Adds the pages and the security headers to an application.

    The application's state must hold `database` (a `Database`), `answering` (an `Answering`) and
    `knowledge` (the folder of the houses) by the time of the first request.

    Args:
        app: The application; it has not begun to serve.
        house_changed: Told the slug of a house whose files were changed; it must return at once.
        lines: The lines by which guests write, by name.
        alert_settings: Who is told of alerts.
        stay_rules: When codes may be told, by house; the state's own where there are any.
        effects: Tells what a change would do to past questions, in at most a few seconds; without
            it a check shows the new words alone.
        clock: What time it is, in UTC.
    """
    app.state.clock = clock
    app.state.effects = effects
    if stay_rules is not None or not hasattr(app.state, "stay_rules"):
        app.state.stay_rules = stay_rules or {}
    app.state.lines = lines
    app.state.alert_settings = alert_settings or AlertSettings()
    app.state.house_changed = house_changed
    app.state.console_templates = environment()
    app.state.console_version = _version()
    app.state.name_tries = Tries(_OF_NAME, _TRIES_S, time.monotonic)
    app.state.address_tries = Tries(_OF_ADDRESS, _TRIES_S, time.monotonic)
    for router in ROUTERS:
        app.include_router(router, include_in_schema=False)
    app.router.add_api_route(
        "/static/{name}", _static, include_in_schema=False, route_class_override=PageRoute
    )
    app.router.add_api_route("/", _first, include_in_schema=False)
    app.add_middleware(SecurityHeaders)


def _first() -> Response:
    return RedirectResponse("/paste", 303)


def _static(name: str, request: Request) -> Response:
    if name not in _STATICS:
        raise _NotHereError
    # The address changes with the content, so a browser may keep what it has.
    lasts = "public, max-age=31536000, immutable" if request.url.query else "no-cache"
    return FileResponse(
        str(_STATIC / name), media_type=_STATICS[name], headers={"Cache-Control": lasts}
    )


def _version() -> str:
    contents = b"".join((_STATIC / name).read_bytes() for name in sorted(_STATICS))
    return hashlib.sha256(contents).hexdigest()[:10]

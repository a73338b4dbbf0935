"""Every route of the console, found in its routers, so that a new one cannot be forgotten."""

from __future__ import annotations

from collections.abc import Iterator

from fastapi.routing import APIRoute

from service.console import ROUTERS
from service.console.page import PageRoute

OPEN = {"/sign-in", "/start/{key}", "/take/{key}"}
"""Routes that work without sign-in."""


def routes() -> Iterator[tuple[str, str]]:
    """Method and path of every page."""
    for router in ROUTERS:
        for route in router.routes:
            assert isinstance(route, APIRoute)
            assert isinstance(route, PageRoute), f"{route.path} would answer errors as a program"
            yield from ((method, route.path) for method in sorted(route.methods))

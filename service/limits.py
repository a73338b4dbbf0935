"""What a client may ask of the service: how often, and how much at a time.

Both stand before the application, so that what is refused costs next to nothing.
"""

from __future__ import annotations

import ipaddress
import math
import time
from collections.abc import Callable

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.problem_details import problem
from service.problem_types import BODY_TOO_LARGE, TOO_MANY_REQUESTS

__all__ = ["BodyLimit", "RequestLimit", "TokenBuckets"]

_PERIOD_S = 60.0


class TokenBuckets:
    """A bucket of tokens for each client: a request takes one, and time brings them back.

    All that a bucket need remember is when it will be full again; one that is
    full is forgotten. Nothing is shared between processes: each has its buckets.

    Args:
        per_minute: Tokens of a full bucket, and those that come back in a minute.
        clock: Seconds, from any start; never goes back.
    """

    def __init__(self, per_minute: int, clock: Callable[[], float] = time.monotonic) -> None:
        self._token_s = _PERIOD_S / per_minute
        self._clock = clock
        self._full_at: dict[str, float] = {}
        self._sweep_at = clock() + _PERIOD_S

    def take(self, client: str) -> float:
        """Takes a token of the client: 0, or the seconds until there is one to take."""
        now = self._clock()
        self._sweep(now)
        full_at = max(self._full_at.get(client, now), now) + self._token_s
        # A bucket that would be full only after the whole period has no token left. The
        # sum of many tokens is a hair off the period, which must not cost the last one.
        wait = full_at - now - _PERIOD_S
        if wait > 1e-6:
            return wait
        self._full_at[client] = full_at
        return 0.0

    def __len__(self) -> int:
        return len(self._full_at)

    def _sweep(self, now: float) -> None:
        if now >= self._sweep_at:
            self._full_at = {c: full_at for c, full_at in self._full_at.items() if full_at > now}
            self._sweep_at = now + _PERIOD_S


class RequestLimit:
    """Answers 429 with Retry-After (RFC 6585, 4) once a client's bucket is empty.

    Only what is below `below` is counted: whoever watches the service's health
    must never be turned away.
    """

    def __init__(self, app: ASGIApp, buckets: TokenBuckets, below: str) -> None:
        self._app = app
        self._buckets = buckets
        self._below = below

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http" and scope["path"].startswith(self._below):
            wait = self._buckets.take(_client(scope))
            if wait > 0:
                headers = {"Retry-After": str(math.ceil(wait))}
                refusal = problem(scope, TOO_MANY_REQUESTS, headers=headers)
                return await refusal(scope, receive, send)
        return await self._app(scope, receive, send)


def _client(scope: Scope) -> str:
    """The client's address; of IPv6 the network, since one customer has all of its addresses."""
    host = (scope.get("client") or ("unknown", 0))[0]
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return str(host)
    if address.version == 6:
        return str(ipaddress.ip_network((int(address), 64), strict=False))
    return host


class BodyLimit:
    """Answers 413 to a body of more bytes than `most`.

    The body is counted as it comes, whatever its header claims: a chunked one
    claims nothing. It is held until it is whole, which the application would do too.
    """

    def __init__(self, app: ASGIApp, most: int) -> None:
        self._app = app
        self._most = most

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            return await self._app(scope, receive, send)
        held: list[Message] = []
        size = 0
        while not held or held[-1].get("more_body", False):
            held.append(await receive())
            size += len(held[-1].get("body", b""))
            if size > self._most:
                return await problem(scope, BODY_TOO_LARGE)(scope, receive, send)

        async def receive_again() -> Message:
            return held.pop(0) if held else await receive()

        return await self._app(scope, receive_again, send)

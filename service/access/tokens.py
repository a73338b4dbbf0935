"""Tokens of programs: shown once, kept as a hash, good for some scopes and some houses."""

from __future__ import annotations

import datetime as dt
import ipaddress
import re
from collections.abc import Callable
from enum import StrEnum
from urllib.parse import urlsplit

from fastapi import Request
from sqlalchemy import select
from sqlalchemy.orm import Session

from service.access.keys import key_hash, new_key
from service.access.roles import Caller, caller_of
from service.database import Database
from service.problem_details import ProblemError
from service.problem_types import NOT_ALLOWED, TOKEN_NEEDED
from service.tables import ApiToken

__all__ = [
    "Scope",
    "caller_with",
    "from_this_machine",
    "here_or",
    "new_token",
    "require",
    "revoke",
]

_PREFIX = "askhouse_"  # so that one that was published by mistake can be recognised
_BEARER = re.compile(r"Bearer ([A-Za-z0-9._~+/=-]+)", re.ASCII | re.IGNORECASE)


class Scope(StrEnum):
    """What a token may be used for."""

    ASK = "ask"
    STAYS = "stays"
    ALERTS = "alerts"
    METRICS = "metrics"


def new_token(
    session: Session, *, name: str, scopes: list[Scope], houses: list[str], now: dt.datetime
) -> tuple[ApiToken, str]:
    """A new token's row, and the token itself, to be shown this once."""
    token = _PREFIX + new_key()
    row = ApiToken(
        name=name,
        token_hash=key_hash(token),
        scopes=[str(scope) for scope in scopes],
        houses=houses,
        created_at=now,
    )
    session.add(row)
    session.flush()
    return row, token


def revoke(session: Session, token_id: int, now: dt.datetime) -> None:
    """The token opens nothing from now on."""
    row = session.get(ApiToken, token_id)
    if row is not None and row.revoked_at is None:
        row.revoked_at = now


def caller_with(session: Session, token: str) -> Caller | None:
    """Whose token it is; None for a revoked or unknown one."""
    row = session.scalar(
        select(ApiToken).where(
            ApiToken.token_hash == key_hash(token), ApiToken.revoked_at.is_(None)
        )
    )
    return caller_of(row) if row else None


def require(scope: Scope) -> Callable[[Request], Caller]:
    """A dependency that gives the calling program, if its token has that scope.

    Raises, as RFC 9457 problems:
        401: No token, or none that opens anything (RFC 6750, 3, names the header).
        403: Its scopes do not hold this one.
    """

    def caller(request: Request) -> Caller:
        sent = _BEARER.fullmatch(request.headers.get("authorization", ""))
        database = request.app.state.database
        assert isinstance(database, Database)
        found = None
        if sent:
            with database.reading() as session:
                found = caller_with(session, sent[1])
        if found is None:
            error = ', error="invalid_token"' if sent else ""
            raise ProblemError(
                TOKEN_NEEDED, {"WWW-Authenticate": f'Bearer realm="askhouse"{error}'}
            )
        if scope not in found.scopes:
            header = f'Bearer realm="askhouse", error="insufficient_scope", scope="{scope}"'
            raise ProblemError(NOT_ALLOWED, {"WWW-Authenticate": header})
        return found

    return caller


def here_or(scope: Scope) -> Callable[[Request], Caller | None]:
    """The same, for whoever does not sit at this machine; None for who does."""
    with_token = require(scope)

    def caller(request: Request) -> Caller | None:
        sent = "authorization" in request.headers
        return None if from_this_machine(request) and not sent else with_token(request)

    return caller


def from_this_machine(request: Request) -> bool:
    """Whether the request began on this machine, and no proxy on it passed it on.

    The address that was asked for must be this machine's, too: a page in a browser here may have
    its own name lead to 127.0.0.1 (DNS rebinding), and would read the codes.
    """
    # What a proxy on this machine passes on comes from elsewhere. It may not say so, and may ask
    # for 127.0.0.1 itself: a service that is reached at another address takes nobody's word.
    passed_on = ("forwarded", "x-forwarded-for", "x-real-ip", "via")
    if request.client is None or any(name in request.headers for name in passed_on):
        return False
    asked, reached = request.url.hostname, urlsplit(request.app.state.base_url).hostname
    named_here = all(host == "localhost" or _is_loopback(host) for host in (asked, reached))
    return named_here and _is_loopback(request.client.host)


def _is_loopback(host: str | None) -> bool:
    try:
        return ipaddress.ip_address(host or "").is_loopback
    except ValueError:
        return False

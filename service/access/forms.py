"""Forms are taken only from our own pages: a token bound to the session, and the sender's origin.

The token is an HMAC of the session's key, so that nothing need be stored: who does not hold the
cookie cannot make it, and another site can read neither.
"""

from __future__ import annotations

import hashlib
import hmac

from starlette.requests import Request

__all__ = ["ForeignFormError", "check_form", "check_origin", "form_token"]

_PURPOSE = b"askhouse form"


class ForeignFormError(Exception):
    """The form did not come from one of our pages, or from one of an older session."""


def form_token(key: str) -> str:
    """The token that the forms of a session's pages carry."""
    return hmac.new(key.encode(), _PURPOSE, hashlib.sha256).hexdigest()


def check_form(key: str, token: str) -> None:
    """Compares in constant time.

    Raises:
        ForeignFormError: It is not the token of that session, or there is no session.
    """
    # Without a key anyone could make the token.
    if not key or not hmac.compare_digest(
        form_token(key).encode(), token.encode("utf-8", "replace")
    ):
        raise ForeignFormError


def check_origin(request: Request) -> None:
    """Refuses what the browser itself calls foreign.

    `Sec-Fetch-Site` (W3C Fetch Metadata) says it plainly. Where a browser does not send it,
    `Origin` is compared; it is `null` under our own referrer policy (WHATWG Fetch, "append a
    request Origin header"), and then the token alone decides.

    Raises:
        ForeignFormError: The request comes from elsewhere.
    """
    site = request.headers.get("sec-fetch-site")
    if site is not None:
        if site not in ("same-origin", "none"):
            raise ForeignFormError
        return
    origin = request.headers.get("origin", "null")
    if origin not in ("null", f"{request.url.scheme}://{request.url.netloc}"):
        raise ForeignFormError

"""Forms: the token of a session, and what a browser says about where a request comes from."""

from __future__ import annotations

import pytest
from starlette.requests import Request

from service.access.forms import ForeignFormError, check_form, check_origin, form_token
from service.access.keys import key_hash, new_key


def request_with(**headers: str) -> Request:
    """A form sent to https://barn.example with these headers."""
    given = [(n.replace("_", "-").encode(), v.encode()) for n, v in headers.items()]
    return Request(
        {
            "type": "http",
            "method": "POST",
            "scheme": "https",
            "server": ("barn.example", 443),
            "path": "/paste",
            "query_string": b"",
            "headers": [(b"host", b"barn.example"), *given],
        }
    )


def test_a_token_belongs_to_its_session() -> None:
    """
    The token of one session is refused in another, and so is none, half of one, or another script.
    """
    key, other = new_key(), new_key()
    check_form(key, form_token(key))

    with pytest.raises(ForeignFormError):
        check_form("", form_token(""))  # anyone could make it
    for wrong in (form_token(other), "", form_token(key)[:-1], "é"):
        with pytest.raises(ForeignFormError):
            check_form(key, wrong)


def test_the_token_does_not_tell_the_key() -> None:
    """
    A page that leaks its token does not leak the session.
    """
    key = new_key()

    assert key not in form_token(key)
    assert key_hash(key) != form_token(key)


@pytest.mark.parametrize(
    "headers",
    [
        {"sec_fetch_site": "same-origin"},
        {"sec_fetch_site": "none"},  # typed into the address bar
        {"origin": "https://barn.example"},
        {"origin": "null"},  # under Referrer-Policy: no-referrer
        {},
    ],
)
def test_our_own_pages(headers: dict[str, str]) -> None:
    """
    What comes from our own page passes, whatever of this its browser says.
    """
    check_origin(request_with(**headers))


@pytest.mark.parametrize(
    "headers",
    [
        {"sec_fetch_site": "cross-site"},
        {"sec_fetch_site": "same-site"},  # a sister host is not us
        {"sec_fetch_site": "cross-site", "origin": "https://barn.example"},
        {"origin": "https://elsewhere.example"},
        {"origin": "http://barn.example"},
    ],
)
def test_other_sites(headers: dict[str, str]) -> None:
    """
    What a browser calls foreign is refused.
    """
    with pytest.raises(ForeignFormError):
        check_origin(request_with(**headers))

"""A feed's text, fetched: by HTTPS or HTTP with its ETag, or from a file; within time and size.

A feed's address holds the feed's secret. No log line and no error holds any of it: the transport
is spoken to without a client, since a client logs each address it asks, and errors of the network
are told by their kind alone, without the chain.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from http import HTTPStatus
from pathlib import Path
from urllib.request import url2pathname

import httpx

__all__ = ["FetchError", "Fetched", "fetch"]

_MOST_REDIRECTS = 5


class FetchError(Exception):
    """A feed could not be fetched; says why, and never from where."""


@dataclass(frozen=True, slots=True)
class Fetched:
    """What came back.

    Attributes:
        content: None where the feed says that nothing has changed (304).
        etag: To be sent with the next request.
    """

    content: bytes | None
    etag: str | None


def fetch(
    address: str,
    etag: str | None,
    *,
    timeout_s: float,
    size_limit_bytes: int,
    clock: Callable[[], float] = time.monotonic,
) -> Fetched:
    """The text at an https://, http:// or file:// address.

    Raises:
        FetchError: It cannot be had, not in time, or it is too long.
    """
    try:
        url = httpx.URL(address)
    except (httpx.InvalidURL, UnicodeError):
        raise FetchError("its address cannot be read; mend it in the settings") from None
    if url.scheme == "file":
        return _file(url, size_limit_bytes)
    ends = clock() + timeout_s
    try:
        with httpx.HTTPTransport() as transport:
            for _ in range(_MOST_REDIRECTS + 1):
                found = _ask(transport, url, etag, ends, clock, size_limit_bytes)
                if isinstance(found, Fetched):
                    return found
                if url.scheme == "https" and found.scheme != "https":
                    raise FetchError("it leads from https to an address that is not encrypted")
                url = found
    except httpx.TimeoutException:
        raise FetchError(f"it took longer than {timeout_s:g} s") from None
    except (httpx.HTTPError, httpx.InvalidURL, OSError, UnicodeError) as error:
        raise FetchError(f"it cannot be reached ({type(error).__name__})") from None
    raise FetchError("it leads from one address to the next without end")


def _ask(
    transport: httpx.HTTPTransport,
    url: httpx.URL,
    etag: str | None,
    ends: float,
    clock: Callable[[], float],
    most: int,
) -> Fetched | httpx.URL:
    """What one address answers: the text, or the address to ask instead."""
    left = ends - clock()
    if left <= 0:
        raise httpx.ReadTimeout("")
    headers = {"Accept": "text/calendar", "Accept-Encoding": "gzip"}
    if etag:
        headers["If-None-Match"] = etag
    request = httpx.Request(
        "GET", url, headers=headers, extensions={"timeout": httpx.Timeout(left).as_dict()}
    )
    with closing(transport.handle_request(request)) as response:
        response.request = request
        if response.status_code == HTTPStatus.NOT_MODIFIED and etag:
            return Fetched(None, etag)
        if response.has_redirect_location:
            return url.join(response.headers["location"])
        if response.status_code != HTTPStatus.OK:
            raise FetchError(f"it answers with HTTP status {response.status_code}")
        content = bytearray()
        for chunk in response.iter_bytes():
            content += chunk
            if len(content) > most:
                raise FetchError(f"it is longer than {most} bytes")
            if clock() > ends:  # each chunk in time, and all of them never
                raise httpx.ReadTimeout("")
        return Fetched(bytes(content), response.headers.get("etag"))


def _file(url: httpx.URL, most: int) -> Fetched:
    try:
        with Path(url2pathname(url.path)).open("rb") as file:
            content = file.read(most + 1)
    except (OSError, ValueError) as error:
        raise FetchError(f"its file cannot be read ({type(error).__name__})") from None
    if len(content) > most:
        raise FetchError(f"it is longer than {most} bytes")
    return Fetched(content, None)

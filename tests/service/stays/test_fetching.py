"""Fetching a feed from a real server on the loopback, and from a file."""

from __future__ import annotations

import gzip
import logging
import ssl
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
import trustme

from service.stays.fetching import Fetched, FetchError, fetch

SECRET = "k9-secret-of-the-feed"
TEXT = b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n"

Answer = Callable[[BaseHTTPRequestHandler], None]


@contextmanager
def serving(answer: Answer, context: ssl.SSLContext | None = None) -> Iterator[str]:
    """A server that gives that answer, and the feed's address on it."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            answer(self)

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    if context:
        server.socket = context.wrap_socket(server.socket, server_side=True)
    thread = threading.Thread(target=server.serve_forever, args=(0.01,))
    thread.start()
    try:
        yield f"{'https' if context else 'http'}://127.0.0.1:{server.server_port}/{SECRET}.ics?key={SECRET}"
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def sends(body: bytes, status: int = 200, **headers: str) -> Answer:
    def answer(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(status)
        for name, value in headers.items():
            handler.send_header(name.replace("_", "-"), value)
        handler.send_header("Content-Length", str(len(body)))
        handler.end_headers()
        handler.wfile.write(body)

    return answer


def get(
    address: str, etag: str | None = None, timeout_s: float = 10, most: int = 10_000
) -> Fetched:
    return fetch(address, etag, timeout_s=timeout_s, size_limit_bytes=most)


def test_a_text_and_its_etag() -> None:
    """
    The body comes back as it was sent, with the ETag.
    """
    with serving(sends(TEXT, ETag='"v1"')) as address:
        assert get(address) == Fetched(TEXT, '"v1"')


def test_unchanged() -> None:
    """
    The ETag is sent back (RFC 9110, 13.1.2), and 304 is no text.
    """

    def answer(handler: BaseHTTPRequestHandler) -> None:
        known = handler.headers.get("If-None-Match") == '"v1"'
        sends(b"", 304)(handler) if known else sends(TEXT)(handler)

    with serving(answer) as address:
        assert get(address, '"v1"') == Fetched(None, '"v1"')
        assert get(address, '"v0"').content == TEXT


def test_compressed() -> None:
    """
    A compressed body is unpacked, and its limit is that of the unpacked text.
    """
    with serving(sends(gzip.compress(TEXT), Content_Encoding="gzip")) as address:
        assert get(address).content == TEXT
    with (
        serving(sends(gzip.compress(bytes(1_000_000)), Content_Encoding="gzip")) as address,
        pytest.raises(FetchError, match="longer than 10000 bytes"),
    ):
        get(address)


def test_redirects() -> None:
    """
    It is followed to where it has moved, and not for ever.
    """

    def answer(handler: BaseHTTPRequestHandler) -> None:
        moved = sends(b"", 302, Location=f"/moved/{SECRET}.ics")
        (sends(TEXT) if handler.path.startswith("/moved") else moved)(handler)

    with serving(answer) as address:
        assert get(address).content == TEXT
    with (
        serving(sends(b"", 302, Location="/again")) as address,
        pytest.raises(FetchError, match="without end"),
    ):
        get(address)


def test_a_redirect_to_a_file_is_not_followed(tmp_path: Path) -> None:
    """
    A server cannot make us read our own files.
    """
    file = tmp_path / "feed.ics"
    file.write_bytes(TEXT)
    with serving(sends(b"", 302, Location=file.as_uri())) as address, pytest.raises(FetchError):
        get(address)


def test_a_redirect_that_drops_encryption_is_not_followed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """
    From https the way leads only to https: the address it leads to may hold the secret too.
    """
    authority = trustme.CA()
    certificates = tmp_path / "authority.pem"
    authority.cert_pem.write_to_path(str(certificates))
    monkeypatch.setenv("SSL_CERT_FILE", str(certificates))
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("127.0.0.1").configure_cert(context)

    with serving(sends(TEXT)) as plain:
        with serving(sends(TEXT), context) as address:
            assert get(address).content == TEXT
        moved = sends(b"", 302, Location=plain)
        with serving(moved, context) as address, pytest.raises(FetchError, match="not encrypted"):
            get(address)


def slowly(handler: BaseHTTPRequestHandler) -> None:
    handler.send_response(200)
    handler.end_headers()
    for _ in range(40):
        try:
            handler.wfile.write(b"X")
            handler.wfile.flush()
        except OSError:
            return
        time.sleep(0.05)


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (sends(b"", 404), "HTTP status 404"),
        (sends(b"", 500), "HTTP status 500"),
        (sends(b"", 304), "HTTP status 304"),  # without having been asked
        (sends(bytes(10_001)), "longer than 10000 bytes"),
        (slowly, "longer than 0.3 s"),
        (lambda handler: handler.wfile.write(b"nonsense\r\n\r\n"), "RemoteProtocolError"),
    ],
)
def test_failures(answer: Answer, said: str, caplog: pytest.LogCaptureFixture) -> None:
    """
    Each failure says what it was; neither the error nor its chain nor any log line, down to the
    library's own at INFO, holds the feed's address.
    """
    caplog.set_level(logging.INFO)
    with serving(answer) as address, pytest.raises(FetchError, match=said) as raised:
        get(address, timeout_s=0.3 if answer is slowly else 10)

    assert raised.value.__cause__ is None
    assert raised.value.__suppress_context__ or raised.value.__context__ is None
    assert SECRET not in str(raised.value) + caplog.text
    assert "127.0.0.1" not in str(raised.value) + caplog.text


def test_success_leaves_no_trace(caplog: pytest.LogCaptureFixture) -> None:
    """
    A feed that is read well is not logged either, at any level.
    """
    caplog.set_level(logging.DEBUG)
    with serving(sends(TEXT)) as address:
        get(address)

    assert SECRET not in caplog.text


@pytest.mark.parametrize(
    "address",
    [f"http://127.0.0.1:1/{SECRET}", f"http://[{SECRET}", f"https://127.0.0.1:1/{SECRET}"],
)
def test_nobody_there(address: str) -> None:
    """
    A server that is not there and an address that is none are told without it.
    """
    with pytest.raises(FetchError) as raised:
        get(address)
    assert SECRET not in str(raised.value)


def test_files(tmp_path: Path) -> None:
    """
    A file is read within the same limit; what cannot be read is told without its path.
    """
    file = tmp_path / "a feed.ics"
    file.write_bytes(TEXT)

    assert get(file.as_uri()) == Fetched(TEXT, None)
    with pytest.raises(FetchError, match="longer than 10 bytes"):
        get(file.as_uri(), most=10)
    for address in (f"file:///nowhere/{SECRET}", tmp_path.as_uri(), "file:///a%00b"):
        with pytest.raises(FetchError, match="cannot be read") as raised:
            get(address)
        assert SECRET not in str(raised.value)

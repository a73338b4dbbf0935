"""Calls to a gateway over real HTTP: what is sent, and what each answer means."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from standardwebhooks import Webhook

from askhouse.errors import SettingsError
from service.lines.sending import LineSender, Outgoing, SendError
from tests.service.lines.samples import GUEST, NOW, PLAIN_SECRET, STANDARD_SECRET, make_line

OUT = Outgoing(key="reply-12", to=GUEST, text='Say "mellon" & turn 50% – 😀\nThen push.')


@dataclass
class Gateway:
    """Answers every call as told and keeps what came."""

    status: int = 200
    headers: dict[str, str] = field(default_factory=dict)
    body: bytes = b""
    url: str = ""
    calls: list[tuple[str, str, dict[str, str], bytes]] = field(default_factory=list)


@contextmanager
def answering(**answer: Any) -> Iterator[Gateway]:
    gateway = Gateway(**answer)

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            headers = {name.lower(): value for name, value in self.headers.items()}
            gateway.calls.append((self.command, self.path, headers, body))
            self.send_response(gateway.status)
            for name, value in gateway.headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(gateway.body)))
            self.end_headers()
            self.wfile.write(gateway.body)

        do_GET = do_PUT = do_POST  # noqa: N815 -- the server's own names

        def log_message(self, *args: Any) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    gateway.url = f"http://127.0.0.1:{server.server_port}/send"
    thread = threading.Thread(target=server.serve_forever, args=(0.01,))
    thread.start()
    try:
        yield gateway
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@contextmanager
def sender(
    gateway: Gateway, environ: dict[str, str] | None = None, **send: Any
) -> Iterator[LineSender]:
    line = make_line(send={"url": gateway.url} | send)
    opened = LineSender(line, environ or {}, now=lambda: NOW)
    try:
        yield opened
    finally:
        opened.close()


def test_json_is_filled_with_header_key_and_secret() -> None:
    """
    The text arrives as it is, quotes and all; the key is in its header, the secret where it is put.
    """
    body = {"to": "{{ to }}", "from": "{{ number_digits }}", "text": "{{ text }}", "n": 1}
    headers = {"Authorization": "Bearer {{ secrets.token }}"}
    with (
        answering(status=202) as gateway,
        sender(gateway, {"T": "tok-1"}, json=body, headers=headers, secrets={"token": "T"}) as line,
    ):
        line.send(OUT)

    ((method, _, sent, content),) = gateway.calls
    assert method == "POST"
    assert json.loads(content) == {"to": GUEST, "from": "447700900222", "text": OUT.text, "n": 1}
    assert sent["content-type"] == "application/json"
    assert sent["authorization"] == "Bearer tok-1"
    assert sent["idempotency-key"] == "reply-12"


def test_form_and_query_are_filled() -> None:
    """
    A form and the parameters of a GET hold the same text after decoding.
    """
    told = {"to": "{{ to }}", "msg": "{{ text }}", "id": "{{ key }}"}
    expected = {"to": [GUEST], "msg": [OUT.text], "id": ["reply-12"]}
    with answering() as gateway:
        with sender(gateway, form=told, key_header=None) as line:
            line.send(OUT)
        with sender(gateway, method="GET", query=told, url=gateway.url + "?v=2") as line:
            line.send(OUT)

    (_, _, headers, body), (method, path, _, nothing) = gateway.calls
    assert parse_qs(body.decode()) == expected
    assert "idempotency-key" not in headers
    assert (method, nothing) == ("GET", b"")
    assert parse_qs(urlsplit(path).query) == expected | {"v": ["2"]}


def test_values_in_the_url_cannot_leave_their_place() -> None:
    """
    A number in a path is percent-encoded.
    """
    with answering() as gateway, sender(gateway, url=gateway.url + "/{{ to }}/x") as line:
        line.send(Outgoing(key="k", to="../a?b#c", text=""))

    assert gateway.calls[0][1] == "/send/..%2Fa%3Fb%23c/x"


def test_basic_and_standard_webhooks_prove_us() -> None:
    """
    Where it is set, a call carries user and password, or a signature that the library of Standard
    Webhooks takes, with the key as its id.
    """
    with answering() as gateway:
        basic = {"kind": "basic", "user": "house", "secret_env": "P"}
        with sender(gateway, {"P": "123£"}, basic=basic | {"user": "test"}, json={}) as line:
            line.send(OUT)
        signing = {"kind": "standard-webhooks", "secret_env": "W"}
        settings = make_line(
            send={"url": gateway.url, "json": {"t": "{{ text }}"}, "signing": signing}
        )
        line = LineSender(settings, {"W": STANDARD_SECRET})
        line.send(OUT)
        line.close()

    (_, _, first, _), (_, _, second, body) = gateway.calls
    assert first["authorization"] == "Basic dGVzdDoxMjPCow=="  # RFC 7617, 2.1
    assert second["webhook-id"] == "reply-12"
    assert Webhook(STANDARD_SECRET).verify(body, second) == {"t": OUT.text}


def failure(gateway: Gateway, **send: Any) -> SendError:
    with sender(gateway, **send) as line, pytest.raises(SendError) as raised:
        line.send(OUT)
    return raised.value


@pytest.mark.parametrize("status", [200, 201, 202, 204])
def test_every_2xx_is_taken(status: int) -> None:
    """
    Where nothing else is set, any 2xx means that the message was taken (RFC 9110, 15.3).
    """
    with answering(status=status) as gateway, sender(gateway) as line:
        line.send(OUT)

    assert len(gateway.calls) == 1


@pytest.mark.parametrize("status", [408, 409, 425, 429, 500, 502, 503, 504])
def test_these_may_come_again(status: int) -> None:
    """
    Time-outs, too many requests and faults of the gateway are worth another try.
    """
    with answering(status=status) as gateway:
        error = failure(gateway)

    assert error.retry
    assert error.retry_after_s is None
    assert str(status) in str(error)


@pytest.mark.parametrize("status", [301, 302, 307, 308, 400, 401, 403, 404, 410, 422])
def test_these_never_come_again(status: int) -> None:
    """
    A refusal stays one, and a redirect is not followed: guests' numbers go nowhere unset.
    """
    with answering(status=status, headers={"Location": "http://127.0.0.1:1/x"}) as gateway:
        error = failure(gateway)

    assert not error.retry
    assert len(gateway.calls) == 1


@pytest.mark.parametrize(
    ("value", "seconds"),
    [
        # RFC 9110, 10.2.3: delay-seconds, or an HTTP-date (here ten minutes after the clock's).
        ("120", 120.0),
        ("Sat, 04 Jul 2026 09:40:00 GMT", 600.0),
        # In the past: at once. Longer than a day: a day. What is neither: not said.
        ("Fri, 31 Dec 1999 23:59:59 GMT", 0.0),
        ("999999999999999", 86_400.0),
        ("soon", None),
        ("-5", None),
        ("²", None),
    ],
)
def test_retry_after(value: str, seconds: float | None) -> None:
    """
    Retry-After is told in seconds from now.
    """
    answer = value.encode("utf-8").decode("latin-1")
    with answering(status=503, headers={"Retry-After": answer}) as gateway:
        assert failure(gateway).retry_after_s == seconds


def test_success_can_be_a_field() -> None:
    """
    A gateway that answers 200 to everything is believed by the field that is set.
    """
    success = {"statuses": [200], "field": "result.code", "values": [0, "ok"]}
    with answering(body=b'{"result": {"code": 0}}') as gateway:
        with sender(gateway, success=success) as line:
            line.send(OUT)
        for body in (b'{"result": {"code": 7}}', b'{"result": {"code": false}}', b"{", b"[]", b""):
            gateway.body = body
            assert failure(gateway, success=success).retry
        gateway.status = 201
        assert not failure(gateway, success=success).retry


def test_nobody_there_may_come_again() -> None:
    """
    A gateway that cannot be reached is tried again, and the error names neither number nor text.
    """
    error = failure(Gateway(url="http://127.0.0.1:1/send"), query={"to": "{{ to }}"})

    assert error.retry
    assert GUEST not in str(error)
    assert "127.0.0.1" not in str(error)


def test_line_that_cannot_send_says_so() -> None:
    """
    A line that only replies in its response, and a sender without a number, can never be sent to.
    """
    line = LineSender(make_line(send=None, respond={}), {})
    with pytest.raises(SendError, match="add send to its settings") as raised:
        line.send(OUT)
    line.close()
    assert not raised.value.retry

    with answering() as gateway, sender(gateway) as line, pytest.raises(SendError) as hidden:
        line.send(Outgoing(key="k", to="withheld", text="x"))
    assert not hidden.value.retry
    assert gateway.calls == []


def test_missing_secret_is_told_at_start() -> None:
    """
    A sender does not open without its secrets.
    """
    send = {"url": "http://127.0.0.1:1", "secrets": {"token": "LINE_TOKEN"}}
    with pytest.raises(SettingsError, match="LINE_TOKEN is not set"):
        LineSender(make_line(send=send), {"OTHER": PLAIN_SECRET})


def test_now_is_utc_where_none_is_given() -> None:
    """
    A signature made without a clock of one's own bears the present time.
    """
    with answering() as gateway:
        signing = {"kind": "standard-webhooks", "secret_env": "W"}
        line = LineSender(
            make_line(send={"url": gateway.url, "signing": signing}), {"W": STANDARD_SECRET}
        )
        line.send(OUT)
        line.close()

    signed_at = int(gateway.calls[0][2]["webhook-timestamp"])
    assert abs(datetime.now(UTC).timestamp() - signed_at) < 30

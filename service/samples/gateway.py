"""A gateway to try a line with, on this machine: `python -m service.samples.gateway --help`.

It hands a guest's message to the service, signed as the line's settings say, and takes the calls
by which replies go out; each idempotency key counts once, however often it comes.
"""

from __future__ import annotations

import base64
import hmac
import json
import os
import secrets
import threading
from collections import Counter
from datetime import UTC, datetime
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from types import TracebackType
from typing import Annotated, Any, Self

import httpx
import typer
import yaml

from askhouse.commands.shared import run
from service.lines.gateway_side import GuestMessage, call, signed_request
from service.lines.settings import LineSettings
from service.lines.signing_settings import read_secret, read_signing_secret

__all__ = ["SampleGateway", "read_sample"]

PORT = 8099
SAMPLE = Path(__file__).with_name("post-json-signed.yaml")
_MOST_BYTES = 65_536


class SampleGateway:
    """Takes `POST /send` with `{"to": …, "from": …, "text": …}` and a key; answers 202.

    Attributes:
        tries: How often each key came.
        sent: The first text of each key, with the number it goes to: what a guest would get.

    Args:
        token: What a call proves itself with, as `Authorization: Bearer TOKEN`.
        port: 0 takes a free one.
        refuse: How many calls are answered 503 first, to see them come again.
    """

    def __init__(self, token: str, port: int = PORT, refuse: int = 0) -> None:
        self.tries: Counter[str] = Counter()
        self.sent: dict[str, tuple[str, str]] = {}
        self._token = token
        self._refuse = refuse
        self._changed = threading.Condition()
        gateway = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1"

            def do_POST(self) -> None:
                length = min(int(self.headers.get("Content-Length", 0)), _MOST_BYTES)
                status = gateway._take(self.headers, self.rfile.read(length), self.path)
                self.send_response(status)
                if status is HTTPStatus.SERVICE_UNAVAILABLE:
                    self.send_header("Retry-After", "1")
                self.send_header("Content-Length", "0")
                self.end_headers()

            def do_HEAD(self) -> None:
                self.send_response(HTTPStatus.NO_CONTENT)
                self.end_headers()

            def log_message(self, *args: Any) -> None:
                """Nothing: what came is printed by key."""

        self._server = ThreadingHTTPServer(("127.0.0.1", port), Handler)
        self._server.daemon_threads = True
        self._thread = threading.Thread(target=self._server.serve_forever, args=(0.05,))

    @property
    def url(self) -> str:
        """Where it takes calls."""
        return f"http://127.0.0.1:{self._server.server_port}/send"

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._server.shutdown()
        self._thread.join()
        self._server.server_close()

    def wait_for(self, keys: int, seconds: float) -> bool:
        """Whether so many different keys came within the time."""
        with self._changed:
            return self._changed.wait_for(lambda: len(self.sent) >= keys, seconds)

    def _take(self, headers: Any, body: bytes, path: str) -> HTTPStatus:
        given = headers.get("Authorization", "").encode("utf-8", "replace")
        if not hmac.compare_digest(f"Bearer {self._token}".encode(), given):
            return HTTPStatus.UNAUTHORIZED
        if path != "/send":
            return HTTPStatus.NOT_FOUND
        try:
            told = json.loads(body)
            to, text = told["to"], told["text"]
        except (ValueError, TypeError, KeyError):
            return HTTPStatus.BAD_REQUEST
        key = headers.get("Idempotency-Key", "")
        with self._changed:
            self.tries[key] += 1
            if self._refuse > 0:
                self._refuse -= 1
                return HTTPStatus.SERVICE_UNAVAILABLE
            self.sent.setdefault(key, (to, text))
            self._changed.notify_all()
        return HTTPStatus.ACCEPTED


def read_sample(path: Path) -> LineSettings:
    """The first line of a file of settings."""
    return LineSettings.model_validate(yaml.safe_load(path.read_text("utf-8"))["lines"][0])


def main(
    text: Annotated[str, typer.Argument(help="What the guest writes.")] = "",
    settings: Annotated[
        Path, typer.Option(help="File of settings; its first line is played.")
    ] = SAMPLE,
    service: Annotated[str, typer.Option(help="Where the service listens.")] = (
        "http://127.0.0.1:8321"
    ),
    sender: Annotated[str, typer.Option(help="The guest's number.")] = "+442079460333",
    port: Annotated[int, typer.Option(help="Where calls are taken.")] = PORT,
    wait_s: Annotated[float, typer.Option(help="Seconds to wait for the reply.")] = 30,
    new_secret: Annotated[bool, typer.Option(help="Print a new secret, and nothing else.")] = False,
) -> None:
    """Hands one message to the service and prints the reply that comes back.

    The secrets are read from the variables that the settings name.
    """
    if new_secret:
        typer.echo("whsec_" + base64.b64encode(secrets.token_bytes(32)).decode())
        return
    line = read_sample(settings)
    signing_secret = read_signing_secret(line.signing, os.environ)
    now = datetime.now(UTC)
    message = GuestMessage(sender=sender, text=text, id=f"msg_{secrets.token_hex(8)}", at=now)
    request = signed_request(line, signing_secret, message, now)
    with httpx.Client(base_url=service, timeout=wait_s + 5) as client:
        if line.send is None:
            response = call(client, line, request)
            typer.echo(f"{response.status_code} {response.text}")
            raise typer.Exit(not response.is_success)
        token = read_secret(line.send.secrets["token"], os.environ)
        with SampleGateway(token, port) as gateway:
            response = call(client, line, request)
            typer.echo(f"handed over: {response.status_code} {response.text}".rstrip())
            came = response.is_success and gateway.wait_for(1, wait_s)
            for key, (to, reply) in gateway.sent.items():
                typer.echo(f"to {to}, key {key}, {gateway.tries[key]} time(s): {reply}")
            if not came:
                typer.echo("no reply came; `askhouse line-test` tells why", err=True)
                raise typer.Exit(1)


if __name__ == "__main__":
    app = typer.Typer(pretty_exceptions_enable=False)
    app.command()(main)
    run(app)

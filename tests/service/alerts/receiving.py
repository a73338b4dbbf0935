"""What alerts are sent to in the tests: an HTTP server and a mail server on the loopback."""

from __future__ import annotations

import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, HTTPServer
from typing import Any

import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult, Envelope, LoginPassword


@dataclass
class Receiver:
    """An HTTP server that remembers what it got, and answers as it is told to."""

    port: int = 0
    status: int = 204
    answer_headers: dict[str, str] = field(default_factory=dict)
    bodies: list[bytes] = field(default_factory=list)
    headers: list[dict[str, str]] = field(default_factory=list)


@contextmanager
def receiver() -> Iterator[Receiver]:
    """The server, on a free port."""
    seen = Receiver()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            seen.bodies.append(self.rfile.read(int(self.headers["Content-Length"])))
            seen.headers.append({name.lower(): value for name, value in self.headers.items()})
            self.send_response(seen.status)
            for name, value in seen.answer_headers.items():
                self.send_header(name, value)
            self.send_header("Content-Length", "0")
            self.end_headers()

        def log_message(self, *_: Any) -> None:
            return

    server = HTTPServer(("127.0.0.1", 0), Handler)
    seen.port = server.server_address[1]
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    try:
        yield seen
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@dataclass
class Mailbox:
    """A mail server that remembers what it got, and refuses as it is told to."""

    port: int = 0
    user: str = "alerts"
    password: str = "lantern-over-water"
    refuse_recipient: str | None = None
    refuse_mail: str | None = None
    mails: list[EmailMessage] = field(default_factory=list)
    over_tls: list[bool] = field(default_factory=list)

    async def handle_RCPT(  # noqa: N802 (the library's name)
        self, server: Any, session: Any, envelope: Envelope, address: str, options: list[str]
    ) -> str:
        if self.refuse_recipient is not None:
            return self.refuse_recipient
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(  # noqa: N802 (the library's name)
        self, server: Any, session: Any, envelope: Envelope
    ) -> str:
        if self.refuse_mail is not None:
            return self.refuse_mail
        content = envelope.content
        assert isinstance(content, bytes)
        mail = message_from_bytes(content, policy=policy.default)
        assert isinstance(mail, EmailMessage)
        self.mails.append(mail)
        self.over_tls.append(session.ssl is not None)
        return "250 OK"

    def check(self, server: Any, session: Any, envelope: Any, mechanism: str, given: Any) -> Any:
        assert isinstance(given, LoginPassword)
        right = given.login == self.user.encode() and given.password == self.password.encode()
        return AuthResult(success=right, handled=False)


@contextmanager
def mail_server(
    authority: trustme.CA, *, tls: bool = True, name: str = "localhost", sign_in: bool = True
) -> Iterator[Mailbox]:
    """A server that offers STARTTLS, with a certificate for that name, and asks for a password."""
    box = Mailbox()
    context = None
    if tls:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        authority.issue_cert(name).configure_cert(context)
    with socket.create_server(("127.0.0.1", 0)) as free:
        box.port = free.getsockname()[1]
    controller = Controller(
        box,
        hostname="127.0.0.1",
        port=box.port,
        tls_context=context,
        require_starttls=tls,
        authenticator=box.check,
        auth_required=tls and sign_in,
        auth_require_tls=tls,
    )
    controller.start()
    try:
        yield box
    finally:
        controller.stop()

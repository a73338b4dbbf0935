"""A line tried out: a test message takes the whole way, and what is wrong is told with its mend."""

from __future__ import annotations

import secrets
import time
from base64 import b64encode
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from http import HTTPStatus
from urllib.parse import urlsplit

import httpx

from askhouse.errors import SettingsError
from service.lines.gateway_side import GuestMessage, call, signed_request
from service.lines.segments import count
from service.lines.sending import LineSender
from service.lines.settings import LineSettings, RespondSettings
from service.lines.signing_settings import (
    ParameterSigning,
    PathSigning,
    StandardSigning,
    read_signing_secret,
)

__all__ = ["Finding", "round_trip"]

TEXT = "Line test: what time do we have to leave?"
_PAUSE_S = 0.2

Outcome = Callable[[str], str | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that was tried.

    Attributes:
        what: A few words, the same each time.
        good: Whether it is as it should be.
        said: What was found; holds no secret and no reply.
        mend: What to do about it; "" where there is nothing to do.
    """

    what: str
    good: bool
    said: str
    mend: str = ""


def round_trip(
    settings: LineSettings,
    environ: Mapping[str, str],
    service_url: str,
    *,
    sender: str,
    outcome: Outcome | None = None,
    wait_s: float = 30,
) -> list[Finding]:
    """Plays the gateway: hands a message to the running service and waits for the reply.

    Args:
        service_url: Where the service listens, such as http://127.0.0.1:8321.
        sender: A number of the operator's own: the reply goes there.
        outcome: What became of the reply to a gateway's id: "sent", why it failed, or None as
            long as it is under way; asked where replies go out by a call to the gateway.
    """
    findings = [*_secrets(settings, environ), *_strength(settings)]
    if not all(finding.good for finding in findings):
        return findings
    secret = read_signing_secret(settings.signing, environ)
    findings += _send_address(settings)
    message = GuestMessage(
        sender=sender, text=TEXT, id=f"line-test-{secrets.token_hex(8)}", at=datetime.now(UTC)
    )
    try:
        with httpx.Client(base_url=service_url, timeout=wait_s + 5) as client:
            findings.append(_ready(client))
            if findings[-1].good:
                findings.append(_forgery(client, settings, message))
                findings += _message(client, settings, secret, message)
    except httpx.HTTPError as error:
        said = f"{service_url} does not answer ({type(error).__name__})"
        mend = "start it with askhouse serve, or read its log"
        findings.append(Finding(what="the service", good=False, said=said, mend=mend))
    if findings[-1].good and settings.respond is None:
        findings.append(_sent(message.id, outcome, wait_s))
    return findings


def _secrets(settings: LineSettings, environ: Mapping[str, str]) -> list[Finding]:
    findings = []
    for what, opened in (
        ("inbound secret", lambda: read_signing_secret(settings.signing, environ)),
        ("secrets to send with", lambda: LineSender(settings, environ).close()),
    ):
        try:
            opened()
        except SettingsError as error:
            said, _, mend = str(error).partition(": ")
            findings.append(Finding(what=what, good=False, said=said, mend=mend))
        else:
            findings.append(Finding(what=what, good=True, said="set"))
    return findings


def _strength(settings: LineSettings) -> list[Finding]:
    if not isinstance(settings.signing, ParameterSigning | PathSigning):
        return []
    said = (
        "the secret is part of the address, which logs on the way may keep; if the gateway can "
        "sign with a header, set that"
    )
    return [Finding(what="way of signing", good=True, said=said)]


def _send_address(settings: LineSettings) -> list[Finding]:
    """Whether anything answers at the gateway's address; nothing is sent there."""
    if settings.send is None:
        return []
    what = "gateway's address"
    parts = urlsplit(settings.send.url)
    origin = f"{parts.scheme}://{parts.netloc}"
    try:
        httpx.head(origin, timeout=settings.send.timeout_s)
    except httpx.HTTPError as error:
        said = f"{origin} does not answer ({type(error).__name__})"
        return [Finding(what=what, good=False, said=said, mend="set send.url, or the way there")]
    open_way = parts.scheme == "http" and parts.hostname not in ("127.0.0.1", "::1", "localhost")
    said = "answers, but without TLS: texts travel open; use https" if open_way else "answers"
    return [Finding(what=what, good=True, said=said)]


def _ready(client: httpx.Client) -> Finding:
    what = "the service"
    status = client.get("/health/ready").status_code
    if status != HTTPStatus.OK:
        said = f"answers {status} at /health/ready"
        mend = "wait until it is ready, or read its log"
        return Finding(what=what, good=False, said=said, mend=mend)
    return Finding(what=what, good=True, said="is ready")


def _forgery(client: httpx.Client, settings: LineSettings, message: GuestMessage) -> Finding:
    """A request signed with another secret must be refused."""
    other = secrets.token_bytes(32)
    standard = isinstance(settings.signing, StandardSigning)
    wrong = "whsec_" + b64encode(other).decode() if standard else other.hex()
    request = signed_request(settings, wrong, message, datetime.now(UTC))
    status = call(client, settings, request).status_code
    refused = status == HTTPStatus.UNAUTHORIZED
    return Finding(
        what="forged message",
        good=refused,
        said="refused" if refused else f"was answered {status} instead of 401",
        mend="" if refused else "start the service anew with this file of settings",
    )


def _message(
    client: httpx.Client, settings: LineSettings, secret: str, message: GuestMessage
) -> list[Finding]:
    request = signed_request(settings, secret, message, datetime.now(UTC))
    response = call(client, settings, request)
    if not response.is_success and not _pending(response):
        said, mend = _why_not(response, settings)
        return [Finding(what="signed message", good=False, said=said, mend=mend)]
    findings = [Finding(what="signed message", good=True, said="stored and acknowledged")]
    if settings.respond is not None:
        findings.append(_reply(response, settings.respond))
    return findings


def _pending(response: httpx.Response) -> bool:
    return response.status_code == HTTPStatus.SERVICE_UNAVAILABLE


def _why_not(response: httpx.Response, settings: LineSettings) -> tuple[str, str]:
    """What a refusal means, and its mend, by its status."""
    name = settings.signing.secret_env
    meanings = {
        HTTPStatus.UNAUTHORIZED: (
            "the signature does not match, or the service knows no such line",
            f"give the service and this shell the same {name}, and the same file of settings; "
            "then start the service anew",
        ),
        HTTPStatus.NOT_FOUND: ("nothing is at this path", "check the service's URL"),
        HTTPStatus.METHOD_NOT_ALLOWED: (
            "the line takes another method",
            "start the service anew: it runs with older settings",
        ),
    }
    status = response.status_code
    if status in meanings:
        return meanings[HTTPStatus(status)]
    if status == HTTPStatus.UNPROCESSABLE_ENTITY:
        errors = response.json().get("errors", [])
        wrong = "; ".join(f"{e.get('pointer', '')} {e['detail']}".strip() for e in errors)
        return f"could not be read: {wrong}", "mend inbound.fields, and start the service anew"
    return f"was answered {status}", "read the service's log"


def _reply(response: httpx.Response, respond: RespondSettings) -> Finding:
    what = "reply in the response"
    if _pending(response):
        return Finding(
            what=what,
            good=False,
            said=f"none within {respond.wait_s:g} s",
            mend="read the service's log; add send to the line, so that late replies go out",
        )
    if not response.text or response.text == respond.without_reply:
        mend = "text START from the sender's number if it opted out; else read the service's log"
        return Finding(what=what, good=False, said="the response is empty", mend=mend)
    cost = count(response.text)
    return Finding(what=what, good=True, said=f"came, {cost.segments} segment(s)")


def _sent(gateway_id: str, outcome: Outcome | None, wait_s: float) -> Finding:
    what = "reply by a call to the gateway"
    if outcome is None:
        return Finding(what=what, good=True, said="not watched from here; see the telephone")
    until = time.monotonic() + wait_s
    while (became := outcome(gateway_id)) is None and time.monotonic() < until:
        time.sleep(_PAUSE_S)
    if became == "sent":
        return Finding(what=what, good=True, said="the gateway took it")
    return Finding(
        what=what,
        good=False,
        said=became or f"none within {wait_s:g} s",
        mend="compare send with the gateway's description, and read the service's log",
    )

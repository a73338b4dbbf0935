"""Whether a request is the gateway's own; and the same signing, for what we send or play ourselves.

Comparisons take the same time wherever two values differ. The library of Standard Webhooks is
what the tests compare with, not what runs here: it has a clock of its own, reads the body as text,
and takes `1614265330.7` for a time although only whole seconds are signed.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from urllib.parse import parse_qsl, quote, unquote_plus

from service.lines.request import LineRequest
from service.lines.signing_settings import (
    BasicSigning,
    HmacSigning,
    ParameterSigning,
    PathSigning,
    SigningSettings,
    StandardSigning,
    standard_key,
)

__all__ = ["TOLERANCE", "ForgedError", "Signed", "check", "sign", "standard_headers"]

TOLERANCE = timedelta(minutes=5)
"""How far the time in a signature may be off (the reference libraries of Standard Webhooks)."""

_SECONDS = re.compile(r"[0-9]{1,11}")


class ForgedError(Exception):
    """A request is not the gateway's own; says why, for the log and for `line-test` alone."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Signed:
    """What the signature itself vouches for.

    Attributes:
        message_id: The same for every try of the same message; a replay has it, too, and is told
            by it.
        at: When it was signed; UTC.
    """

    message_id: str | None = None
    at: datetime | None = None


def check(signing: SigningSettings, secret: str, request: LineRequest, now: datetime) -> Signed:
    """What is known of a request that is signed as the line requires.

    Raises:
        ForgedError: It is not, or it was signed too long ago or too far ahead.
    """
    if request.path_secret is not None and not isinstance(signing, PathSigning):
        raise ForgedError("a secret in the path, which this line does not use")
    match signing:
        case StandardSigning():
            return _check_standard(secret, request, now)
        case HmacSigning():
            return _check_hmac(signing, secret, request, now)
        case BasicSigning():
            given = request.headers.get("authorization", "")
            _compare(_basic(signing.user, secret), _canonical_basic(given), "user or password")
        case ParameterSigning():
            values = [v for k, v in parse_qsl(request.query) if k == signing.parameter]
            if len(values) != 1:
                raise ForgedError(f"the parameter {signing.parameter} is not there once")
            _compare(secret, values[0], "secret in the parameter")
        case PathSigning():
            _compare(secret, request.path_secret or "", "secret in the path")
    return Signed()


def sign(
    signing: SigningSettings, secret: str, request: LineRequest, *, message_id: str, now: datetime
) -> LineRequest:
    """The request signed, as the gateway would."""
    match signing:
        case StandardSigning():
            added = standard_headers(secret, message_id, now, request.body)
            return replace(request, headers={**request.headers, **added})
        case HmacSigning():
            return _sign_hmac(signing, secret, request, now)
        case BasicSigning():
            headers = {**request.headers, "authorization": _basic(signing.user, secret)}
            return replace(request, headers=headers)
        case ParameterSigning():
            return _with_parameter(request, signing.parameter, secret)
        case PathSigning():
            return replace(request, path_secret=secret)


def standard_headers(secret: str, message_id: str, now: datetime, body: bytes) -> dict[str, str]:
    """The three headers of Standard Webhooks 1.0.0, for any hook that goes out."""
    seconds = str(int(now.timestamp()))
    return {
        "webhook-id": message_id,
        "webhook-timestamp": seconds,
        "webhook-signature": _standard_signature(secret, message_id, seconds, body),
    }


def _standard_signature(secret: str, message_id: str, seconds: str, body: bytes) -> str:
    content = f"{message_id}.{seconds}.".encode() + body
    return "v1," + base64.b64encode(_mac(standard_key(secret), content)).decode()


def _check_standard(secret: str, request: LineRequest, now: datetime) -> Signed:
    headers = request.headers
    message_id, seconds = headers.get("webhook-id", ""), headers.get("webhook-timestamp", "")
    if not message_id or not headers.get("webhook-signature"):
        raise ForgedError("no webhook-id, webhook-timestamp or webhook-signature")
    at = _moment(seconds, now)
    expected = _standard_signature(secret, message_id, seconds, request.body)
    # Several may stand there while a secret is being changed; each is compared, whatever comes.
    matches = [_same(expected, given) for given in headers["webhook-signature"].split(" ")]
    if not any(matches):
        raise ForgedError("the signature does not match")
    return Signed(message_id=message_id, at=at)


def _check_hmac(signing: HmacSigning, secret: str, request: LineRequest, now: datetime) -> Signed:
    if signing.header is not None:
        given = request.headers.get(signing.header.lower(), "")
    else:
        assert signing.parameter is not None
        values = [v for k, v in parse_qsl(request.query) if k == signing.parameter]
        given = values[0] if len(values) == 1 else ""
    if not given:
        raise ForgedError(f"no signature in {signing.header or signing.parameter}")
    seconds = _seconds_header(signing, request.headers)
    at = _moment(seconds, now) if seconds is not None else None
    expected = _hmac_signature(signing, secret, request, seconds)
    if signing.encoding == "hex":
        given = given.lower()
        expected = expected.lower()
    _compare(expected, given, "signature")
    return Signed(at=at)


def _sign_hmac(
    signing: HmacSigning, secret: str, request: LineRequest, now: datetime
) -> LineRequest:
    seconds = None
    if signing.time_header is not None:
        seconds = str(int(now.timestamp()))
        request = replace(
            request, headers={**request.headers, signing.time_header.lower(): seconds}
        )
    signature = _hmac_signature(signing, secret, request, seconds)
    if signing.header is None:
        assert signing.parameter is not None
        return _with_parameter(request, signing.parameter, signature)
    return replace(request, headers={**request.headers, signing.header.lower(): signature})


def _hmac_signature(
    signing: HmacSigning, secret: str, request: LineRequest, seconds: str | None
) -> str:
    if signing.covers == "body":
        content = request.body
    else:
        kept = [
            part
            for part in request.query.split("&")
            if unquote_plus(part.partition("=")[0]) != signing.parameter
        ]
        content = "&".join(kept).encode("latin-1", "replace")
    if seconds is not None:
        content = seconds.encode() + b"." + content
    digest = _mac(secret.encode(), content)
    encoded = digest.hex() if signing.encoding == "hex" else base64.b64encode(digest).decode()
    return signing.prefix + encoded


def _seconds_header(signing: HmacSigning, headers: Mapping[str, str]) -> str | None:
    return None if signing.time_header is None else headers.get(signing.time_header.lower(), "")


def _moment(seconds: str, now: datetime) -> datetime:
    if not _SECONDS.fullmatch(seconds):
        raise ForgedError("the time of the signature is not in whole seconds since 1970")
    at = datetime.fromtimestamp(int(seconds), UTC)
    if abs(now - at) > TOLERANCE:
        minutes = int(TOLERANCE.total_seconds() // 60)
        raise ForgedError(f"signed more than {minutes} minutes ago or ahead: compare the clocks")
    return at


def _basic(user: str, password: str) -> str:
    return "Basic " + base64.b64encode(f"{user}:{password}".encode()).decode()


def _canonical_basic(header: str) -> str:
    """The header with its scheme in one case (RFC 9110, 11.1) and its base64 written one way."""
    scheme, _, credentials = header.partition(" ")
    try:
        decoded = base64.b64decode(credentials.strip(), validate=True)
    except (binascii.Error, ValueError):
        return ""
    return f"{scheme.capitalize()} {base64.b64encode(decoded).decode()}"


def _with_parameter(request: LineRequest, name: str, value: str) -> LineRequest:
    added = f"{quote(name, safe='')}={quote(value, safe='')}"
    return replace(request, query=f"{request.query}&{added}" if request.query else added)


def _mac(key: bytes, content: bytes) -> bytes:
    return hmac.new(key, content, hashlib.sha256).digest()


def _same(expected: str, given: str) -> bool:
    # As bytes, since text of other characters than ASCII would be an error here.
    return hmac.compare_digest(expected.encode(), given.encode("utf-8", "replace"))


def _compare(expected: str, given: str, what: str) -> None:
    if not _same(expected, given):
        raise ForgedError(f"the {what} does not match")

"""Signatures against published vectors, and every forgery refused."""

from __future__ import annotations

import base64
import hmac
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter
from standardwebhooks import Webhook

from service.lines import signatures
from service.lines.gateway_side import signed_request
from service.lines.request import LineRequest
from service.lines.settings import LineSettings
from service.lines.signatures import TOLERANCE, ForgedError, Signed, check, sign, standard_headers
from service.lines.signing_settings import HmacSigning, SigningSettings, StandardSigning
from tests.service.lines.samples import (
    NOW,
    PLAIN_SECRET,
    SIGNINGS,
    STANDARD_SECRET,
    make_message,
    signed_line,
)

# standard-webhooks/standard-webhooks@b2fa7b8: libraries/csharp and libraries/go tests.
VECTOR_SECRET = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"
VECTOR_AT = datetime.fromtimestamp(1614265330, UTC)
VECTOR = LineRequest(
    method="POST",
    headers={
        "webhook-id": "msg_p5jXN8AQM9LWM0D4loKWxJek",
        "webhook-timestamp": "1614265330",
        "webhook-signature": "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=",
    },
    body=b'{"test": 2432232314}',
)
STANDARD = StandardSigning(kind="standard-webhooks", secret_env="S")


def with_header(request: LineRequest, name: str, value: str | None) -> LineRequest:
    headers = {n: v for n, v in request.headers.items() if n != name}
    return replace(request, headers=headers if value is None else headers | {name: value})


def test_standard_webhooks_vector() -> None:
    """
    The published message passes, and signing it gives the published signature.
    """
    signed = check(STANDARD, VECTOR_SECRET, VECTOR, VECTOR_AT)

    assert signed == Signed(message_id="msg_p5jXN8AQM9LWM0D4loKWxJek", at=VECTOR_AT)
    made = standard_headers(VECTOR_SECRET, str(signed.message_id), VECTOR_AT, VECTOR.body)
    assert made == VECTOR.headers


@pytest.mark.parametrize(
    ("name", "value"),
    [
        # The same tests: these must fail.
        ("webhook-signature", "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLawdd"),
        ("webhook-signature", "v1,Ceo5qEr07ixe2NLpvHk3FH9bwy/WavXrAFQ/9tdO6mc="),
        ("webhook-signature", None),
        ("webhook-id", None),
        ("webhook-timestamp", None),
        ("webhook-timestamp", "today"),
        # Other lengths, other versions, and what a looser reader takes for the same.
        ("webhook-signature", "v1,g0hM9SsE"),
        ("webhook-signature", "v1,"),
        ("webhook-signature", "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=AAAA"),
        ("webhook-signature", "v2,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="),
        ("webhook-signature", "g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="),
        ("webhook-signature", "v1,\xe4\u20ac"),
        ("webhook-timestamp", "1614265330.7"),
        ("webhook-timestamp", " 1614265330"),
        ("webhook-timestamp", "+1614265330"),
        ("webhook-timestamp", "1614265331"),
        ("webhook-timestamp", "9" * 400),
        ("webhook-id", "msg_another"),
    ],
)
def test_standard_webhooks_forgeries(name: str, value: str | None) -> None:
    """
    A request with one header changed is refused.
    """
    with pytest.raises(ForgedError):
        check(STANDARD, VECTOR_SECRET, with_header(VECTOR, name, value), VECTOR_AT)


def test_one_of_several_signatures_is_enough() -> None:
    """
    While a secret is being changed, two signatures stand side by side (Standard Webhooks 1.0.0).
    """
    wrong = "v1,Ceo5qEr07ixe2NLpvHk3FH9bwy/WavXrAFQ/9tdO6mc="
    both = f"{wrong} {VECTOR.headers['webhook-signature']}"

    assert check(
        STANDARD, VECTOR_SECRET, with_header(VECTOR, "webhook-signature", both), VECTOR_AT
    ).message_id


@pytest.mark.parametrize("seconds", [-301, 301, -86_400])
def test_old_and_early_signatures_are_refused(seconds: int) -> None:
    """
    Five minutes is the tolerance of the reference libraries, before and after.
    """
    with pytest.raises(ForgedError, match="compare the clocks"):
        check(STANDARD, VECTOR_SECRET, VECTOR, VECTOR_AT + timedelta(seconds=seconds))


@pytest.mark.parametrize("seconds", [-300, 0, 300])
def test_tolerance_is_kept_to_the_second(seconds: int) -> None:
    """
    Exactly five minutes still pass.
    """
    assert TOLERANCE.total_seconds() == 300
    assert check(STANDARD, VECTOR_SECRET, VECTOR, VECTOR_AT + timedelta(seconds=seconds))


@given(st.text("abc_.123", min_size=1), st.binary(max_size=100), st.integers(0, 2_000_000_000))
def test_signing_agrees_with_the_reference_library(key: str, body: bytes, seconds: int) -> None:
    """
    What we sign is what the library of Standard Webhooks signs, for every body that is text.
    """
    at = datetime.fromtimestamp(seconds, UTC)
    text = body.decode("utf-8", "ignore")
    expected = Webhook(STANDARD_SECRET).sign(key, at, text)

    assert (
        standard_headers(STANDARD_SECRET, key, at, text.encode())["webhook-signature"] == expected
    )


def test_reference_library_takes_what_we_sign() -> None:
    """
    A hook that goes out now is verified by the library of Standard Webhooks.
    """
    headers = standard_headers(STANDARD_SECRET, "key-1", datetime.now(UTC), b'{"a": "\xc3\xa9"}')

    assert Webhook(STANDARD_SECRET).verify(b'{"a": "\xc3\xa9"}', headers) == {"a": "é"}


@pytest.mark.parametrize(
    ("key", "data", "digest"),
    [
        # RFC 4231, 4.2 to 4.5 and 4.7.
        (b"\x0b" * 20, b"Hi There",
         "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
        (b"Jefe", b"what do ya want for nothing?",
         "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"),
        (b"\xaa" * 20, b"\xdd" * 50,
         "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
        (bytes(range(1, 26)), b"\xcd" * 50,
         "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b"),
        (b"\xaa" * 131, b"Test Using Larger Than Block-Size Key - Hash Key First",
         "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"),
    ],
)  # fmt: skip
def test_rfc_4231(key: bytes, data: bytes, digest: str) -> None:
    """
    The published cases of HMAC-SHA-256; where the key is text, a whole signed request, too.
    """
    assert signatures._mac(key, data).hex() == digest
    if key.isascii():
        signing = HmacSigning(kind="hmac-sha256", header="X-Sig", secret_env="S")
        request = LineRequest(method="POST", headers={"x-sig": digest}, body=data)
        assert check(signing, key.decode(), request, NOW) == Signed()


def opened(signing: str) -> tuple[LineSettings, str, LineRequest]:
    settings, secret = signed_line(signing)
    return settings, secret, signed_request(settings, secret, make_message(), NOW)


@pytest.mark.parametrize("signing", SIGNINGS)
def test_each_way_of_signing_passes(signing: str) -> None:
    """
    What is signed as the settings say is taken.
    """
    settings, secret, request = opened(signing)

    assert check(settings.signing, secret, request, NOW)


@pytest.mark.parametrize("signing", SIGNINGS)
@pytest.mark.parametrize("change", ["first", "last", "shorter", "longer", "empty"])
def test_each_way_refuses_another_secret(signing: str, change: str) -> None:
    """
    A secret that differs in any place, or in its length, is not the secret.
    """
    settings, secret, request = opened(signing)
    if signing == "standard":
        key = base64.b64decode(secret.removeprefix("whsec_")).decode()
        other = "whsec_" + base64.b64encode(changed(key, change).encode()).decode()
    else:
        other = changed(secret, change)
    forged = signed_request(settings, other, make_message(), NOW)

    assert forged != request
    with pytest.raises(ForgedError):
        check(settings.signing, secret, forged, NOW)


def changed(secret: str, change: str) -> str:
    return {
        "first": "#" + secret[1:],
        "last": secret[:-1] + "#",
        "shorter": secret[:-1],
        "longer": secret + "#",
        "empty": "",
    }[change]


@pytest.mark.parametrize("signing", ["standard", "hex", "base64 with time"])
def test_changed_body_is_refused(signing: str) -> None:
    """
    One byte more, less or other in a signed body is a forgery.
    """
    settings, secret, request = opened(signing)
    for body in (request.body + b" ", request.body[:-1], request.body.replace(b"stop", b"step")):
        assert body != request.body
        with pytest.raises(ForgedError):
            check(settings.signing, secret, replace(request, body=body), NOW)


def test_changed_query_is_refused() -> None:
    """
    A signed query is signed as it stands: a parameter changed, added or moved is a forgery.
    """
    settings, secret, request = opened("query")
    first, second, *rest = request.query.split("&")
    for query in (
        request.query.replace("stopcock", "stopdoor"),
        request.query + "&from=%2B447700900999",
        "from=%2B447700900999&" + request.query,
        "&".join([second, first, *rest]),
    ):
        assert query != request.query
        with pytest.raises(ForgedError):
            check(settings.signing, secret, replace(request, query=query), NOW)


def test_old_hmac_is_refused_where_the_time_is_signed() -> None:
    """
    A signature over the time runs out with it, and the time cannot be put forward.
    """
    settings, secret, request = opened("base64 with time")
    later = NOW + timedelta(minutes=6)
    moved = with_header(request, "x-time", str(int(later.timestamp())))

    for forged in (request, moved, with_header(request, "x-time", None)):
        with pytest.raises(ForgedError):
            check(settings.signing, secret, forged, later)


@pytest.mark.parametrize("signing", [name for name in SIGNINGS if name != "path"])
def test_secret_in_the_path_where_none_belongs_is_refused(signing: str) -> None:
    """
    A request with something after the line's name is not what the gateway was told to call.
    """
    settings, secret, request = opened(signing)

    with pytest.raises(ForgedError, match="does not use"):
        check(settings.signing, secret, replace(request, path_secret="x"), NOW)


@pytest.mark.parametrize(
    "header",
    [
        None,
        "",
        "Basic",
        "Basic ?",
        "Bearer " + base64.b64encode(f"gateway:{PLAIN_SECRET}".encode()).decode(),
        "Basic " + base64.b64encode(f"other:{PLAIN_SECRET}".encode()).decode(),
        "Basic " + base64.b64encode(b"gateway").decode(),
        "Basic " + base64.b64encode(b"gateway:").decode(),
    ],
)
def test_basic_forgeries(header: str | None) -> None:
    """
    Another scheme, user or password, and what is no base64, are all refused.
    """
    settings, secret, request = opened("basic")

    with pytest.raises(ForgedError):
        check(settings.signing, secret, with_header(request, "authorization", header), NOW)


def test_basic_scheme_has_no_case() -> None:
    """
    "basic" is the same scheme as "Basic" (RFC 9110, 11.1).
    """
    settings, secret, request = opened("basic")
    header = request.headers["authorization"].replace("Basic", "bASIC")

    assert check(settings.signing, secret, with_header(request, "authorization", header), NOW)


def test_rfc_7617_example() -> None:
    """
    User "test" and password "123£" in UTF-8 are the header that RFC 7617, 2.1, shows.
    """
    adapter: TypeAdapter[Any] = TypeAdapter(SigningSettings)
    signing = adapter.validate_python({"kind": "basic", "user": "test", "secret_env": "S"})
    request = sign(signing, "123£", LineRequest(method="GET"), message_id="", now=NOW)

    assert request.headers["authorization"] == "Basic dGVzdDoxMjPCow=="


def test_every_comparison_takes_constant_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """
    Each way of signing decides by `hmac.compare_digest`, and by nothing that stops early.
    """
    compared = []
    real = hmac.compare_digest

    def counting(a: Any, b: Any) -> bool:
        compared.append((a, b))
        return real(a, b)

    monkeypatch.setattr(hmac, "compare_digest", counting)
    for signing in SIGNINGS:
        settings, secret, request = opened(signing)
        compared.clear()
        check(settings.signing, secret, request, NOW)
        assert len(compared) == 1, signing

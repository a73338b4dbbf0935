"""How often a client may ask, and how much at a time."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from urllib.parse import urlsplit

import httpx
import pytest

from service.app import create_app
from service.limits import TokenBuckets
from service.settings import ServiceSettings
from tests.service.serving import send
from tests.service.test_problem_details import assert_is_problem


class HandClock:
    """A clock that is moved by hand; seconds."""

    def __init__(self) -> None:
        self.now_s = 1_000.0

    def __call__(self) -> float:
        return self.now_s


def test_bucket_gives_its_tokens_and_gets_them_back() -> None:
    """
    Of six tokens a minute, one comes back every ten seconds, worked out by hand.
    """
    clock = HandClock()
    buckets = TokenBuckets(6, clock)

    assert [buckets.take("a") for _ in range(6)] == [0.0] * 6
    assert buckets.take("a") == pytest.approx(10.0)
    clock.now_s += 4
    # A refusal costs nothing: the wait goes on from where it was.
    assert buckets.take("a") == pytest.approx(6.0)
    clock.now_s += 6
    assert buckets.take("a") == 0.0
    assert buckets.take("a") == pytest.approx(10.0)


def test_bucket_is_never_fuller_than_full() -> None:
    """
    A client that was silent for an hour may not send an hour's requests at once.
    """
    clock = HandClock()
    buckets = TokenBuckets(3, clock)
    clock.now_s += 3_600

    assert [buckets.take("a") for _ in range(4)] == [0.0, 0.0, 0.0, pytest.approx(20.0)]


@pytest.mark.parametrize("per_minute", [1, 7, 120, 997])
def test_last_token_is_not_lost_to_rounding(per_minute: int) -> None:
    """
    As many requests as a bucket has tokens pass at once, and the next does not.
    """
    buckets = TokenBuckets(per_minute, HandClock())

    assert all(buckets.take("a") == 0.0 for _ in range(per_minute))
    assert buckets.take("a") > 0.0


def test_clients_do_not_share_a_bucket_and_full_ones_are_forgotten() -> None:
    """
    One client's requests cost another nothing; who has been silent takes no memory.
    """
    clock = HandClock()
    buckets = TokenBuckets(1, clock)

    assert [buckets.take(client) for client in "abc"] == [0.0] * 3
    assert len(buckets) == 3
    clock.now_s += 61
    assert buckets.take("d") == 0.0
    assert len(buckets) == 1


def test_too_many_requests_are_told_when_to_come_back(settings: ServiceSettings) -> None:
    """
    The request after the last allowed is answered 429 with Retry-After (RFC 6585, 4).
    """
    app = create_app(settings.model_copy(update={"requests_per_minute": 2}))
    allowed = [send(app, "GET", "/v1/houses").status_code for _ in range(2)]
    refused = send(app, "GET", "/v1/houses")

    assert 429 not in allowed
    assert_is_problem(refused, 429, "/problems#too-many-requests")
    # Two a minute are one in thirty seconds; a fraction is rounded up to a whole second
    # (RFC 9110, 10.2.3: delay-seconds is digits only).
    assert refused.headers["Retry-After"] == "30"


def test_health_is_not_limited(settings: ServiceSettings) -> None:
    """
    Whoever watches the service is never turned away.
    """
    app = create_app(settings.model_copy(update={"requests_per_minute": 1}))

    assert {send(app, "GET", "/health/live").status_code for _ in range(5)} == {200}


@pytest.fixture(params=["with its length", "in chunks"])
def big_body(request: pytest.FixtureRequest, settings: ServiceSettings) -> bytes | Iterator[bytes]:
    """A body of one byte more than the limit; chunked, it does not say so beforehand."""
    content = b" " * (settings.body_limit_bytes + 1)
    if request.param == "with its length":
        return content
    return (content[start : start + 10_000] for start in range(0, len(content), 10_000))


def test_body_over_the_limit_is_refused(
    client: httpx.Client, big_body: bytes | Iterator[bytes]
) -> None:
    """
    A body is refused by the bytes that come, whether or not its length was said beforehand.
    """
    response = client.post(
        "/v1/replies", content=big_body, headers={"Content-Type": "application/json"}
    )

    assert_is_problem(response, 413, "/problems#body-too-large")


def test_body_at_the_limit_passes(client: httpx.Client, settings: ServiceSettings) -> None:
    """
    A body of exactly as many bytes as are allowed is read.
    """
    body = b'{"house": "orchard-barn", "text": "Where is the oven?"}'
    response = client.post(
        "/v1/replies",
        content=body.ljust(settings.body_limit_bytes),
        headers={"Content-Type": "application/json"},
    )

    assert response.status_code == 200


def test_endless_body_is_answered_while_it_comes(url: str, settings: ServiceSettings) -> None:
    """
    A sender that never ends is refused as soon as the limit is passed, not waited for.
    """
    address = urlsplit(url)
    chunk = b"400\r\n" + b" " * 0x400 + b"\r\n"
    with socket.create_connection((address.hostname, address.port), timeout=10) as connection:
        connection.sendall(
            b"POST /v1/replies HTTP/1.1\r\nHost: test\r\nContent-Type: application/json\r\n"
            b"Transfer-Encoding: chunked\r\n\r\n"
        )
        connection.sendall(chunk * (settings.body_limit_bytes // 0x400 + 1))

        assert connection.recv(100).startswith(b"HTTP/1.1 413 ")

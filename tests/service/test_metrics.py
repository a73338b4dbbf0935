"""Metrics: counted right, told to whom they may be, and without anyone's number or words."""

from __future__ import annotations

import asyncio
import datetime as dt

import httpx
import pytest
from fastapi import FastAPI
from prometheus_client.parser import text_string_to_metric_families
from sqlalchemy import select
from starlette.middleware import Middleware
from starlette.responses import Response

from service.access.tokens import Scope, new_token
from service.database import Database
from service.metrics import CountRefused, Metrics, metrics_route
from service.privacy.retention import erase_old
from service.problem_details import add_handlers
from service.tables import Delivery, Inbound
from tests.service.privacy.filling import NOW, ROWAN, WREN, add_guest, found_of

AGO = dt.timedelta(days=2)
Labels = frozenset[tuple[str, str]]


class Clock:
    """A time that a test sets."""

    def __init__(self, now: dt.datetime) -> None:
        self.now = now

    def __call__(self) -> dt.datetime:
        return self.now


@pytest.fixture
def clock() -> Clock:
    """Noon of a day in July."""
    return Clock(NOW)


@pytest.fixture
def metrics(database: Database, clock: Clock) -> Metrics:
    """The metrics of a service with the line `village`."""
    return Metrics(database, clock, ["village"])


def _values(metrics: Metrics, name: str) -> dict[Labels, float]:
    """The samples of that name, as the reader of Prometheus's own client reads them."""
    return {
        frozenset(sample.labels.items()): sample.value
        for family in text_string_to_metric_families(metrics.exposition().decode())
        for sample in family.samples
        if sample.name == name
    }


def _labels(**values: str) -> Labels:
    return frozenset(values.items())


def test_empty_service_waits_for_nothing(metrics: Metrics) -> None:
    """
    Before the first message all queues are empty, and of age 0.
    """
    names = ("messages", "deliveries")
    ages = [_values(metrics, f"askhouse_waiting_{name}_seconds") for name in names]
    depths = [_values(metrics, f"askhouse_waiting_{name}") for name in names]

    assert ages == depths == [{frozenset(): 0.0}] * 2


def test_parts_escalations_and_deliveries_are_counted(database: Database, metrics: Metrics) -> None:
    """
    Two guests with one gap each, one alert and three deliveries: the counts are those.
    """
    with database.writing() as session:
        add_guest(session, WREN, AGO)
        add_guest(session, ROWAN, AGO)

    assert _values(metrics, "askhouse_parts_total") == {
        _labels(house="orchard-barn", outcome="gap"): 2
    }
    assert _values(metrics, "askhouse_escalations_total") == {
        _labels(house="orchard-barn", kind="gap", level="soon"): 2
    }
    assert _values(metrics, "askhouse_open_escalations") == {_labels(kind="gap", state="open"): 2}
    assert _values(metrics, "askhouse_deliveries") == {
        _labels(channel="line", state="sent"): 4,
        _labels(channel="email", state="sent"): 2,
    }


def test_erasing_does_not_take_counts_back(database: Database, metrics: Metrics) -> None:
    """
    A counter never falls: what is counted of a message stays when its words are erased.
    """
    with database.writing() as session:
        add_guest(session, WREN, AGO)
    before = [_values(metrics, f"askhouse_{name}_total") for name in ("parts", "escalations")]
    with database.writing() as session:
        erase_old(session, 1, NOW)

    assert before == [
        _values(metrics, f"askhouse_{name}_total") for name in ("parts", "escalations")
    ]


def test_age_is_that_of_the_first_that_waits(
    database: Database, metrics: Metrics, clock: Clock
) -> None:
    """
    Of two messages that wait, 90 and 30 seconds old, and a delivery due in the future, the age of
    messages is 90 s, their depth 2, and no delivery waits.
    """
    with database.writing() as session:
        add_guest(session, WREN, dt.timedelta(seconds=90))
        add_guest(session, ROWAN, dt.timedelta(seconds=30))
        for message in session.scalars(select(Inbound)):
            message.state = "waiting"
        delivery = session.scalars(select(Delivery)).first()
        assert delivery is not None
        delivery.state, delivery.due_at = "due", NOW + dt.timedelta(minutes=1)

    assert _values(metrics, "askhouse_waiting_messages_seconds") == {frozenset(): 90}
    assert _values(metrics, "askhouse_waiting_messages") == {frozenset(): 2}
    assert _values(metrics, "askhouse_waiting_deliveries") == {frozenset(): 0}
    clock.now += dt.timedelta(seconds=100)
    assert _values(metrics, "askhouse_waiting_deliveries_seconds") == {frozenset(): 40}


def test_time_to_a_reply_is_from_arrival_to_handing_over(
    database: Database, metrics: Metrics, clock: Clock
) -> None:
    """
    A message of 12:00:00 whose reply was handed over at 12:00:02 is one of at most 2.5 s, once
    however often it is asked for; alerts and planned messages are not counted.
    """
    with database.writing() as session:
        add_guest(session, WREN, dt.timedelta(0))
        for delivery in session.scalars(select(Delivery)):
            delivery.sent_at = NOW + dt.timedelta(seconds=2)
    clock.now += dt.timedelta(minutes=1)
    for _ in range(2):
        counted = _values(metrics, "askhouse_reply_seconds_bucket")

    assert counted[_labels(urgent="no", le="1.0")] == 0
    assert counted[_labels(urgent="no", le="2.5")] == 1
    assert _values(metrics, "askhouse_reply_seconds_count") == {_labels(urgent="no"): 1}
    assert _values(metrics, "askhouse_reply_seconds_sum") == {_labels(urgent="no"): 2}


def test_two_processes_tell_the_same(database: Database, clock: Clock) -> None:
    """
    What is counted in the database is told alike by every process, also by one just started.
    """
    first = Metrics(database, clock)
    with database.writing() as session:
        add_guest(session, WREN, AGO)
    second = Metrics(database, clock)

    for name in ("askhouse_parts_total", "askhouse_deliveries", "askhouse_open_escalations"):
        assert _values(first, name) == _values(second, name) != {}


def test_no_ones_number_or_words_are_told(database: Database, metrics: Metrics) -> None:
    """
    Neither a number nor a name, a text, a code or a gateway's id stands in what is told.
    """
    with database.writing() as session:
        add_guest(session, WREN, AGO)

    assert found_of(WREN, metrics.exposition().decode()) == []


@pytest.fixture
def app(database: Database, metrics: Metrics) -> FastAPI:
    """An application with the route, and a line that refuses everyone."""
    app = FastAPI(middleware=[Middleware(CountRefused, metrics=metrics)])
    app.state.database, app.state.base_url = database, "http://127.0.0.1:8321"
    app.include_router(metrics_route(metrics))
    app.add_api_route("/lines/{line}/{secret}", lambda: Response(status_code=401))
    app.add_api_route("/lines/{line}", lambda: Response(status_code=200))
    add_handlers(app)
    return app


def _get(app: FastAPI, path: str, client: str = "192.0.2.7", **headers: str) -> httpx.Response:
    """A request from that address; 192.0.2.0/24 is for documentation (RFC 5737)."""
    named = {name.replace("_", "-"): value for name, value in headers.items()}

    async def _send() -> httpx.Response:
        transport = httpx.ASGITransport(app, client=(client, 4711))
        async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as http:
            return await http.get(path, headers=named)

    return asyncio.run(_send())


def test_metrics_are_for_a_token_with_that_scope(app: FastAPI, database: Database) -> None:
    """
    Without a token 401, with one of another scope 403, with the right one the metrics.
    """
    with database.writing() as session:
        good, other = (
            new_token(session, name=scope, scopes=[scope], houses=[], now=NOW)[1]
            for scope in (Scope.METRICS, Scope.ASK)
        )
    statuses = [
        _get(app, "/metrics", authorization=f"Bearer {token}").status_code
        for token in (good, other, "askhouse_guessed")
    ]
    told = _get(app, "/metrics", authorization=f"Bearer {good}")

    assert _get(app, "/metrics").status_code == 401
    assert statuses == [200, 403, 401]
    assert told.headers["content-type"].startswith("text/plain; version=0.0.4")
    assert "askhouse_waiting_messages 0.0" in told.text


@pytest.mark.parametrize(
    ("client", "headers", "status"),
    [
        # this machine
        ("127.0.0.1", {}, 200),
        ("::1", {}, 200),
        # a proxy on this machine, for someone else
        ("127.0.0.1", {"x_forwarded_for": "192.0.2.9"}, 401),
        ("127.0.0.1", {"forwarded": "for=192.0.2.9"}, 401),
        ("127.0.0.1", {"via": "1.1 proxy"}, 401),
        # a page whose name was made to lead here, in a browser on this machine
        ("127.0.0.1", {"host": "rebound.example:8321"}, 401),
        # elsewhere, or nowhere
        ("10.0.0.1", {}, 401),
        ("localhost", {}, 401),
    ],
)
def test_metrics_are_open_to_this_machine(
    app: FastAPI, client: str, headers: dict[str, str], status: int
) -> None:
    """
    From a loopback address no token is needed, unless the request was passed on by a proxy.
    """
    assert _get(app, "/metrics", client, **headers).status_code == status


def test_refused_requests_are_counted_by_line(app: FastAPI, metrics: Metrics) -> None:
    """
    By the name of a known line and the status; neither a guessed name nor a secret is a label.
    """
    for path in ("/lines/village/s3cret", "/lines/guessed/s3cret", "/lines/village"):
        _get(app, path)

    assert _values(metrics, "askhouse_refused_requests_total") == {
        _labels(line="village", status="401"): 1,
        _labels(line="none", status="401"): 1,
    }
    assert "s3cret" not in metrics.exposition().decode()

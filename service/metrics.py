"""What the service counts, for Prometheus.

What several processes do together is read from the database when it is asked for, so that each of
them tells the same, also after a restart: take the largest of them, not their sum. Only refused
requests and the time to a reply are counted in the process.

No label holds a number, a text or a secret: labels are names of the settings, states and kinds.
"""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence

from fastapi import APIRouter, Depends, Response
from prometheus_client import CollectorRegistry, Counter, Histogram
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily
from prometheus_client.exposition import CONTENT_TYPE_PLAIN_0_0_4, generate_latest
from prometheus_client.metrics_core import Metric
from prometheus_client.registry import Collector
from sqlalchemy import ColumnElement, String, cast, func, literal, select
from sqlalchemy.orm import InstrumentedAttribute, Session
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.access.tokens import Scope as TokenScope
from service.access.tokens import here_or
from service.database import Database
from service.lines.masking import PREFIX
from service.tables import (
    Delivery,
    DeliveryState,
    Escalation,
    Inbound,
    MessageState,
    PartRow,
)

__all__ = ["CountRefused", "Metrics", "metrics_route"]

_OPEN = (MessageState.WAITING, MessageState.WORKING)
_UNSENT = (DeliveryState.DUE, DeliveryState.SENDING)
# Seconds from a message's arrival until its reply is handed over: a guest waits for it.
_BUCKETS = (0.1, 0.25, 0.5, 1, 2.5, 5, 10, 30, 60, 300, 1800)
# A reply is noted as sent a moment before that is to be seen by others.
_SETTLED = dt.timedelta(seconds=10)
_MOST_AT_ONCE = 10_000


class Metrics:
    """The counts of one application, in a registry of its own.

    Args:
        database: Where messages and deliveries are.
        clock: What time it is, UTC.
        lines: Names of the lines; a request to any other counts as to "none".
    """

    def __init__(
        self, database: Database, clock: Callable[[], dt.datetime], lines: Iterable[str] = ()
    ) -> None:
        self._lines = frozenset(lines)
        self._registry = CollectorRegistry()
        self._refused = Counter(
            "askhouse_refused_requests",
            "Requests of gateways that were refused.",
            ["line", "status"],
            registry=self._registry,
        )
        latency = Histogram(
            "askhouse_reply_seconds",
            "Seconds from a message's arrival until its reply was handed over.",
            ["urgent"],
            buckets=_BUCKETS,
            registry=None,
        )
        # In this order: what is read from the database goes into the histogram, too.
        self._registry.register(_Stored(database, clock, latency))
        self._registry.register(latency)

    def refused(self, line: str, status: int) -> None:
        """Counts a refused request of a gateway."""
        known = line if line in self._lines else "none"
        self._refused.labels(known, str(status)).inc()

    def exposition(self) -> bytes:
        """All of it in the text format of Prometheus, 0.0.4."""
        return generate_latest(self._registry)


class CountRefused:
    """Counts responses of 400 and above below `/lines/`."""

    def __init__(self, app: ASGIApp, metrics: Metrics) -> None:
        self._app = app
        self._metrics = metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or not scope["path"].startswith(PREFIX):
            await self._app(scope, receive, send)
            return
        line = scope["path"].removeprefix(PREFIX).partition("/")[0]

        async def counted(message: Message) -> None:
            if message["type"] == "http.response.start" and message["status"] >= 400:
                self._metrics.refused(line, message["status"])
            await send(message)

        await self._app(scope, receive, counted)


def metrics_route(metrics: Metrics) -> APIRouter:
    """The route `/metrics`, for a token with that scope, or for this machine without one."""
    router = APIRouter()
    allowed = here_or(TokenScope.METRICS)

    @router.get("/metrics", include_in_schema=False, dependencies=[Depends(allowed)])
    def show() -> Response:
        return Response(metrics.exposition(), media_type=CONTENT_TYPE_PLAIN_0_0_4)

    return router


class _Stored(Collector):
    """What is read from the database when it is asked for."""

    def __init__(
        self, database: Database, clock: Callable[[], dt.datetime], latency: Histogram
    ) -> None:
        self._database = database
        self._clock = clock
        self._latency = latency
        self._observed_until = clock()
        self._lock = threading.Lock()

    def describe(self) -> Iterator[Metric]:
        """Nothing: the database is not asked while the application is put together."""
        return iter(())

    def collect(self) -> Iterator[Metric]:
        """The counts as they are now."""
        now = self._clock()
        with self._database.reading() as session:
            yield _counted(
                session,
                "askhouse_parts",
                "Parts of guests' messages by what became of them: answer, gap, escalate, chat.",
                (PartRow.house, PartRow.outcome),
            )
            yield _counted(
                session,
                "askhouse_escalations",
                "What the host had to hear of.",
                (Escalation.house, Escalation.kind, Escalation.level),
            )
            yield _gauge(
                session,
                "askhouse_open_escalations",
                "Escalations that nobody has closed.",
                (Escalation.kind, Escalation.state),
                Escalation.closed_at.is_(None),
            )
            yield _gauge(
                session,
                "askhouse_deliveries",
                "Texts and alerts by how far they are.",
                (Delivery.channel, Delivery.state),
            )
            yield from _queue(session, "messages", Inbound.received_at, Inbound, now)
            yield from _queue(session, "deliveries", Delivery.due_at, Delivery, now)
            self._observe(session, now)

    def _observe(self, session: Session, now: dt.datetime) -> None:
        """Adds the replies that were sent since the last time to the histogram."""
        with self._lock:
            until = max(now - _SETTLED, self._observed_until)
            sent = session.execute(
                select(Inbound.received_at, Delivery.sent_at, Delivery.urgent)
                .join(Inbound, Inbound.id == Delivery.message_id)
                .where(
                    Delivery.sent_at > self._observed_until,
                    Delivery.sent_at <= until,
                    Delivery.key == literal("reply:") + cast(Inbound.id, String),
                )
                .order_by(Delivery.sent_at.desc())
                .limit(_MOST_AT_ONCE)
            ).all()
            self._observed_until = until
        for received_at, sent_at, urgent in sent:
            assert sent_at is not None  # it was compared
            seconds = max((sent_at - received_at).total_seconds(), 0)
            self._latency.labels("yes" if urgent else "no").observe(seconds)


def _rows(
    session: Session,
    labels: Sequence[InstrumentedAttribute[str] | InstrumentedAttribute[str | None]],
    *which: ColumnElement[bool],
) -> Iterator[tuple[list[str], int]]:
    query = select(func.count(), *labels).where(*which).group_by(*labels).order_by(*labels)
    for count, *values in session.execute(query):
        yield [value or "none" for value in values], count


def _counted(
    session: Session,
    name: str,
    told: str,
    labels: Sequence[InstrumentedAttribute[str] | InstrumentedAttribute[str | None]],
) -> Metric:
    family = CounterMetricFamily(name, told, labels=[label.key for label in labels])
    for values, count in _rows(session, labels):
        family.add_metric(values, count)
    return family


def _gauge(
    session: Session,
    name: str,
    told: str,
    labels: Sequence[InstrumentedAttribute[str] | InstrumentedAttribute[str | None]],
    *which: ColumnElement[bool],
) -> Metric:
    family = GaugeMetricFamily(name, told, labels=[label.key for label in labels])
    for values, count in _rows(session, labels, *which):
        family.add_metric(values, count)
    return family


def _queue(
    session: Session,
    name: str,
    since: InstrumentedAttribute[dt.datetime],
    table: type[Inbound] | type[Delivery],
    now: dt.datetime,
) -> Iterator[Metric]:
    """How many wait, and how long the one has waited that waits longest; 0 where none does."""
    states = _OPEN if table is Inbound else _UNSENT
    waiting = (table.state.in_(states)) & (since <= now)
    depth, first = session.execute(select(func.count(), func.min(since)).where(waiting)).one()
    age = max((now - first).total_seconds(), 0) if first else 0.0
    yield GaugeMetricFamily(f"askhouse_waiting_{name}", f"How many {name} wait.", value=depth)
    yield GaugeMetricFamily(
        f"askhouse_waiting_{name}_seconds", f"How long the first of these {name} waits.", value=age
    )

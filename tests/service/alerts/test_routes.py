"""`/v1/alerts` over HTTP: whose alerts, what is done with them, and what is refused."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any

import httpx
import pytest
import schemathesis
from fastapi import FastAPI
from hypothesis import HealthCheck, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_schema_conformance,
    status_code_conformance,
)
from sqlalchemy import delete

from service.access.tokens import Scope, new_token
from service.alerts.routes import add_alert_handlers, alerts_router
from service.answering import Answering
from service.api import around
from service.database import Database
from service.description import DescribedApp
from service.lines.open_lines import OpenLine, OpenLines
from service.problem_details import add_handlers
from service.request_log import RequestLog
from service.settings import ServiceSettings
from service.tables import Delivery, Escalation, Thread
from tests.house import SMALL
from tests.service.alerts.staging import (
    ADA,
    LINES,
    NOON,
    add_alert,
    add_thread,
    deliveries,
    minutes,
)
from tests.service.databases import sqlite_copy
from tests.service.serving import serving, wait_until_ready

LATER = NOON + minutes(3)


def app_over(database: Database | None, knowledge: Path, index: Path) -> FastAPI:
    """The routes of alerts and nothing else, wired as the service wires them."""
    answering = Answering(ServiceSettings(knowledge=knowledge, index=index), 1)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        async with answering.running():
            yield

    app = DescribedApp(title="Alerts", version="1", lifespan=lifespan)
    app.add_middleware(RequestLog)
    app.state.answering, app.state.database = answering, database
    app.state.clock = lambda: LATER
    app.state.open_lines = OpenLines(
        {name: OpenLine(line, "unused") for name, line in LINES.items()}
    )
    app.include_router(alerts_router)
    app.include_router(around)
    add_handlers(app)
    add_alert_handlers(app)
    return app


@pytest.fixture(scope="module")
def store(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """One database for the whole module: what the routes call is tested on both kinds."""
    with sqlite_copy(sqlite_template, tmp_path_factory.mktemp("alerts")) as database:
        yield database


@pytest.fixture(autouse=True)
def _emptied(store: Database) -> None:
    with store.writing() as session:
        for table in (Delivery, Escalation, Thread):
            session.execute(delete(table))


@pytest.fixture(scope="module")
def url(store: Database, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with serving(app_over(store, SMALL, tmp_path_factory.mktemp("index") / "index.npz")) as url:
        wait_until_ready(url)
        yield url


@pytest.fixture(scope="module")
def keys(store: Database) -> dict[str, str]:
    """Tokens: of all houses, of another house, of another scope."""
    wanted: tuple[tuple[str, Scope, list[str]], ...] = (
        ("desk", Scope.ALERTS, []),
        ("hut", Scope.ALERTS, ["pine-hut"]),
        ("stays", Scope.STAYS, []),
    )
    with store.writing() as session:
        return {
            name: new_token(session, name=name, scopes=[scope], houses=houses, now=NOON)[1]
            for name, scope, houses in wanted
        }


def call(url: str, key: str, method: str, path: str = "", **more: Any) -> httpx.Response:
    headers = {"Authorization": f"Bearer {key}"}
    return httpx.request(method, f"{url}/v1/alerts{path}", headers=headers, timeout=30, **more)


def stage(store: Database, **more: Any) -> int:
    with store.writing() as session:
        thread = add_thread(session, sender=more.pop("sender", ADA))
        return add_alert(session, thread, **more).id


def test_an_alert_from_open_to_closed(store: Database, url: str, keys: dict[str, str]) -> None:
    """Listed, taken, taken by nobody else, answered once, closed; each step with its time."""
    key, alert = keys["desk"], stage(store, kind="request", level="soon")

    (listed,) = call(url, key, "GET").json()["alerts"]
    taken = call(url, key, "POST", f"/{alert}/take").json()
    again = call(url, key, "POST", f"/{alert}/take").json()
    words = {"text": "Gladly, until noon."}
    answers = [call(url, key, "POST", f"/{alert}/answer", json=words).json() for _ in range(2)]
    closed = call(url, key, "POST", f"/{alert}/close").json()

    assert (listed["id"], listed["state"], listed["taken_by"]) == (alert, "open", None)
    assert (taken["done"], taken["yours"], taken["alert"]["taken_by"]) == (True, True, "desk")
    assert (again["done"], again["yours"]) == (False, True)
    assert answers[0] == answers[1]
    assert answers[0]["house"] == "ferry-lodge"
    assert closed["state"] == "closed"
    assert closed["taken_at"] == closed["closed_at"] == "2026-06-12T12:03:00Z"
    assert [d.text for d in deliveries(store)] == [
        "The host has your message and is looking after it.",
        words["text"],
    ]
    assert call(url, key, "GET").json() == {"alerts": [], "more": False}
    (done,) = call(url, key, "GET", params={"state": "closed"}).json()["alerts"]
    assert done["id"] == alert


def test_the_list_is_by_urgency_and_in_pages(
    store: Database, url: str, keys: dict[str, str]
) -> None:
    """The most urgent first, then the oldest."""
    with store.writing() as session:
        ids = [
            add_alert(session, level=level, created_at=NOON + minutes(n)).id
            for n, level in enumerate(("soon", "urgent", "emergency", "urgent"))
        ]

    pages = [
        call(url, keys["desk"], "GET", params={"limit": 3, "skip": skip}).json() for skip in (0, 3)
    ]

    listed = [alert["id"] for page in pages for alert in page["alerts"]]
    assert listed == [ids[2], ids[1], ids[3], ids[0]]
    assert [page["more"] for page in pages] == [True, False]


def test_alerts_of_other_houses_are_not_there(
    store: Database, url: str, keys: dict[str, str]
) -> None:
    """A token of one house sees, takes, answers and closes nothing of another, or of none."""
    lodge, none = stage(store), stage(store, sender="+442079460029", house=None)
    key = keys["hut"]

    assert call(url, key, "GET").json()["alerts"] == []
    assert call(url, key, "GET", params={"house": "ferry-lodge"}).json()["alerts"] == []
    for alert in (lodge, none):
        for path, body in (("take", None), ("answer", {"text": "Hello"}), ("close", None)):
            response = call(url, key, "POST", f"/{alert}/{path}", json=body)
            assert (response.status_code, response.json()["type"]) == (
                404,
                "/problems#unknown-alert",
            )
    with store.reading() as session:
        assert {session.get_one(Escalation, alert).state for alert in (lodge, none)} == {"open"}


def test_it_takes_a_token_with_the_scope(store: Database, url: str, keys: dict[str, str]) -> None:
    """Without a token, and with one for stays, nothing is done."""
    alert = stage(store)

    assert httpx.post(f"{url}/v1/alerts/{alert}/take").status_code == 401
    assert call(url, keys["stays"], "POST", f"/{alert}/take").status_code == 403
    assert call(url, keys["stays"], "GET").status_code == 403


@pytest.mark.parametrize(
    ("alert", "said"),
    [
        ({"state": "closed"}, "is closed: write to the guest in the thread"),
        ({"sender": "withheld"}, "the guest hides their number"),
    ],
)
def test_what_cannot_be_answered(
    store: Database, url: str, keys: dict[str, str], alert: dict[str, Any], said: str
) -> None:
    """The problem says which of the reasons it is."""
    response = call(
        url, keys["desk"], "POST", f"/{stage(store, **alert)}/answer", json={"text": "Coming."}
    )

    assert response.status_code == 409
    assert response.json()["type"] == "/problems#alert-over"
    assert said in response.json()["detail"]


@pytest.mark.parametrize(
    "body", [{}, {"text": ""}, {"text": " \n"}, {"text": "a\x00b"}, {"text": "x" * 1601}]
)
def test_words_that_are_no_answer(
    store: Database, url: str, keys: dict[str, str], body: dict[str, str]
) -> None:
    """Nothing is sent for them, and the alert stays open."""
    alert = stage(store)

    assert call(url, keys["desk"], "POST", f"/{alert}/answer", json=body).status_code == 422
    assert deliveries(store) == []


described = schemathesis.openapi.from_dict(
    app_over(None, SMALL, Path("nowhere")).openapi(),
    config=schemathesis.Config.from_dict(
        {"checks": {"negative_data_rejection": {"expected-statuses": [401, 404, 405, 422]}}}
    ),
)


@described.include(path_regex="^/v1/alerts").parametrize()
@settings(max_examples=60, suppress_health_check=list(HealthCheck))
def test_any_request_is_answered_as_described(
    case: schemathesis.Case[Any], url: str, keys: dict[str, str]
) -> None:
    """No request brings an error of the server, an undescribed status, or another shape."""
    checks = [
        not_a_server_error,
        status_code_conformance,
        content_type_conformance,
        response_schema_conformance,
        negative_data_rejection,
    ]
    headers = {"Authorization": f"Bearer {keys['desk']}"}
    case.call_and_validate(base_url=url, headers=headers, checks=checks)

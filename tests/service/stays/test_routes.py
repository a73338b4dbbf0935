"""`/v1/stays` over HTTP: as described, with a token's rights, on a service over one small house."""

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

from service.access.tokens import Scope, new_token
from service.answering import Answering
from service.api import around
from service.database import Database
from service.description import DescribedApp
from service.problem_details import add_handlers
from service.request_log import RequestLog
from service.settings import ServiceSettings
from service.stays.routes import add_stay_handlers, stays_router
from tests.house import SMALL
from tests.service.databases import sqlite_copy
from tests.service.serving import serving, wait_until_ready
from tests.service.stays.conftest import utc

NOW = utc(2026, 7, 2, 12)
STAY = {
    "house": "ferry-lodge",
    "arrival": "2026-07-01",
    "departure": "2026-07-04",
    "guests": ["Ada Winter"],
    "phones": ["020 7946 0018"],
    "door_code": "5512-of-ada",
    "reference": "K9",
}


def app_over(database: Database | None, knowledge: Path, index: Path) -> FastAPI:
    """The routes of stays and nothing else, wired as the service wires them."""
    answering = Answering(ServiceSettings(knowledge=knowledge, index=index), 1)

    @asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        async with answering.running():
            yield

    app = DescribedApp(title="Stays", version="1", lifespan=lifespan)
    app.add_middleware(RequestLog)
    app.state.answering, app.state.database = answering, database
    app.state.stay_rules, app.state.clock = {}, lambda: NOW
    app.include_router(stays_router)
    app.include_router(around)
    add_handlers(app)
    add_stay_handlers(app)
    return app


@pytest.fixture(scope="module")
def store(sqlite_template: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """One database for the whole module: the routes add nothing to what both kinds are tested for
    in test_stays.py."""
    with sqlite_copy(sqlite_template, tmp_path_factory.mktemp("stays")) as database:
        yield database


@pytest.fixture(scope="module")
def url(store: Database, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with serving(app_over(store, SMALL, tmp_path_factory.mktemp("index") / "index.npz")) as url:
        wait_until_ready(url)
        yield url


def token(store: Database, name: str, *houses: str, scope: Scope = Scope.STAYS) -> str:
    with store.writing() as session:
        _, key = new_token(session, name=name, scopes=[scope], houses=list(houses), now=NOW)
    return key


@pytest.fixture(scope="module")
def key(store: Database) -> str:
    return token(store, "stays")


@pytest.fixture(scope="module")
def api(url: str, key: str) -> Iterator[httpx.Client]:
    headers = {"Authorization": f"Bearer {key}"}
    with httpx.Client(base_url=url, headers=headers, timeout=30) as client:
        yield client


def test_a_stay_from_adding_to_cancelling(api: httpx.Client) -> None:
    """
    Added twice it is one; changed, listed and cancelled, its door code never comes out.
    """
    first, again = (api.post("/v1/stays", json=STAY) for _ in range(2))
    stay = first.json()

    assert (first.status_code, again.json()) == (201, stay)
    assert stay["phones"] == ["+442079460018"]
    assert (stay["has_door_code"], stay["feed"]) == (True, None)
    assert (stay["release_start"], stay["release_end"]) == (
        "2026-07-01T07:00:00Z",
        "2026-07-04T09:00:00Z",
    )

    path = f"/v1/stays/{stay['id']}"
    change = {"arrival": "2026-07-01", "departure": "2026-07-05"}
    kept = api.put(path, json=change).json()
    assert (kept["departure"], kept["has_door_code"], kept["phones"]) == ("2026-07-05", True, [])
    assert not api.put(path, json=change | {"door_code": None}).json()["has_door_code"]

    listed = api.get("/v1/stays", params={"when": "present"}).json()
    assert [s["id"] for s in listed["stays"]] == [stay["id"]]
    cancelled = api.post(f"{path}/cancel")
    assert cancelled.json()["cancelled_at"] == "2026-07-02T12:00:00Z"
    assert api.get("/v1/stays").json() == {"stays": [], "more": False}
    assert len(api.get("/v1/stays", params={"cancelled": True}).json()["stays"]) == 1
    for response in (first, again, cancelled):
        assert "5512-of-ada" not in response.text


def test_pages(api: httpx.Client) -> None:
    """
    A long list comes in pages by arrival, and says whether there is more.
    """
    for month in (9, 10, 11):
        days = {"arrival": f"2026-{month:02}-01", "departure": f"2026-{month:02}-04"}
        api.post("/v1/stays", json={"house": "ferry-lodge"} | days)

    pages = [
        api.get("/v1/stays", params={"limit": 2, "skip": skip, "when": "coming"}).json()
        for skip in (0, 2)
    ]
    assert [(len(page["stays"]), page["more"]) for page in pages] == [(2, True), (1, False)]
    assert pages[1]["stays"][0]["arrival"] == "2026-11-01"


def test_importing(api: httpx.Client) -> None:
    """
    A CSV body is imported whole, or its problems are told by line.
    """
    head = "house,arrival,departure,guests\n"
    good = head + "ferry-lodge,2026-12-01,2026-12-04,Ada Winter\n"
    headers = {"Content-Type": "text/csv"}

    done = api.post("/v1/stays/import", content=good, headers=headers)
    bad = api.post(
        "/v1/stays/import", content=head + "ferry-lodge,1 Dec,2026-12-04,Ada\n", headers=headers
    )

    assert done.json() == {"added": 1, "changed": 0, "same": 0}
    assert bad.status_code == 422
    assert bad.json()["errors"] == [
        {"detail": "line 2: arrival is no date. Write it as 2026-11-25."}
    ]


@pytest.mark.parametrize(
    ("more", "status", "said"),
    [
        ({"phones": ["123"]}, 422, "#/phones/0"),
        ({"departure": "2026-07-01"}, 422, "#/departure"),
        ({"arrival": 20_000}, 422, "#/arrival"),
        ({"release_from": "2026-07-01T08:00:00"}, 422, "#/release_from"),
        ({"gests": []}, 422, "#/gests"),
        ({"house": "nowhere"}, 404, "/problems#unknown-house"),
    ],
)
def test_mistakes(api: httpx.Client, more: dict[str, Any], status: int, said: str) -> None:
    """
    A mistake is problem details that point at it and repeat nothing of the guest.
    """
    response = api.post("/v1/stays", json=STAY | {"reference": "mistake"} | more)

    assert (response.status_code, said in response.text) == (status, True)
    assert response.headers["content-type"] == "application/problem+json"
    assert "Winter" not in response.text


def test_rights(url: str, api: httpx.Client, store: Database) -> None:
    """
    Without a token 401, with another scope 403; a token for another house sees neither the house
    nor its stays, as if they were not there.
    """
    stay_id = api.post("/v1/stays", json=STAY | {"reference": "rights"}).json()["id"]
    wrong = token(store, "asks", scope=Scope.ASK)
    elsewhere = {"Authorization": f"Bearer {token(store, 'elsewhere', 'quay-flat')}"}

    assert httpx.get(f"{url}/v1/stays").status_code == 401
    asking = {"Authorization": f"Bearer {wrong}"}
    assert httpx.get(f"{url}/v1/stays", headers=asking).status_code == 403
    assert httpx.get(f"{url}/v1/stays", headers=elsewhere).json()["stays"] == []
    assert httpx.post(f"{url}/v1/stays", headers=elsewhere, json=STAY).status_code == 404
    path = f"{url}/v1/stays/{stay_id}"
    change = {"arrival": "2026-07-01", "departure": "2026-07-05"}
    for refused in (
        httpx.put(path, headers=elsewhere, json=change),
        httpx.post(f"{path}/cancel", headers=elsewhere),
        httpx.post(f"{url}/v1/stays/4711/cancel", headers=elsewhere),
    ):
        assert (refused.status_code, refused.json()["type"]) == (404, "/problems#unknown-stay")
    assert api.get("/v1/stays", params={"when": "present"}).json()["stays"][0]["id"] == stay_id


described = schemathesis.openapi.from_dict(
    app_over(None, SMALL, Path("nowhere")).openapi(),
    config=schemathesis.Config.from_dict(
        {"checks": {"negative_data_rejection": {"expected-statuses": [401, 404, 405, 422]}}}
    ),
)


@described.include(path_regex="^/v1/stays").parametrize()
@settings(max_examples=60, suppress_health_check=list(HealthCheck))
def test_any_request_is_answered_as_described(
    case: schemathesis.Case[Any], url: str, key: str
) -> None:
    """
    No request brings an error of the server, an undescribed status, or another shape.
    """
    checks = [
        not_a_server_error,
        status_code_conformance,
        content_type_conformance,
        response_schema_conformance,
        negative_data_rejection,
    ]
    case.call_and_validate(base_url=url, headers={"Authorization": f"Bearer {key}"}, checks=checks)

"""Tokens of programs: who gets in, for what, and how a refusal reads."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import pytest
from fastapi import Depends, FastAPI
from sqlalchemy import select
from starlette.responses import JSONResponse

from service.access.roles import Caller, may_see
from service.access.tokens import Scope, new_token, require, revoke
from service.database import Database, open_engine
from service.problem_details import add_handlers
from service.tables import ApiToken, Table
from tests.service.serving import send

NOW = dt.datetime(2026, 11, 25, 12, tzinfo=dt.UTC)


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    database = Database(open_engine(f"sqlite:///{tmp_path / 'tokens.db'}"))
    Table.metadata.create_all(database.engine)
    yield database
    database.close()


@pytest.fixture
def app(database: Database) -> FastAPI:
    """An application with one route, for programs that may read stays."""
    app = FastAPI()
    app.state.database = database
    add_handlers(app)

    @app.get("/stays")
    def stays(caller: Annotated[Caller, Depends(require(Scope.STAYS))]) -> JSONResponse:
        return JSONResponse({"who": caller.who, "barn": may_see(caller, "barn")})

    return app


def made(database: Database, *scopes: Scope, houses: tuple[str, ...] = ()) -> str:
    with database.writing() as session:
        _, token = new_token(
            session, name="calendar", scopes=list(scopes), houses=list(houses), now=NOW
        )
    return token


def ask(app: FastAPI, token: str | None, scheme: str = "Bearer"):  # type: ignore[no-untyped-def]
    headers = {"Authorization": f"{scheme} {token}"} if token is not None else {}
    return send(app, "GET", "/stays", headers=headers)


def test_a_token_with_the_scope(app: FastAPI, database: Database) -> None:
    """
    A token with the scope gets in, by its name in the trail; one for a house sees that house.
    """
    answer = ask(app, made(database, Scope.STAYS, houses=("barn",)))

    assert answer.json() == {"who": "token:1", "barn": True}


def test_a_token_of_another_house(app: FastAPI, database: Database) -> None:
    """
    A token for one house does not see another.
    """
    assert ask(app, made(database, Scope.STAYS, houses=("loft",))).json()["barn"] is False


@pytest.mark.parametrize("token", [None, "", "x", "askhouse_" + "x" * 43])
def test_without_a_token(app: FastAPI, database: Database, token: str | None) -> None:
    """
    Without a token, or with one that opens nothing: 401 as a problem, with WWW-Authenticate
    (RFC 9110, 11.6.1).
    """
    made(database, Scope.STAYS)
    answer = ask(app, token)

    assert answer.status_code == 401
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["type"] == "/problems#token-needed"
    assert answer.headers["www-authenticate"].startswith("Bearer ")


def test_without_the_scope(app: FastAPI, database: Database) -> None:
    """
    A token without the scope: 403, which names the scope (RFC 6750, 3.1).
    """
    answer = ask(app, made(database, Scope.ASK, Scope.METRICS))

    assert answer.status_code == 403
    assert answer.json()["type"] == "/problems#not-allowed"
    assert 'error="insufficient_scope", scope="stays"' in answer.headers["www-authenticate"]


def test_a_revoked_token(app: FastAPI, database: Database) -> None:
    """
    A revoked token opens nothing from the next request on.
    """
    token = made(database, Scope.STAYS)
    assert ask(app, token).status_code == 200
    with database.writing() as session:
        revoke(session, 1, NOW)

    assert ask(app, token).status_code == 401


def test_the_token_is_not_kept(database: Database) -> None:
    """
    Neither the token nor a part of it stands in the database.
    """
    token = made(database, Scope.STAYS)
    with database.reading() as session:
        row = session.scalars(select(ApiToken)).one()
        assert token.removeprefix("askhouse_")[:10] not in repr(vars(row))


def test_another_scheme(app: FastAPI, database: Database) -> None:
    """
    Only Bearer is taken; its name may be written in any case (RFC 9110, 11.1).
    """
    token = made(database, Scope.STAYS)

    assert ask(app, token, "Basic").status_code == 401
    assert ask(app, token, "bearer").status_code == 200

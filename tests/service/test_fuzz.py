"""Whatever is sent to whichever route, the service answers as its description says."""

from __future__ import annotations

import datetime as dt
import os
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, settings
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)

from service.access.tokens import Scope, new_token
from service.app import create_app
from service.database import Database, open_engine
from service.settings import ServiceSettings

# Left out is `positive_data_acceptance`: a text of blanks or a house that is not there has
# the described shape, and is refused all the same.
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    negative_data_rejection,
    unsupported_method,
]

CONFIG = schemathesis.Config.from_dict(
    # An invalid body may also be refused because it is too long.
    {"checks": {"negative_data_rejection": {"expected-statuses": [404, 405, 413, 422]}}}
)

# An application that is not open has the same description as the one that is asked.
described = schemathesis.openapi.from_dict(create_app(ServiceSettings()).openapi(), config=CONFIG)


# Eighteen operations: with 300 each, 5,400 requests.
EXAMPLES = int(os.environ.get("ASKHOUSE_TEST_FUZZ", "40"))


@pytest.fixture(scope="module")
def token(url: str, request: pytest.FixtureRequest) -> str:
    """One that may do everything, so that requests get further than the door."""
    database = Database(open_engine(request.getfixturevalue("settings").database_url))
    with database.writing() as session:
        _, made = new_token(
            session, name="fuzzing", scopes=list(Scope), houses=[], now=dt.datetime.now(dt.UTC)
        )
    database.close()
    return made


@described.parametrize()
@settings(max_examples=EXAMPLES, suppress_health_check=list(HealthCheck))
def test_any_request_is_answered_as_described(
    case: schemathesis.Case[Any], url: str, token: str
) -> None:
    """
    No request brings an error of the server, an undescribed status, or another shape.
    """
    case.call_and_validate(
        base_url=url, checks=CHECKS, headers={"Authorization": f"Bearer {token}"}
    )

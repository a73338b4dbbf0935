"""The description of the interface: everything has a title and help, and it says what is true."""

from __future__ import annotations

from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from service.schema import ASKED, ReplyRequest


@pytest.fixture
def description(shut_app: FastAPI) -> dict[str, Any]:
    """The OpenAPI description."""
    return shut_app.openapi()


def test_every_route_has_help(description: dict[str, Any]) -> None:
    """
    Each route has a name, a summary, and what to expect of it.
    """
    routes = {
        f"{method} {path}": operation
        for path, operations in description["paths"].items()
        for method, operation in operations.items()
    }

    assert set(routes) == {
        "post /v1/replies",
        "get /v1/houses",
        "get /health/live",
        "get /health/ready",
        "get /problems",
        *(
            f"{method} /lines/{{line}}{more}"
            for method in ("get", "post")
            for more in ("", "/{secret}")
        ),
        "get /v1/stays",
        "post /v1/stays",
        "put /v1/stays/{stay_id}",
        "post /v1/stays/{stay_id}/cancel",
        "post /v1/stays/import",
        "get /v1/alerts",
        "post /v1/alerts/{alert_id}/take",
        "post /v1/alerts/{alert_id}/answer",
        "post /v1/alerts/{alert_id}/close",
    }
    for name, operation in routes.items():
        assert operation["operationId"], name
        assert operation["summary"], name
        assert operation["description"], name


def test_every_field_has_title_and_help(description: dict[str, Any]) -> None:
    """
    Each field of each shape has a sentence of help and a title, its own or that of its shape.
    """
    unexplained = [
        f"{shape}.{field}"
        for shape, content in description["components"]["schemas"].items()
        for field, described in content.get("properties", {}).items()
        if not (described.get("description") and ("title" in described or "$ref" in described))
    ]

    assert not unexplained


def test_every_error_is_described_as_problem_details(description: dict[str, Any]) -> None:
    """
    No route describes an error in another shape, and the shape is there.
    """
    for path, operations in description["paths"].items():
        for operation in operations.values():
            for status, response in operation["responses"].items():
                good = {"text/plain"} if path.startswith("/lines/") else {"application/json"}
                kinds = good if status.startswith("2") else {"application/problem+json"}
                assert set(response["content"]) == kinds
    assert "ProblemDetails" in description["components"]["schemas"]
    assert "HTTPValidationError" not in description["components"]["schemas"]


def test_ranges_are_told(description: dict[str, Any]) -> None:
    """
    Ranges that a caller must know, or can count on, stand in the description.
    """
    shapes = description["components"]["schemas"]
    text = shapes["ReplyRequest"]["properties"]["text"]
    confidence = shapes["DraftPart"]["properties"]["confidence"]

    assert (text["minLength"], text["maxLength"]) == (1, 10_000)
    assert (confidence["minimum"], confidence["maximum"]) == (0, 1)
    assert "your word" in shapes["ReplyRequest"]["properties"]["verified"]["description"].lower()


@pytest.mark.parametrize("name", ASKED)
def test_examples_have_the_shape_they_are_examples_of(name: str) -> None:
    """
    Each example of a request is one.
    """
    ReplyRequest.model_validate(ASKED[name]["value"])


def test_description_is_served(client: httpx.Client, description: dict[str, Any]) -> None:
    """
    The description is at /openapi.json; no page with scripts from elsewhere shows it.
    """
    assert client.get("/openapi.json").json() == description
    assert client.get("/docs").status_code == 404

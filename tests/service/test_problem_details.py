"""Every error is problem details, and none gives away more than the caller may know.

The shape is held against RFC 9457: section 3 (media type, and the example whose
`errors` have `detail` and `pointer`), 3.1 (members), 4.2.1 (about:blank).
"""

from __future__ import annotations

import importlib
import json
import pkgutil
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

import askhouse
from askhouse.errors import AskhouseError, ModelError
from service.problem_types import ERROR_TYPES, PROBLEM_TYPES
from tests.service.serving import send

REPLIES = "/v1/replies"
QUESTION = {"house": "orchard-barn", "text": "Where is the oven?"}


def assert_is_problem(response: httpx.Response, status: int, kind: str) -> dict[str, Any]:
    """The members that RFC 9457, 3.1, names, each of its type, and consistent with the response."""
    assert response.status_code == status
    assert response.headers["Content-Type"] == "application/problem+json"
    content: dict[str, Any] = response.json()
    assert content["type"] == kind
    assert content["status"] == status
    assert isinstance(content["title"], str)
    assert isinstance(content["detail"], str)
    assert content["instance"] == f"urn:uuid:{response.headers['X-Request-ID']}"
    return content


def _post(client: httpx.Client, content: str | bytes) -> httpx.Response:
    """Sends bytes that the client's own JSON would not write."""
    return client.post(REPLIES, content=content, headers={"Content-Type": "application/json"})


def test_every_error_of_askhouse_has_its_problem() -> None:
    """
    The table names exactly the errors that exist, so that a new one cannot be forgotten.
    """
    for module in pkgutil.walk_packages(askhouse.__path__, "askhouse."):
        if not module.name.startswith(("askhouse.training", "askhouse.__main__")):
            importlib.import_module(module.name)

    assert set(ERROR_TYPES) == {AskhouseError, *_subclasses(AskhouseError)}


def _subclasses(kind: type[AskhouseError]) -> set[type[AskhouseError]]:
    direct = set(kind.__subclasses__())
    return direct.union(*(_subclasses(below) for below in direct))


def test_every_type_is_explained(client: httpx.Client) -> None:
    """
    What a problem's type leads to explains each type once, under its reference.
    """
    explained = {entry["type"]: entry for entry in client.get("/problems").json()["problems"]}

    assert set(explained) == {f"/problems#{name}" for name in PROBLEM_TYPES}
    assert all(entry["title"] and entry["mend"] for entry in explained.values())


# Each row: what is wrong with the request, and the fault told of it. The pointers are
# JSON Pointers as URI fragments, as in the example of RFC 9457, section 3.
@pytest.mark.parametrize(
    ("body", "pointer", "detail"),
    [
        ({"text": "hi"}, "#/house", "Field required"),
        ({**QUESTION, "verified": "yes"}, "#/verified", "boolean"),
        ({**QUESTION, "verifed": True}, "#/verifed", "not permitted"),
        ({**QUESTION, "text": 7}, "#/text", "string"),
        ({**QUESTION, "thread": [{"text": "a"}, {}]}, "#/thread/1/text", "Field required"),
        ({**QUESTION, "thread": [{"text": "a"}] * 51}, "#/thread", "at most 50"),
        ({**QUESTION, "day": 0}, "#/day", "2026-11-25"),
        ({**QUESTION, "day": "2026-02-30"}, "#/day", "day"),
        ({**QUESTION, "day": "2026-11-25T10:00:00"}, "#/day", "2026-11-25"),
        # RFC 6901, 3: "/" is written ~1, and "~" is written ~0.
        ({**QUESTION, "a/b~c": 1}, "#/a~1b~0c", "not permitted"),
        # Half a character, which JSON can write and UTF-8 cannot.
        ({**QUESTION, "house": "\ud800"}, "#/house", "unicode"),
        ({**QUESTION, "thread": [{"text": "\ud800"}]}, "#/thread/0/text", "unicode"),
        ({**QUESTION, "\ud800": 1}, "#", "unicode"),
        ([], "#", "object"),
    ],
)
def test_invalid_request_names_each_fault(
    client: httpx.Client, body: object, pointer: str, detail: str
) -> None:
    """
    A request that is not as described is told what is wrong, and where.
    """
    response = _post(client, json.dumps(body))
    content = assert_is_problem(response, 422, "/problems#invalid-request")

    (fault,) = content["errors"]
    assert fault["pointer"] == pointer
    assert detail in fault["detail"]


@pytest.mark.parametrize(
    ("content", "detail"),
    [
        (b"{not json", "not JSON from character 1 on"),
        (b'{"text": "\xff"}', "cannot be read as JSON"),
        (b"[" * 50_000, "cannot be read as JSON"),
    ],
)
def test_body_that_is_no_json(client: httpx.Client, content: bytes, detail: str) -> None:
    """
    Bytes that cannot be read are an invalid request, however they are broken.
    """
    told = assert_is_problem(_post(client, content), 422, "/problems#invalid-request")

    assert told["errors"] == [{"detail": detail, "pointer": "#"}]


def test_invalid_request_does_not_repeat_the_guest(client: httpx.Client) -> None:
    """
    The faults say what is wrong with a message, never what stood in it.
    """
    body = {**QUESTION, "text": {"guest": "our little secret"}, "day": "our little secret"}

    assert "little secret" not in client.post(REPLIES, json=body).text


def test_unknown_house(client: httpx.Client) -> None:
    """
    The caller is told which house is not known, and which are.
    """
    response = client.post(REPLIES, json={**QUESTION, "house": "mill-loft"})

    content = assert_is_problem(response, 404, "/problems#unknown-house")
    assert content["title"] == "No such house"
    assert "mill-loft" in content["detail"]
    assert "harbour-flat, orchard-barn" in content["detail"]


@pytest.mark.parametrize(
    ("text", "detail"),
    [
        ("", "empty"),
        (" \n\u200b\x07\ud800 ", "empty"),
        ("a" * 10_001, "10001 characters, at most 10000"),
    ],
)
def test_message_that_cannot_be_worked_on(client: httpx.Client, text: str, detail: str) -> None:
    """
    A message that is empty or too long is told so in the engine's words.
    """
    response = _post(client, json.dumps({**QUESTION, "text": text}))

    assert detail in assert_is_problem(response, 422, "/problems#message")["detail"]


def test_longest_message_is_answered(client: httpx.Client) -> None:
    """
    A message as long as the engine takes fits into the body, also with every character escaped.
    """
    text = "Where is the oven? " + "\N{HOUSE BUILDING}" * 9_981

    response = _post(client, json.dumps({**QUESTION, "text": text}))

    assert response.status_code == 200


def test_plain_http_errors_are_about_blank(client: httpx.Client) -> None:
    """
    Where the status says all, the type is about:blank and the title its phrase (RFC 9457, 4.2.1).
    """
    missing = assert_is_problem(client.get("/v1/nothing"), 404, "about:blank")
    slash = assert_is_problem(client.get("/v1/houses/"), 404, "about:blank")
    response = client.delete(REPLIES)
    method = assert_is_problem(response, 405, "about:blank")

    assert missing["title"] == slash["title"] == "Not Found"
    assert method["title"] == "Method Not Allowed"
    # RFC 9110, 15.5.6: the response must name the methods that are allowed.
    assert response.headers["Allow"] == "POST"


@pytest.mark.parametrize(
    ("error", "status", "kind"),
    [
        (ValueError("the guest wrote: our little secret"), 500, "/problems#internal"),
        (AskhouseError("our little secret"), 500, "/problems#internal"),
        (ModelError("our little secret in /srv/models"), 503, "/problems#not-set-up"),
    ],
)
def test_what_the_caller_cannot_mend_is_not_told(
    shut_app: FastAPI, error: Exception, status: int, kind: str
) -> None:
    """
    A fault of ours or of the operator has an id to find it by, and neither words nor a trace.
    """

    def broken() -> None:
        raise error

    shut_app.add_api_route("/broken", broken)
    response = send(shut_app, "GET", "/broken")

    assert_is_problem(response, status, kind)
    assert "little secret" not in response.text
    assert "Traceback" not in response.text

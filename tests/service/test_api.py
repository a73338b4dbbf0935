"""The JSON routes say what the engine says, and nothing of their own."""

from __future__ import annotations

import datetime as dt

import httpx
import pytest

from askhouse.assistant import Assistant
from askhouse.commands.ask import as_json
from askhouse.values import Message, Turn
from service.schema import ASKED

TWO_QUESTIONS = "How do I turn on the oven, and when do we have to leave?"


@pytest.mark.parametrize(
    ("request_body", "message"),
    [
        ({"text": TWO_QUESTIONS}, Message(text=TWO_QUESTIONS)),
        # The caller's word about the sender reaches the engine.
        (
            {"text": "What is the wifi password?", "verified": True},
            Message(text="What is the wifi password?", verified=True),
        ),
        # So do the thread and the day.
        (
            {"text": "and the password?", "verified": True, "thread": [{"text": "Is there wifi?"}]},
            Message(text="and the password?", verified=True, thread=(Turn("Is there wifi?"),)),
        ),
        (
            {"text": "When is the pool open?", "day": "2026-07-01"},
            Message(text="When is the pool open?", day=dt.date(2026, 7, 1)),
        ),
    ],
)
def test_reply_over_http_is_the_engines(
    client: httpx.Client,
    demo_assistant: Assistant,
    request_body: dict[str, object],
    message: Message,
) -> None:
    """
    A reply over HTTP is, member for member, what `askhouse ask --json` prints for the message.
    """
    response = client.post("/v1/replies", json={"house": "orchard-barn", **request_body})

    assert response.status_code == 200
    assert response.json() == as_json(demo_assistant.reply(message, "orchard-barn"))


def test_parts_cite_the_facts_they_rest_on(client: httpx.Client) -> None:
    """
    Two questions are two parts in the guest's order, each with its fact, file and line.
    """
    body = {"house": "orchard-barn", "text": TWO_QUESTIONS}
    reply = client.post("/v1/replies", json=body).json()

    assert [part["outcome"] for part in reply["parts"]] == ["answer", "answer"]
    assert [part["facts"][0]["id"] for part in reply["parts"]] == ["oven", "check-out-time"]
    assert reply["parts"][0]["facts"][0]["written"].startswith("orchard-barn/facts/kitchen.yaml:")
    assert all(part["reply"] in reply["full"] for part in reply["parts"])
    assert len(reply["short"]) < len(reply["full"])


def test_reply_is_not_to_be_kept_by_a_cache(client: httpx.Client) -> None:
    """
    A verified guest's reply may hold a code, so that no cache may keep it (RFC 9111, 5.2.2.5).
    """
    body = {"house": "orchard-barn", "text": "What is the wifi password?", "verified": True}

    assert client.post("/v1/replies", json=body).headers["Cache-Control"] == "no-store"


def test_houses_are_listed(client: httpx.Client, demo_assistant: Assistant) -> None:
    """
    The list names every open house in the order of the slugs, and nothing a guest may not know.
    """
    assert client.get("/v1/houses").json() == {
        "houses": [
            {
                "slug": slug,
                "name": name,
                "country": country,
                "timezone": timezone,
                "facts": len(demo_assistant.houses[slug].facts),
            }
            for slug, name, country, timezone in [
                ("forest-cabin", "Tamarack Cabin", "US", "America/Denver"),
                ("harbour-flat", "Harbour Flat", "DE", "Europe/Berlin"),
                ("orchard-barn", "Orchard Barn", "GB", "Europe/London"),
            ]
        ]
    }


@pytest.mark.parametrize("name", ASKED)
def test_described_examples_run(client: httpx.Client, name: str) -> None:
    """
    Each example of the description is answered by the demo houses, from a fact.
    """
    reply = client.post("/v1/replies", json=ASKED[name]["value"])

    assert reply.status_code == 200
    assert {part["outcome"] for part in reply.json()["parts"]} == {"answer"}


def test_live_and_ready(client: httpx.Client) -> None:
    """
    An open service says that it lives and is ready.
    """
    assert client.get("/health/live").json() == {"status": "live"}
    assert client.get("/health/ready").json() == {"status": "ready"}

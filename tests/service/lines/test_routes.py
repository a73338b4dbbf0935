"""The way in for gateways, over a real socket: taken, replied to, or refused in one shape."""

from __future__ import annotations

import io
import json
import logging
from dataclasses import replace
from datetime import timedelta
from typing import Any
from xml.etree import ElementTree

import httpx
import pytest

from service.api import v1
from service.description import DescribedApp
from service.lines.gateway_side import call, signed_request
from service.lines.routes import lines
from service.logs import JsonLines
from tests.service.lines.conftest import Served
from tests.service.lines.samples import (
    BY_QUERY,
    FIELDS,
    GUEST,
    NOW,
    PLAIN_SECRET,
    SIGNINGS,
    STANDARD_SECRET,
    MemoryInbox,
    make_line,
    make_message,
    signed_line,
)
from tests.service.test_problem_details import assert_is_problem

REPLY = 'Turn the tap <left> & say "done". 50% – ok'


@pytest.mark.parametrize("signing", SIGNINGS)
def test_signed_message_is_stored_and_acknowledged(served: Served, signing: str) -> None:
    """
    By each way of signing a message arrives once and whole; the acknowledgement is empty.
    """
    line, secret = signed_line(signing)
    inbox = MemoryInbox()
    with served(line, {"SECRET": secret}, inbox, lambda: NOW) as client:
        response = call(client, line, signed_request(line, secret, make_message(), NOW))

    assert (response.status_code, response.content) == (200, b"")
    (arrived,) = inbox.arrived
    assert (arrived.sender, arrived.text) == (GUEST, "Where is the stopcock?")
    assert (arrived.gateway_id, arrived.received_at) == ("msg-1", NOW)


@pytest.mark.parametrize("signing", SIGNINGS)
def test_forged_message_is_refused_and_not_stored(served: Served, signing: str) -> None:
    """
    Another secret, none at all, an unknown line: one refusal, and nothing arrives.
    """
    line, secret = signed_line(signing)
    inbox = MemoryInbox()
    other = "whsec_" + "eHh4" * 10 if signing == "standard" else PLAIN_SECRET[::-1]
    signed = signed_request(line, secret, make_message(), NOW)
    bare = replace(
        signed,
        headers={"content-type": "application/json"},
        query=signed.query.partition("&at=")[0],
        path_secret=None,
    )
    with served(line, {"SECRET": secret}, inbox, lambda: NOW) as client:
        answers = [
            call(client, line, signed_request(line, other, make_message(), NOW)),
            call(client, line, bare),
            call(client, line.model_copy(update={"name": "other"}), signed),
        ]

    for answer in answers:
        assert_is_problem(answer, 401, "/problems#not-signed")
    assert len({answer.json()["detail"] for answer in answers}) == 1
    assert ("www-authenticate" in answers[0].headers) == (signing == "basic")
    assert inbox.arrived == []


def test_old_signature_is_refused_and_a_replay_is_one_message(served: Served) -> None:
    """
    A recorded request is refused after five minutes; before, it has the id that it had.
    """
    line, secret = signed_line("standard")
    inbox = MemoryInbox()
    request = signed_request(line, secret, make_message(), NOW)
    times = iter([NOW, NOW + timedelta(minutes=4), NOW + timedelta(minutes=6)])
    with served(line, {"SECRET": secret}, inbox, lambda: next(times)) as client:
        statuses = [call(client, line, request).status_code for _ in range(3)]

    assert statuses == [200, 200, 401]
    assert {arrived.gateway_id for arrived in inbox.arrived} == {"msg-1"}


def replied(served: Served, inbox: MemoryInbox, **changes: Any) -> httpx.Response:
    line, secret = signed_line("parameter", **changes)
    with served(line, {"SECRET": secret}, inbox, lambda: NOW) as client:
        return call(client, line, signed_request(line, secret, make_message(), NOW))


def test_reply_in_the_response_as_plain_text(served: Served) -> None:
    """
    A line that replies in its response gives the text as it is, and lets nobody keep it.
    """
    response = replied(served, MemoryInbox(REPLY), respond={}, send=None)

    assert response.text == REPLY
    assert response.headers["content-type"] == "text/plain; charset=utf-8"
    assert response.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("media", ["application/xml", "application/json"])
def test_reply_in_the_response_by_template(served: Served, media: str) -> None:
    """
    In a template, the text is escaped as its content type needs.
    """
    xml = '<sms to="{{ to }}">{{ text }}</sms>'
    template = xml if media == "application/xml" else '{"to": "{{ to_digits }}", "t": "{{ text }}"}'
    response = replied(
        served, MemoryInbox(REPLY), respond={"content_type": media, "template": template}
    )

    if media == "application/xml":
        root = ElementTree.fromstring(response.text)
        assert (root.attrib["to"], root.text) == (GUEST, REPLY)
    else:
        assert response.json() == {"to": GUEST.removeprefix("+"), "t": REPLY}


def test_nothing_to_say_is_said_as_set(served: Served) -> None:
    """
    Where nothing is to be said, the response is the line's own for that.
    """
    respond = {"content_type": "application/xml", "without_reply": "<none/>", "template": "x"}

    assert replied(served, MemoryInbox(""), respond=respond).text == "<none/>"


def test_late_reply_is_asked_for_again_or_sent(served: Served) -> None:
    """
    A reply that is not there in time: the gateway is told to come again, or, where the line can
    send, gets an empty acknowledgement since the reply will go out by a call.
    """
    respond = {"wait_s": 0.2}
    pending = replied(served, MemoryInbox(None), respond=respond, send=None)

    assert_is_problem(pending, 503, "/problems#reply-pending")
    assert int(pending.headers["Retry-After"]) > 0
    acknowledged = replied(served, MemoryInbox(None), respond=respond)
    assert (acknowledged.status_code, acknowledged.text) == (200, "")


def test_reply_is_waited_for(served: Served) -> None:
    """
    The response comes as soon as the reply is there, without a thread held meanwhile.
    """

    class SlowInbox(MemoryInbox):
        asked = 0

        def reply_text(self, message_id: int, wait_s: float) -> str | None:
            self.asked += 1
            return REPLY if self.asked == 3 else None

    inbox = SlowInbox()

    assert replied(served, inbox, respond={"wait_s": 30}).text == REPLY
    assert inbox.asked == 3


def test_unreadable_message_names_its_fields(served: Served) -> None:
    """
    Each missing field is told by its pointer in JSON, by its name elsewhere.
    """
    line, secret = signed_line("hex")
    fields = {"sender": "data.from", "text": "/data/text", "id": "id"}
    other = make_line(signing=SIGNINGS["hex"][0], inbound={"format": "json", "fields": fields})
    with served(other, {"SECRET": secret}, MemoryInbox(), lambda: NOW) as client:
        answer = call(client, other, signed_request(line, secret, make_message(), NOW))

    assert_is_problem(answer, 422, "/problems#invalid-request")
    assert {(e["pointer"], e["detail"]) for e in answer.json()["errors"]} == {
        ("#/data/from", "is missing"),
        ("#/data/text", "is missing"),
    }


@pytest.mark.parametrize(
    ("method", "media", "content", "status"),
    [
        ("GET", None, b"", 405),
        ("PUT", "application/json", b"{}", 405),
        ("POST", "application/x-www-form-urlencoded", b"a=b", 415),
        ("POST", "multipart/form-data; boundary=x", b"--x--", 415),
        ("POST", "application/json", b" " * 65_537, 413),
        ("POST", "application/json", b" " * 262_145, 413),
    ],
)
def test_what_the_line_does_not_take(
    served: Served, method: str, media: str | None, content: bytes, status: int
) -> None:
    """
    Another method, another type and too large a body are refused, each with its status.
    """
    headers = {"Content-Type": media} if media else {}
    line, secret = signed_line("standard")
    with served(line, {"SECRET": secret}, MemoryInbox()) as client:
        answer = client.request(method, "/lines/quay-line", headers=headers, content=content)

    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert method != "GET" or answer.headers["Allow"] == "POST"


@pytest.mark.parametrize("signing", [*BY_QUERY, "path", "standard"])
def test_log_holds_no_number_no_text_and_no_signature(served: Served, signing: str) -> None:
    """
    The lines' own log tells what happened, with the number masked and nothing of the message.
    """
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonLines())
    logger = logging.getLogger("service.lines")
    logger.addHandler(handler)
    logger.setLevel(logging.INFO)
    line, secret = signed_line(signing)
    try:
        with served(line, {"SECRET": secret}, MemoryInbox(), lambda: NOW) as client:
            request = signed_request(line, secret, make_message(), NOW)
            call(client, line, request)
            call(client, line, replace(request, headers={}, query="from=%2B447700900333"))
            call(client, line, replace(request, body=b"{}", query=request.query + "&x"))
    finally:
        logger.removeHandler(handler)
        logger.setLevel(logging.NOTSET)

    written = stream.getvalue()
    events = [json.loads(one) for one in written.splitlines()]
    assert events[0]["event"] == "a message arrived"
    assert events[0]["sender"] == "+44••••••••33"
    assert events[0]["request_id"]
    for hidden in (GUEST, GUEST[1:], "stopcock", secret, "msg-1"):
        assert hidden not in written


def test_description_tells_every_answer() -> None:
    """
    The interface's description has both methods of both paths, each with its own name.
    """
    app = DescribedApp()
    app.include_router(v1)
    app.include_router(lines)
    paths = app.openapi()["paths"]
    operations = {
        operation["operationId"]: set(operation["responses"])
        for path in ("/lines/{line}", "/lines/{line}/{secret}")
        for operation in paths[path].values()
    }

    assert len(operations) == 4
    assert all(
        {"200", "401", "405", "413", "415", "422", "503"} <= told for told in operations.values()
    )


def test_samples_of_messages_are_what_the_fields_say() -> None:
    """
    The request that these tests make is JSON with the line's own field names.
    """
    request = signed_request(make_line(), STANDARD_SECRET, make_message(), NOW)

    assert set(json.loads(request.body)) == set(FIELDS.values())

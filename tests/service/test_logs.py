"""What is written down of a request: enough to find it, and nothing that a guest wrote."""

from __future__ import annotations

import io
import json
import logging
import subprocess
import sys
import time
from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from service.logs import JsonLines, PlainLines
from tests.service.serving import send


def _lines_of(response: httpx.Response, log_lines: io.StringIO) -> list[dict[str, Any]]:
    """The lines of a request; the last is written just after the response has gone out."""
    for _ in range(100):
        lines = [json.loads(line) for line in log_lines.getvalue().splitlines()]
        own = [e for e in lines if e.get("request_id") == response.headers["X-Request-ID"]]
        if own and own[-1]["event"] == "request":
            return own
        time.sleep(0.01)
    raise AssertionError("no line tells of the request")


def test_request_is_one_line_of_json(client: httpx.Client, log_lines: io.StringIO) -> None:
    """
    The line has id, method, path without its query, status and duration in milliseconds.
    """
    response = client.get("/v1/houses", params={"guest": "what I wrote"})
    (line,) = _lines_of(response, log_lines)

    assert line.pop("time").endswith("+00:00")
    assert 0 < line.pop("duration_ms") < 10_000
    assert line == {
        "level": "info",
        "logger": "service.request_log",
        "event": "request",
        "request_id": response.headers["X-Request-ID"],
        "method": "GET",
        "path": "/v1/houses",
        "status": 200,
    }


def test_guests_words_are_never_logged(client: httpx.Client, log_lines: io.StringIO) -> None:
    """
    Neither a message that is answered nor one that is refused leaves a word in the log.
    """
    bodies: list[dict[str, object]] = [
        {"house": "orchard-barn", "text": "Where is the zanzibar lamp?"},
        {"house": "orchard-barn", "text": "and then?", "thread": [{"text": "the zanzibar lamp"}]},
        {"house": "zanzibar", "text": "Where is the lamp?"},
        {"house": "orchard-barn", "text": {"zanzibar": "lamp"}},
        {"house": "orchard-barn", "text": "zanzibar " * 1_200},
    ]
    statuses = [client.post("/v1/replies", json=body).status_code for body in bodies]
    client.get("/v1/houses", params={"q": "zanzibar"})

    assert statuses == [200, 200, 404, 422, 422]
    assert "zanzibar" not in log_lines.getvalue()


def test_request_id_of_the_caller_is_not_taken_over(client: httpx.Client) -> None:
    """
    Two requests with the same id from outside get two of ours: theirs could say anything.
    """
    sent = {"X-Request-ID": "the guest wrote"}
    ids = {client.get("/health/live", headers=sent).headers["X-Request-ID"] for _ in range(2)}

    assert len(ids) == 2
    assert "the guest wrote" not in ids


def test_fault_is_logged_by_type_and_place(shut_app: FastAPI, log_lines: io.StringIO) -> None:
    """
    A fault of ours can be found in the log, but its words, which may be a guest's, cannot.
    """

    def broken() -> None:
        raise ValueError("the guest wrote: xylophone")

    shut_app.add_api_route("/broken", broken)
    response = send(shut_app, "GET", "/broken")
    told = _lines_of(response, log_lines)

    assert [line["event"] for line in told] == ["a request failed", "request"]
    assert told[0]["fault"]["type"] == "builtins.ValueError"
    assert told[0]["fault"]["raised"][-1].endswith(" broken")
    assert "xylophone" not in log_lines.getvalue()


def test_line_stays_one_line() -> None:
    """
    A line break in what is logged cannot forge a second line.
    """
    record = logging.LogRecord("a", logging.INFO, __file__, 1, "one\n%s", ("two\u2028",), None)

    (line,) = JsonLines().format(record).splitlines()
    assert json.loads(line)["event"] == "one\ntwo\u2028"


def test_fault_outside_a_request_keeps_its_words_too() -> None:
    """
    Records of other libraries that bring an exception are told by type and place alone.
    """
    try:
        raise KeyError("our little secret")
    except KeyError:
        record = logging.LogRecord("b", logging.ERROR, __file__, 1, "failed", (), sys.exc_info())

    line = JsonLines().format(record)
    assert json.loads(line)["fault"]["type"] == "builtins.KeyError"
    assert "little secret" not in line


def _record(event: str, **fields: object) -> logging.LogRecord:
    record = logging.LogRecord("a", logging.INFO, __file__, 1, event, (), None)
    record.fields = fields
    return record


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        # E.164, and without its plus
        ("+447700900123", "+44••••••••23"),
        ("to 447700900123, late", "to 447•••••••23, late"),
        # ids, durations, times and hashes stay
        ("message 123456 in 1234.567891234 s", "message 123456 in 1234.567891234 s"),
        ("2026-07-01T12:34:56", "2026-07-01T12:34:56"),
        ("12345678-1234-4234-8234-123456789012", "12345678-1234-4234-8234-123456789012"),
        ("a1234567890123", "a1234567890123"),
    ],
)
def test_numbers_are_masked_wherever_they_stand(written: str, shown: str) -> None:
    """
    A telephone number in an event or in a member is masked, whoever logged it.
    """
    line = json.loads(JsonLines().format(_record(written, sender=written)))

    assert (line["event"], line["sender"]) == (shown, shown)


@pytest.mark.parametrize(
    ("path", "shown"),
    [
        # a line's secret address; one-time links
        ("/lines/village/s3cret", "/lines/village/…"),
        ("/take/" + "k" * 43, "/take/…"),
        ("/start/" + "k" * 43 + "/", "/start/…/"),
        ("/take/" + "k" * 22, "/take/…"),
        # what tells nothing
        ("/lines/village", "/lines/village"),
        ("/houses/orchard-barn/facts", "/houses/orchard-barn/facts"),
    ],
)
def test_keys_in_paths_are_left_out(path: str, shown: str) -> None:
    """
    A path is written without what would let its reader in.
    """
    assert json.loads(JsonLines().format(_record("request", path=path)))["path"] == shown


def test_plain_line_tells_the_same_and_stays_one_line() -> None:
    """
    For a terminal, a line has time, level, logger, event and members, and no control character.
    """
    record = _record("to +447700900123\n\x1b[2Jforged", status=200, path="/lines/v/s3cret")
    line = PlainLines().format(record)

    assert line.endswith('info a to +44••••••••23��[2Jforged status=200 path="/lines/v/\\u2026"')
    assert line.isprintable()


def test_program_logs_no_address_it_calls() -> None:
    """
    A client's own lines, which hold the address it calls with its secrets, are not written; ours
    are, in the form that was chosen.
    """
    program = """
import logging, sys
from service.logs import configure_logging
configure_logging(as_json=sys.argv[1] == "json")
logging.getLogger("httpx").info('HTTP Request: GET https://gw.example/?key=s3cret&text=hello')
logging.getLogger("service.outbox").info("sent")
"""
    told = {
        form: subprocess.run(
            [sys.executable, "-c", program, form], capture_output=True, text=True, check=True
        ).stderr
        for form in ("json", "plain")
    }

    assert json.loads(told["json"])["event"] == "sent"
    assert told["plain"].endswith(" info service.outbox sent\n")
    assert "s3cret" not in told["json"] + told["plain"]

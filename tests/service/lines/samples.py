"""Lines and requests for the tests, and an inbox that keeps all in memory."""

from __future__ import annotations

import threading
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import yaml

from service.lines.arrived import Arrived
from service.lines.gateway_side import GuestMessage
from service.lines.open_lines import Receipt
from service.lines.settings import LineSettings

ROOT = Path(__file__).parents[3]
NOW = datetime(2026, 7, 4, 9, 30, tzinfo=UTC)
# 24 bytes and more, invented: never a secret of anything.
STANDARD_SECRET = "whsec_" + "QUJDREVGR0hJSktMTU5PUFFSU1RVVldYWVo="
PLAIN_SECRET = "kT4vR9wLq2ZxN7pB"
GUEST = "+447700900333"

FIELDS = {"sender": "from", "text": "text", "to": "to", "id": "id", "time": "at"}
SEND = {"url": "http://127.0.0.1:9/send", "json": {"to": "{{ to }}", "text": "{{ text }}"}}
SIGNINGS: Mapping[str, tuple[dict[str, Any], str]] = {
    "standard": ({"kind": "standard-webhooks", "secret_env": "SECRET"}, STANDARD_SECRET),
    "hex": (
        {"kind": "hmac-sha256", "header": "X-Sig", "prefix": "sha256=", "secret_env": "SECRET"},
        PLAIN_SECRET,
    ),
    "base64 with time": (
        {
            "kind": "hmac-sha256",
            "header": "X-Sig",
            "encoding": "base64",
            "time_header": "X-Time",
            "secret_env": "SECRET",
        },
        PLAIN_SECRET,
    ),
    "basic": ({"kind": "basic", "user": "gateway", "secret_env": "SECRET"}, PLAIN_SECRET),
    "path": ({"kind": "path", "secret_env": "SECRET"}, PLAIN_SECRET),
    "parameter": (
        {"kind": "parameter", "parameter": "token", "secret_env": "SECRET"},
        PLAIN_SECRET,
    ),
    "query": (
        {
            "kind": "hmac-sha256",
            "parameter": "sig",
            "covers": "query",
            "secret_env": "SECRET",
        },
        PLAIN_SECRET,
    ),
}
BY_QUERY = ("parameter", "query")


def described(**changes: Any) -> dict[str, Any]:
    """A line as an operator would write it: POST of JSON, Standard Webhooks, a send call."""
    line = {
        "name": "quay-line",
        "number": "+447700900222",
        "country": "GB",
        "houses": ["orchard-barn"],
        "inbound": {"format": "json", "fields": FIELDS},
        "signing": SIGNINGS["standard"][0],
        "send": SEND,
    }
    return {name: value for name, value in (line | changes).items() if value is not None}


def make_line(**changes: Any) -> LineSettings:
    """The same, read."""
    return LineSettings.model_validate(described(**changes))


def signed_line(signing: str, **changes: Any) -> tuple[LineSettings, str]:
    """A line that signs in the named way, by GET where the query holds the proof; its secret."""
    proof, secret = SIGNINGS[signing]
    if signing in BY_QUERY:
        inbound = {"methods": "GET", "format": "query", "fields": FIELDS}
        changes = {"inbound": inbound} | changes
    return make_line(signing=proof, **changes), secret


def make_message(**changes: Any) -> GuestMessage:
    """A guest's message."""
    told = {"sender": GUEST, "text": "Where is the stopcock?", "id": "msg-1", "at": NOW}
    return GuestMessage(**(told | changes))


def sample(name: str) -> LineSettings:
    """The line of a sample file."""
    path = ROOT / "service" / "samples" / name
    return LineSettings.model_validate(yaml.safe_load(path.read_text("utf-8"))["lines"][0])


class MemoryInbox:
    """Keeps messages in memory, by id, and replies to each with the same words.

    Args:
        reply: What every message gets; None for no reply in time.
    """

    def __init__(self, reply: str | None = "Under the sink.") -> None:
        self.reply = reply
        self.arrived: list[Arrived] = []
        self._ids: dict[str, int] = {}
        self._lock = threading.Lock()

    def receive(self, arrived: Arrived) -> Receipt:
        with self._lock:
            self.arrived.append(arrived)
            known = self._ids.setdefault(arrived.gateway_id, len(self._ids) + 1)
        return Receipt(known)

    def reply_text(self, message_id: int, wait_s: float) -> str | None:
        return self.reply

"""The other side of a line: a guest's message as the gateway would hand it over.

Made from the same settings that `reading.py` reads by; the test of a line's set-up and the sample
gateway call the service with it.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from urllib.parse import quote, urlencode

import httpx

from service.lines.arrived import PieceOf
from service.lines.request import LineRequest
from service.lines.settings import LineSettings, pointer
from service.lines.signatures import sign

__all__ = ["GuestMessage", "call", "message_request", "path_of", "signed_request"]


@dataclass(frozen=True, slots=True, kw_only=True)
class GuestMessage:
    """What a guest's telephone sent."""

    sender: str
    text: str
    id: str
    at: datetime
    piece: PieceOf | None = None


def message_request(settings: LineSettings, message: GuestMessage) -> LineRequest:
    """The request for a message, not signed yet."""
    inbound = settings.inbound
    values = _values(settings, message)
    method = inbound.methods[0]
    if inbound.format == "query":
        return LineRequest(method=method, query=urlencode(values, encoding=inbound.charset))
    if inbound.format == "form":
        media = "application/x-www-form-urlencoded"
        body = urlencode(values, encoding=inbound.charset).encode()
    else:
        media = "application/json"
        body = json.dumps(_document(values)).encode()
    return LineRequest(method=method, headers={"content-type": media}, body=body)


def signed_request(
    settings: LineSettings, secret: str, message: GuestMessage, now: datetime
) -> LineRequest:
    """The request for a message, signed as the line requires."""
    request = message_request(settings, message)
    return sign(settings.signing, secret, request, message_id=message.id, now=now)


def path_of(settings: LineSettings, request: LineRequest) -> str:
    """The path and query that the request goes to."""
    path = f"/lines/{settings.name}"
    if request.path_secret is not None:
        path += f"/{quote(request.path_secret, safe='')}"
    return f"{path}?{request.query}" if request.query else path


def call(client: httpx.Client, settings: LineSettings, request: LineRequest) -> httpx.Response:
    """Sends the request to the service, whose address the client has as its base.

    Raises:
        httpx.HTTPError: The service cannot be reached, or does not answer in time.
    """
    return client.request(
        request.method,
        path_of(settings, request),
        headers=dict(request.headers),
        content=request.body or None,
    )


def _values(settings: LineSettings, message: GuestMessage) -> dict[str, str]:
    fields = settings.inbound.fields
    told: list[tuple[str | None, str]] = [
        (fields.sender, message.sender),
        (fields.text, message.text),
        (fields.to, settings.number),
        (fields.id, message.id),
        (fields.time, message.at.isoformat()),
    ]
    if fields.piece and message.piece:
        piece = message.piece
        told += [
            (fields.piece.reference, piece.reference),
            (fields.piece.number, str(piece.number)),
            (fields.piece.of, str(piece.of)),
        ]
    return {name: value for name, value in told if name is not None}


def _document(values: dict[str, str]) -> Any:
    """Nested objects, and lists where a step is a number, so that each pointer finds its value."""
    document: Any = {}
    for name, value in values.items():
        parts = pointer(name).parts
        at = document
        for place, step in enumerate(parts[:-1]):
            following: Any = [] if parts[place + 1].isdecimal() else {}
            at = _entered(at, step, following)
        _put(at, parts[-1], value)
    return document


def _entered(at: Any, step: str, following: Any) -> Any:
    if isinstance(at, list):
        while len(at) <= int(step):
            at.append(following)
        return at[int(step)]
    return at.setdefault(step, following)


def _put(at: Any, step: str, value: str) -> None:
    if isinstance(at, list):
        at.append(value)
    else:
        at[step] = value

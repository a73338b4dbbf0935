"""A gateway's request, read as the line's settings say: a message, or what is wrong with it."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import parse_qsl
from zoneinfo import ZoneInfo

from askhouse.parts.clean import MAX_CHARACTERS
from service.lines.arrived import Arrived, PieceOf
from service.lines.numbers import e164, sender_of
from service.lines.pieces import piece_of, piece_of_header
from service.lines.request import LineRequest
from service.lines.settings import InboundSettings, LineSettings, PieceFields, pointer
from service.lines.signatures import Signed

__all__ = ["UnreadableError", "read"]

_MOST_PARAMETERS = 200
_LONGEST_ID = 1_000
_AHEAD = timedelta(minutes=5)
_MILLISECONDS_FROM = 1e11  # seconds since 1970 reach this in the year 5138
_NUMBER = re.compile(r"[0-9]{1,14}(\.[0-9]{1,9})?")
_CHARSET = re.compile(r"charset=\"?(utf-8|iso-8859-1|windows-1252|us-ascii)\"?", re.IGNORECASE)

Values = Callable[[str], str | None]


class UnreadableError(ValueError):
    """A request is no message as the line describes one.

    Attributes:
        problems: For each field, in the gateway's name, what is wrong with it; "" is the whole
            request. What was sent is never repeated.
    """

    def __init__(self, problems: Mapping[str, str]) -> None:
        super().__init__("; ".join(f"{field or 'request'}: {p}" for field, p in problems.items()))
        self.problems = problems


def read(
    settings: LineSettings, request: LineRequest, now: datetime, signed: Signed | None = None
) -> Arrived:
    """The message in a request whose signature was checked before.

    Args:
        now: UTC; stands for the gateway's time where it gives none that can be read, since a
            guest's message is never refused for its time.
        signed: What the signature tells; its id stands in where no field has one.

    Raises:
        UnreadableError: A field is missing or cannot be read; names every one.
    """
    inbound = settings.inbound
    fields = inbound.fields
    value = _values(inbound, request)
    problems: dict[str, str] = {}

    def need(name: str) -> str:
        found = _told(value, name, problems)
        if found is None and name not in problems:
            problems[name] = "is missing"
        return found or ""

    def may(name: str | None) -> str:
        return (_told(value, name, problems) or "") if name else ""

    text = need(fields.text)
    sender = need(fields.sender)
    if len(text) > MAX_CHARACTERS:
        problems[fields.text] = f"is longer than {MAX_CHARACTERS} characters"
    gateway_id = may(fields.id) or (signed and signed.message_id) or ""
    if fields.id and not gateway_id:
        problems[fields.id] = "is missing"
    if len(gateway_id) > _LONGEST_ID:
        problems[fields.id or ""] = f"is longer than {_LONGEST_ID} characters"
    to = may(fields.to)
    received_at = _time(may(fields.time), inbound.time_zone, now)
    piece = _piece(fields.piece, may, problems)
    if problems:
        raise UnreadableError(problems)
    return Arrived(
        line=settings.name,
        sender=sender_of(sender, settings.country),
        to=(e164(to, settings.country) or to.strip()[:64]) if to.strip() else settings.number,
        text=text,
        gateway_id=gateway_id or _made_id(sender, text, may(fields.time), received_at, piece),
        received_at=received_at,
        piece=piece,
    )


def _values(inbound: InboundSettings, request: LineRequest) -> Values:
    """How a field of this request is looked up; None for one that is not there."""
    charset = inbound.charset
    if inbound.format == "json":
        return _json_values(_json(request, charset))
    content = request.query
    if inbound.format == "form":
        content = request.body.decode("ascii", "replace")
        named = _CHARSET.search(request.headers.get("content-type", ""))
        charset = named.group(1).lower() if named else charset  # type: ignore[assignment]
    try:
        pairs = parse_qsl(
            content,
            keep_blank_values=True,
            encoding=charset,
            errors="replace",
            max_num_fields=_MOST_PARAMETERS,
        )
    except ValueError as error:
        raise UnreadableError({"": f"has more than {_MOST_PARAMETERS} parameters"}) from error
    # The first of a name counts: what a gateway sends comes before what a proxy might add.
    return dict(reversed(pairs)).get


def _json(request: LineRequest, charset: str) -> Any:
    named = _CHARSET.search(request.headers.get("content-type", ""))
    text = request.body.decode(named.group(1) if named else charset, "replace")
    try:
        return json.loads(text.removeprefix("\ufeff"))
    except (ValueError, RecursionError) as error:
        raise UnreadableError({"": "is not JSON"}) from error


def _json_values(document: Any) -> Values:
    def look_up(name: str) -> str | None:
        found = pointer(name).resolve(document, None)
        if isinstance(found, bool) or not isinstance(found, str | int | float | None):
            raise TypeError
        return None if found is None else str(found)

    return look_up


def _told(value: Values, name: str, problems: dict[str, str]) -> str | None:
    """The field's value without what no database takes: NUL, and halves of a surrogate pair."""
    try:
        found = value(name)
    except (TypeError, ValueError):
        problems[name] = "is neither text nor a number"
        return None
    if found is None:
        return None
    whole = found.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    return whole.replace("\0", "")


def _time(text: str, zone: str, now: datetime) -> datetime:
    try:
        if _NUMBER.fullmatch(text):
            seconds = float(text)
            at = datetime.fromtimestamp(
                seconds / 1000 if seconds >= _MILLISECONDS_FROM else seconds, UTC
            )
        else:
            at = datetime.fromisoformat(text)
            at = (at if at.tzinfo else at.replace(tzinfo=ZoneInfo(zone))).astimezone(UTC)
    except (ValueError, OverflowError, OSError):
        return now
    return min(at, now) if at <= now + _AHEAD else now


def _piece(
    fields: PieceFields | None, may: Callable[[str | None], str], problems: dict[str, str]
) -> PieceOf | None:
    if fields is None:
        return None
    try:
        if fields.header is not None:
            return piece_of_header(may(fields.header))
        return piece_of(may(fields.reference), may(fields.number), may(fields.of))
    except ValueError as error:
        problems[fields.header or fields.number or ""] = str(error)
        return None


def _made_id(
    sender: str, text: str, time: str, received_at: datetime, piece: PieceOf | None
) -> str:
    """An id for a gateway that has none: the same message at the same time is the same."""
    moment = time or received_at.strftime("%Y-%m-%dT%H:%M")
    told = json.dumps([sender, text, moment, repr(piece)])
    return "made:" + hashlib.sha256(told.encode()).hexdigest()

"""A gateway's request becomes a message, or tells which field is wrong."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import urlencode

import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.lines.arrived import Arrived, PieceOf
from service.lines.reading import UnreadableError, read
from service.lines.request import LineRequest
from service.lines.signatures import Signed
from tests.service.lines.samples import FIELDS, GUEST, NOW, make_line

VALUES = {
    "from": "07700 900333",
    "text": "Where is the stopcock?",
    "to": "447700900222",
    "id": "abc-1",
    "at": "2026-07-04T10:29:30+01:00",
}
ARRIVED = Arrived(
    line="quay-line",
    sender=GUEST,
    to="+447700900222",
    text="Where is the stopcock?",
    gateway_id="abc-1",
    received_at=datetime(2026, 7, 4, 9, 29, 30, tzinfo=UTC),
)


def by_json(document: Any, **headers: str) -> LineRequest:
    return LineRequest(method="POST", headers=headers, body=json.dumps(document).encode())


def read_json(document: Any, fields: dict[str, Any] = FIELDS, **inbound: Any) -> Arrived:
    line = make_line(inbound={"format": "json", "fields": fields} | inbound)
    return read(line, by_json(document), NOW)


def read_query(query: str, fields: dict[str, Any] = FIELDS, **inbound: Any) -> Arrived:
    described = {"methods": "GET", "format": "query", "fields": fields} | inbound
    line = make_line(inbound=described)
    return read(line, LineRequest(method="GET", query=query), NOW)


def test_query_form_and_json_tell_the_same() -> None:
    """
    One message in three forms is one message.
    """
    form = make_line(inbound={"format": "form", "fields": FIELDS})
    posted = LineRequest(method="POST", body=urlencode(VALUES).encode())

    assert read_query(urlencode(VALUES)) == ARRIVED
    assert read(form, posted, NOW) == ARRIVED
    assert read_json(VALUES) == ARRIVED


@pytest.mark.parametrize("prefix", ["data.sms.", "/data/sms/"])
def test_fields_are_found_deep_in_json(prefix: str) -> None:
    """
    A dotted path and a JSON Pointer (RFC 6901) lead to the same place.
    """
    fields = {name: prefix + where for name, where in FIELDS.items()}

    assert read_json({"data": {"sms": VALUES}}, fields) == ARRIVED


def test_pointers_of_rfc_6901() -> None:
    """
    Of the document in RFC 6901, 5, "/foo/0" is "bar" and "/a~1b" is 1, "/m~0n" is 8.
    """
    document = {"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, " ": 7, "m~n": 8}
    fields = {"sender": "/foo/0", "text": "/a~1b", "id": "/m~0n"}
    arrived = read_json(document, fields)

    assert (arrived.sender, arrived.text, arrived.gateway_id) == ("bar", "1", "8")


def test_every_missing_field_is_named_and_nothing_repeated() -> None:
    """
    The problem names the fields as the gateway does, all at once, without a guest's words.
    """
    with pytest.raises(UnreadableError) as raised:
        read_json({"text": ["a guest's words"], "to": {"x": 1}})

    assert raised.value.problems == {
        "text": "is neither text nor a number",
        "from": "is missing",
        "id": "is missing",
        "to": "is neither text nor a number",
    }
    assert "guest" not in str(raised.value)


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b"", "is not JSON"),
        (b"{", "is not JSON"),
        (b"[" * 100_000, "is not JSON"),
        (b"1" * 5_000, "is not JSON"),
        (b"[]", "from: is missing"),
        (b"null", "from: is missing"),
        (b'"text"', "from: is"),
        (b"12", "from: is"),
    ],
)
def test_other_bodies_are_told(body: bytes, said: str) -> None:
    """
    What is no JSON, or JSON of another shape, is a problem and never a fault of ours.
    """
    with pytest.raises(UnreadableError, match=said):
        read(make_line(), LineRequest(method="POST", body=body), NOW)


@given(st.binary(max_size=200))
def test_no_body_is_a_fault_of_ours(body: bytes) -> None:
    """
    Whatever bytes come, the answer is a problem that names at least one field.
    """
    for form in ("json", "form"):
        line = make_line(inbound={"format": form, "fields": FIELDS | {"sender": "no such name"}})
        with pytest.raises(UnreadableError) as raised:
            read(line, LineRequest(method="POST", query="%ff&a", body=body), NOW)
        assert raised.value.problems


def test_limits() -> None:
    """
    A text, an id or a list of parameters beyond its length is refused by name.
    """
    with pytest.raises(UnreadableError, match="text: is longer than 10000 characters"):
        read_json(VALUES | {"text": "a" * 10_001})
    with pytest.raises(UnreadableError, match="id: is longer than 1000 characters"):
        read_json(VALUES | {"id": "a" * 1_001})
    with pytest.raises(UnreadableError, match="more than 200 parameters"):
        read_query("a=1&" * 300)
    assert len(read_json(VALUES | {"text": "a" * 10_000}).text) == 10_000


def test_empty_text_is_a_message() -> None:
    """
    A picture comes without words; it is taken, and not refused over and over.
    """
    assert read_json(VALUES | {"text": ""}).text == ""


@pytest.mark.parametrize(
    ("charset", "query", "text"),
    [
        ("utf-8", "caf%C3%A9+%F0%9F%98%80", "café 😀"),
        ("iso-8859-1", "caf%E9", "café"),
        ("windows-1252", "caf%E9+%80", "café €"),
        ("utf-8", "caf%E9+bar", "caf\ufffd bar"),
    ],
)
def test_charset(charset: str, query: str, text: str) -> None:
    """
    Characters are read in the line's charset; bytes that are none cost one character, not all.
    """
    rest = urlencode({name: value for name, value in VALUES.items() if name != "text"})

    assert read_query(f"text={query}&{rest}", charset=charset).text == text


def test_charset_that_the_request_names_is_taken() -> None:
    """
    A charset in the content type goes before the line's.
    """
    line = make_line(inbound={"format": "form", "fields": FIELDS})
    body = urlencode(VALUES | {"text": "café"}, encoding="iso-8859-1").encode()
    kind = {"content-type": "application/x-www-form-urlencoded; charset=ISO-8859-1"}

    assert read(line, LineRequest(method="POST", headers=kind, body=body), NOW).text == "café"


def test_what_no_database_takes_is_left_out() -> None:
    """
    NUL goes, and half of a surrogate pair becomes the character for "unreadable".
    """
    body = json.dumps(VALUES).replace("Where", "A\\u0000B\\ud83dC \\ud83d\\ude00").encode()
    arrived = read(make_line(), LineRequest(method="POST", body=body), NOW)

    assert arrived.text.startswith("AB\ufffdC 😀")


@pytest.mark.parametrize(
    ("told", "expected"),
    [
        ("1783157370", datetime(2026, 7, 4, 9, 29, 30, tzinfo=UTC)),  # Unix seconds
        ("1783157370.5", datetime(2026, 7, 4, 9, 29, 30, 500_000, tzinfo=UTC)),
        ("1783157370500", datetime(2026, 7, 4, 9, 29, 30, 500_000, tzinfo=UTC)),
        ("2026-07-04T09:29:30Z", datetime(2026, 7, 4, 9, 29, 30, tzinfo=UTC)),
        # Without an offset: Lisbon is an hour ahead of UTC in July.
        ("2026-07-04 10:29:30", datetime(2026, 7, 4, 9, 29, 30, tzinfo=UTC)),
        # Not to be read, or not to be believed: the time it came stands in.
        ("yesterday", NOW),
        ("", NOW),
        ("9" * 14, NOW),
        ("2031-01-01T00:00:00Z", NOW),
        # A clock a little ahead of ours is not in the future.
        ((NOW + timedelta(minutes=2)).isoformat(), NOW),
    ],
)
def test_times(told: str, expected: datetime) -> None:
    """
    ISO 8601 and Unix times are read; a message is never refused for its time.
    """
    arrived = read_json(VALUES | {"at": told}, time_zone="Europe/Lisbon")

    assert arrived.received_at == expected
    assert arrived.received_at.utcoffset() == timedelta(0)


def test_pieces_are_told_apart() -> None:
    """
    Three fields of the gateway's make a piece; without them the message is whole.
    """
    fields = FIELDS | {"piece": {"reference": "ref", "number": "part", "of": "parts"}}
    arrived = read_json(VALUES | {"ref": "77", "part": 2, "parts": 3}, fields)

    assert arrived.piece == PieceOf(reference="77", number=2, of=3)
    assert read_json(VALUES, fields).piece is None
    with pytest.raises(UnreadableError, match="part: a piece has a number from 1"):
        read_json(VALUES | {"ref": "77", "part": 4, "parts": 3}, fields)


def test_pieces_by_header() -> None:
    """
    So does the user data header in hex.
    """
    fields = FIELDS | {"piece": {"header": "udh"}}

    assert read_json(VALUES | {"udh": "050003CC0201"}, fields).piece == PieceOf(
        reference="204", number=1, of=2
    )


def test_id_of_the_signature_stands_in() -> None:
    """
    Where no field has an id, the signed one is taken: a replay has the same.
    """
    fields = {name: where for name, where in FIELDS.items() if name != "id"}
    line = make_line(inbound={"format": "json", "fields": fields})
    arrived = read(line, by_json(VALUES), NOW, Signed(message_id="msg_1"))

    assert arrived.gateway_id == "msg_1"


def test_made_id_is_the_same_for_the_same_message() -> None:
    """
    A gateway without ids gets one made of what it says: the same again, another for another.
    """
    fields = {"sender": "from", "text": "text", "time": "at"}
    first = read_json(VALUES, fields).gateway_id

    assert read_json(VALUES, fields).gateway_id == first
    assert read_json(VALUES | {"text": "Hello"}, fields).gateway_id != first
    assert read_json(VALUES | {"from": "07700 900334"}, fields).gateway_id != first
    assert read_json(VALUES | {"at": "1783157371"}, fields).gateway_id != first


def test_first_of_two_parameters_counts() -> None:
    """
    What is put behind a gateway's own parameters does not replace them.
    """
    assert read_query(urlencode(VALUES) + "&from=%2B447700900999").sender == GUEST


def test_own_number_stands_in() -> None:
    """
    Where the gateway does not say to whom, it was to the line.
    """
    fields = {name: where for name, where in FIELDS.items() if name != "to"}

    assert read_json(VALUES, fields).to == "+447700900222"

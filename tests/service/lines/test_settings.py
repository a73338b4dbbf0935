"""Settings of a line: what may be written, and that an error names the field and its mend."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from askhouse.errors import SettingsError
from service.lines.open_lines import open_lines
from tests.service.lines.samples import (
    FIELDS,
    PLAIN_SECRET,
    SEND,
    SIGNINGS,
    STANDARD_SECRET,
    described,
    make_line,
    sample,
)


@pytest.mark.parametrize("name", ["get-plain-reply.yaml", "post-json-signed.yaml"])
def test_samples_can_be_used(name: str) -> None:
    """
    Each sample is a line as it stands.
    """
    assert sample(name).houses


def problem_of(**changes: Any) -> str:
    with pytest.raises(ValidationError) as raised:
        make_line(**changes)
    return "; ".join(
        f"{'.'.join(map(str, fault['loc']))}: {fault['msg']}" for fault in raised.value.errors()
    )


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"name": "Quay Line"}, "name: "),
        ({"number": "0770 0900222"}, "neither E.164"),
        ({"country": "UK"}, "country: Value error, UK is no country"),
        ({"houses": []}, "houses: "),
        ({"send": None}, "replies have no way out: add send"),
        ({"most_segments": 0}, "most_segments: "),
        ({"gateway": "x"}, "gateway: Extra inputs"),
        ({"inbound": {"methods": "PUT", "fields": FIELDS}}, "inbound.methods.0: "),
        ({"inbound": {"methods": "GET", "fields": FIELDS}}, "a GET has no body"),
        ({"inbound": {"fields": {"sender": "from"}}}, "inbound.fields.text: Field required"),
        ({"inbound": {"fields": FIELDS | {"id": "/data/~x"}}}, "is no JSON Pointer"),
        ({"inbound": {"fields": FIELDS, "time_zone": "Nowhere"}}, "is no time zone"),
        (
            {"inbound": {"fields": FIELDS | {"piece": {"reference": "r"}}}},
            "name reference, number and of, or header alone",
        ),
        ({"signing": {"kind": "none"}}, "signing: Input tag 'none'"),
        ({"signing": {"kind": "basic", "user": "x"}}, "signing.basic.secret_env: Field required"),
        (
            {"signing": {"kind": "basic", "user": "x", "secret_env": "hunter 2"}},
            "signing.basic.secret_env: ",
        ),
        ({"signing": {"kind": "hmac-sha256", "secret_env": "S"}}, "either header or parameter"),
        ({"send": {"url": "gateway.example/send"}}, "write the gateway's whole address"),
        ({"send": SEND | {"form": {"a": "b"}}}, "set form or json, not both"),
        ({"send": SEND | {"method": "GET"}}, "a GET has no body: use query"),
        ({"send": SEND | {"json": {"a": ["{{ txt }}"]}}}, "json.a[0]: uses txt, which is not"),
        ({"send": SEND | {"headers": {"X-Text": "{{ text }}"}}}, "headers.X-Text: uses text"),
        ({"send": SEND | {"json": {"a": "{{ text"}}}, "cannot be read as a template"),
        ({"send": SEND | {"success": {"field": "ok"}}}, "name field and values together"),
        ({"respond": {"template": "{{ key }}"}}, "template: uses key"),
        (
            {
                "inbound": {"methods": "GET", "format": "query", "fields": FIELDS},
                "signing": SIGNINGS["hex"][0],
            },
            "a GET has no body to sign",
        ),
    ],
)
def test_each_error_names_its_field_and_mend(changes: dict[str, Any], said: str) -> None:
    """
    What cannot be used is refused at start, in words that lead to the line to change.
    """
    assert said in problem_of(**changes)


def test_secrets_of_all_lines_are_asked_for_at_once() -> None:
    """
    Every missing or weak secret is named with its variable, and none is repeated.
    """
    lines = [
        make_line(),
        make_line(name="weak", signing=SIGNINGS["basic"][0] | {"secret_env": "WEAK"}),
        make_line(name="short", signing=SIGNINGS["standard"][0] | {"secret_env": "SHORT"}),
        make_line(name="sample", signing=SIGNINGS["path"][0] | {"secret_env": "SAMPLE"}),
        make_line(),
    ]
    environ = {"WEAK": "hunter2", "SHORT": "whsec_QUJD", "SAMPLE": "change-me-change-me"}
    with pytest.raises(SettingsError) as raised:
        open_lines(lines, environ)

    said = str(raised.value)
    assert "quay-line: SECRET is not set" in said
    assert "WEAK: use 16 random characters" in said
    assert "SHORT: write whsec_" in said
    assert "SAMPLE: use 16" in said
    assert "2 are named quay-line" in said
    assert not [secret for secret in environ.values() if secret in said]


def test_secret_is_in_no_representation() -> None:
    """
    An open line does not show its secret where it is printed.
    """
    opened = open_lines(
        [make_line(), make_line(name="other", signing=SIGNINGS["path"][0] | {"secret_env": "B"})],
        {"SECRET": STANDARD_SECRET, "B": PLAIN_SECRET},
    )

    assert opened.by_name["quay-line"].secret == STANDARD_SECRET
    assert STANDARD_SECRET not in repr(opened)
    assert PLAIN_SECRET not in repr(opened)


def test_no_secret_can_stand_in_the_file() -> None:
    """
    A field that would hold a secret itself is no field.
    """
    signing = SIGNINGS["standard"][0] | {"secret": STANDARD_SECRET}

    assert "secret: Extra inputs" in problem_of(**described(signing=signing))

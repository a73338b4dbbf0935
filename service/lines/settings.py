"""A line as the operator describes it: a number, and the gateway that carries its messages.

Nothing here knows any gateway by name: how it calls, signs and is called is all configuration.
No secret stands in the file; it names the environment variable that holds one.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any, Literal, Self
from urllib.parse import urlsplit
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import phonenumbers
from jsonpointer import JsonPointer, JsonPointerException
from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from service.lines.signing_settings import (
    BasicSigning,
    PathSigning,
    SecretEnv,
    SigningSettings,
    StandardSigning,
)
from service.lines.templates import check_template

__all__ = [
    "FieldNames",
    "InboundSettings",
    "LineSettings",
    "PieceFields",
    "RespondSettings",
    "SendSettings",
    "SuccessSettings",
    "pointer",
]

RESPOND_NAMES = frozenset({"text", "to", "to_digits", "number", "number_digits"})
SEND_NAMES = RESPOND_NAMES | {"key", "secrets"}
HEADER_NAMES = SEND_NAMES - {"text"}  # a header holds no line breaks, a text does

_SLUG = r"^[a-z0-9]+(-[a-z0-9]+)*$"
_SHORT_CODE = re.compile(r"[0-9]{3,8}")
_TOKEN = r"^[!#$%&'*+.^_`|~0-9A-Za-z-]+$"  # a field name, RFC 9110, 5.6.2

HeaderName = Annotated[str, Field(pattern=_TOKEN)]


class _Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


def pointer(field: str) -> JsonPointer:
    """A field of JSON as a pointer: `/data/from` (RFC 6901), or `data.from` for short.

    Raises:
        ValueError: It is neither.
    """
    if not field.startswith("/"):
        return JsonPointer.from_parts(field.split("."))
    try:
        return JsonPointer(field)
    except JsonPointerException as error:
        raise ValueError(
            f"{field} is no JSON Pointer; write /data/from (RFC 6901) or data.from"
        ) from error


class PieceFields(_Section):
    """Where the gateway says which piece of a long message it hands over."""

    reference: str | None = None
    number: str | None = None
    of: str | None = None
    header: str | None = Field(
        default=None, description="The user data header in hex (3GPP TS 23.040, 9.2.3.24)."
    )

    @model_validator(mode="after")
    def _whole(self) -> Self:
        three = (self.reference, self.number, self.of)
        if all(three) == (self.header is not None) or (any(three) and not all(three)):
            raise ValueError("name reference, number and of, or header alone")
        return self


class FieldNames(_Section):
    """What the gateway calls things."""

    sender: str = Field(min_length=1)
    text: str = Field(min_length=1)
    to: str | None = None
    id: str | None = None
    time: str | None = None
    piece: PieceFields | None = None

    def named(self) -> Iterator[str]:
        """Every name that is set."""
        piece = self.piece.model_dump().values() if self.piece else ()
        for name in (self.sender, self.text, self.to, self.id, self.time, *piece):
            if name is not None:
                yield name


def _zone(name: str) -> str:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise ValueError(f"{name} is no time zone; write one such as Europe/Lisbon") from error
    return name


class InboundSettings(_Section):
    """How a message of the gateway is to be read."""

    methods: Annotated[
        tuple[Literal["GET", "POST"], ...],
        BeforeValidator(lambda given: (given,) if isinstance(given, str) else given),
        Field(min_length=1),
    ] = ("POST",)
    format: Literal["query", "form", "json"] = "json"
    charset: Literal["utf-8", "iso-8859-1", "windows-1252"] = "utf-8"
    fields: FieldNames
    time_zone: Annotated[str, AfterValidator(_zone)] = Field(
        default="UTC", description="Of times that come without an offset."
    )

    @model_validator(mode="after")
    def _readable(self) -> Self:
        if "GET" in self.methods and self.format != "query":
            raise ValueError("a GET has no body: set format: query, or methods: POST")
        if self.format == "json":
            for name in self.fields.named():
                pointer(name)
        return self


def _check_leaves(shape: Any, names: frozenset[str], where: str) -> None:
    if isinstance(shape, str):
        try:
            check_template(shape, names)
        except ValueError as error:
            raise ValueError(f"{where}: {error}") from error
    elif isinstance(shape, dict):
        for name, item in shape.items():
            _check_leaves(item, names, f"{where}.{name}")
    elif isinstance(shape, list):
        for place, item in enumerate(shape):
            _check_leaves(item, names, f"{where}[{place}]")


class RespondSettings(_Section):
    """The reply goes into the response to the gateway's own request."""

    content_type: str = "text/plain; charset=utf-8"
    template: str = "{{ text }}"
    without_reply: str = Field(default="", description="The body where there is nothing to say.")
    wait_s: float = Field(
        default=20, gt=0, le=60, description="Seconds that the gateway waits for a response."
    )

    @model_validator(mode="after")
    def _templates(self) -> Self:
        _check_leaves(self.template, RESPOND_NAMES, "template")
        return self


class SuccessSettings(_Section):
    """What the gateway answers when it took a message."""

    statuses: tuple[int, ...] = Field(default=(), description="Empty: every 2xx.")
    field: str | None = Field(default=None, description="A field of its JSON that tells.")
    values: tuple[str | int | bool, ...] = ()

    @model_validator(mode="after")
    def _both(self) -> Self:
        if (self.field is None) != (not self.values):
            raise ValueError("name field and values together: which field says that it was taken")
        if self.field is not None:
            pointer(self.field)
        return self


class SendSettings(_Section):
    """A call to the gateway's own address; strings are templates.

    They may use `to`, `number` (the line's), the same as `to_digits` and `number_digits` without
    the plus, `text`, `key` (the idempotency key) and `secrets.NAME`.
    """

    method: Literal["GET", "POST", "PUT"] = "POST"
    url: str
    headers: dict[HeaderName, str] = {}
    query: dict[str, str] = {}
    form: dict[str, str] | None = None
    json_body: dict[str, Any] | list[Any] | None = Field(default=None, alias="json")
    secrets: dict[str, SecretEnv] = {}
    basic: BasicSigning | None = None
    signing: StandardSigning | None = None
    key_header: HeaderName | None = "Idempotency-Key"
    success: SuccessSettings = SuccessSettings()
    timeout_s: float = Field(default=15, gt=0, le=60)

    @model_validator(mode="after")
    def _sendable(self) -> Self:
        if urlsplit(self.url).scheme not in ("http", "https") or not urlsplit(self.url).hostname:
            raise ValueError("url: write the gateway's whole address, https://HOST/PATH")
        if "{" in urlsplit(self.url).netloc:
            raise ValueError("url: the host is not a template")
        if self.form is not None and self.json_body is not None:
            raise ValueError("set form or json, not both")
        if self.method == "GET" and (self.form is not None or self.json_body is not None):
            raise ValueError("a GET has no body: use query")
        _check_leaves(self.url, HEADER_NAMES | {"text"}, "url")
        _check_leaves(self.headers, HEADER_NAMES, "headers")
        _check_leaves(self.query, SEND_NAMES, "query")
        _check_leaves(self.form, SEND_NAMES, "form")
        _check_leaves(self.json_body, SEND_NAMES, "json")
        return self


def _country(code: str) -> str:
    if code not in phonenumbers.SUPPORTED_REGIONS:
        raise ValueError(f"{code} is no country; write two capitals of ISO 3166, such as PT")
    return code


class LineSettings(_Section):
    """One number that guests text, and its gateway."""

    name: str = Field(pattern=_SLUG, max_length=100)
    number: str
    country: Annotated[str, AfterValidator(_country)] = Field(
        description="Of numbers that come without a country code."
    )
    houses: tuple[str, ...] = Field(min_length=1)
    inbound: InboundSettings
    signing: SigningSettings
    respond: RespondSettings | None = None
    send: SendSettings | None = None
    most_segments: int = Field(default=3, ge=1, le=10, description="Of one reply.")

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        if self.respond is None and self.send is None:
            raise ValueError(
                "replies have no way out: add send (a call to the gateway) or respond (in the "
                "response to the gateway's request)"
            )
        if not _SHORT_CODE.fullmatch(self.number) and not _is_e164(self.number):
            raise ValueError(f"number: {self.number} is neither E.164 (+…) nor a short code")
        if "GET" in self.inbound.methods and getattr(self.signing, "covers", "") == "body":
            raise ValueError("signing: a GET has no body to sign; set covers: query")
        return self

    @property
    def has_path_secret(self) -> bool:
        """Whether the secret is part of the path that the gateway calls."""
        return isinstance(self.signing, PathSigning)


def _is_e164(number: str) -> bool:
    try:
        parsed = phonenumbers.parse(number, None)
    except phonenumbers.NumberParseException:
        return False
    return number == phonenumbers.format_number(parsed, phonenumbers.PhoneNumberFormat.E164)

"""How contacts are reached: the sections `contacts` and `mail` of the service's file.

No secret stands there; it names environment variables.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self
from urllib.parse import urlsplit

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from service.lines.signing_settings import SecretEnv
from service.stays.phone_numbers import NumberError, to_e164

__all__ = [
    "AppriseContact",
    "Contact",
    "EmailContact",
    "LineContact",
    "MailSettings",
    "Name",
    "Section",
    "Web",
    "WebhookContact",
]

Name = Annotated[str, Field(pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$", max_length=50)]


def _number(value: str) -> str:
    try:
        return to_e164(value, None)
    except NumberError as error:
        raise ValueError(str(error)) from None


def _address(value: str) -> str:
    name, at, domain = value.rpartition("@")
    if not (name and at and domain) or any(c.isspace() or c in ",;<>" for c in value):
        raise ValueError("is no e-mail address; write one such as host@example.org")
    return value


def _web(value: str) -> str:
    parts = urlsplit(value)
    if parts.scheme not in ("https", "http") or not parts.hostname or parts.query or parts.fragment:
        raise ValueError("is no web address; write https://HOST/PATH, without ? and #")
    return value


Address = Annotated[str, AfterValidator(_address)]
Web = Annotated[str, AfterValidator(_web)]


class Section(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class _Contact(Section):
    person: str | None = Field(
        default=None,
        description="Whose it is: e-mail address or number (E.164) of one of the people.",
    )
    may_read: bool | None = Field(
        default=None,
        description="Whether it gets the guest's words; by default push and e-mail do, text "
        "messages and webhooks do not.",
    )

    @property
    def reads(self) -> bool:
        """Whether the guest's words may stand in an alert to it."""
        return (
            isinstance(self, AppriseContact | EmailContact)
            if self.may_read is None
            else (self.may_read)
        )


class AppriseContact(_Contact):
    """Push and much else, through a URL of the library Apprise; the URL holds secrets."""

    channel: Literal["apprise"]
    url_env: SecretEnv


class WebhookContact(_Contact):
    """A program of the host's, called and signed by Standard Webhooks."""

    channel: Literal["webhook"]
    url: Web | None = None
    url_env: SecretEnv | None = None
    secret_env: SecretEnv
    timeout_s: float = Field(default=8, gt=0, le=15)

    @model_validator(mode="after")
    def _one_url(self) -> Self:
        if (self.url is None) == (self.url_env is None):
            raise ValueError("set url, or url_env where the address is a secret; one of the two")
        return self


class EmailContact(_Contact):
    """A mailbox, reached through the account in the section `mail`."""

    channel: Literal["email"]
    address: Address | None = None
    address_env: SecretEnv | None = None

    @model_validator(mode="after")
    def _one_address(self) -> Self:
        if (self.address is None) == (self.address_env is None):
            raise ValueError("set address or address_env; one of the two")
        return self


class LineContact(_Contact):
    """A telephone that gets text messages over one of our own lines."""

    channel: Literal["line"]
    line: str
    number: Annotated[str, AfterValidator(_number)] | None = Field(
        default=None, description="E.164; the person's own number if left out."
    )

    @model_validator(mode="after")
    def _reachable(self) -> Self:
        if self.number is None and self.person is None:
            raise ValueError("set number, or person whose number it is")
        return self


Contact = Annotated[
    AppriseContact | WebhookContact | EmailContact | LineContact, Field(discriminator="channel")
]


class MailSettings(Section):
    """The account that e-mail goes out by (RFC 6409)."""

    host: str = Field(min_length=1)
    port: int = Field(default=587, ge=1, le=65_535)
    security: Literal["starttls", "tls", "none"] = Field(
        default="starttls", description="none only on the same machine: all is readable on the way."
    )
    user: str | None = None
    password_env: SecretEnv | None = None
    sender: Address = Field(description="What stands in From.")
    ca_file: str | None = Field(
        default=None, description="Certificates to trust, where the server's own are not public."
    )
    timeout_s: float = Field(default=8, gt=0, le=15)

    @model_validator(mode="after")
    def _whole(self) -> Self:
        if (self.user is None) != (self.password_env is None):
            raise ValueError("set user and password_env together")
        if self.user is not None and self.security == "none":
            raise ValueError("a password needs security: starttls or tls")
        return self

"""How a gateway proves that a request is its own; which secret it shares, by name."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Mapping
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from askhouse.errors import SettingsError

__all__ = [
    "BasicSigning",
    "HmacSigning",
    "ParameterSigning",
    "PathSigning",
    "SecretEnv",
    "SigningSettings",
    "StandardSigning",
    "read_secret",
    "read_signing_secret",
    "standard_key",
]

SECRET_LEAST = 16  # characters; shorter ones can be guessed
STANDARD_LEAST_BYTES = 24  # Standard Webhooks 1.0.0, "Signature scheme": 24 to 64 bytes
_EXAMPLES = ("change-me", "changeme", "example", "secret", "password", "xxxx")

SecretEnv = Annotated[
    str,
    Field(
        pattern=r"^[A-Z][A-Z0-9_]*$",
        description="Name of the environment variable that holds the secret.",
    ),
]


class _Signing(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    secret_env: SecretEnv


class StandardSigning(_Signing):
    """Standard Webhooks 1.0.0: id, time and body signed; the best there is."""

    kind: Literal["standard-webhooks"]


class HmacSigning(_Signing):
    """HMAC-SHA256 over the body, or over the query where there is none."""

    kind: Literal["hmac-sha256"]
    header: str | None = Field(
        default=None, description="Header that holds the signature, such as X-Signature."
    )
    parameter: str | None = Field(
        default=None,
        description="Query parameter that holds it; the signature covers the query without it.",
    )
    encoding: Literal["hex", "base64"] = "hex"
    prefix: str = Field(default="", description="What stands before it, such as `sha256=`.")
    covers: Literal["body", "query"] = "body"
    time_header: str | None = Field(
        default=None,
        description="Header with the Unix time, where the signature covers `TIME.CONTENT`.",
    )

    @model_validator(mode="after")
    def _one_place(self) -> Self:
        if (self.header is None) == (self.parameter is None):
            raise ValueError("set either header or parameter: where the signature stands")
        if self.parameter is not None and self.covers != "query":
            raise ValueError("a signature in a parameter covers the query: set covers: query")
        return self


class BasicSigning(_Signing):
    """HTTP Basic (RFC 7617); over HTTPS only."""

    kind: Literal["basic"]
    user: str = Field(min_length=1, pattern=r"^[^:]+$")


class ParameterSigning(_Signing):
    """A shared secret as a parameter of the query; the logs of whatever is between may hold it."""

    kind: Literal["parameter"]
    parameter: str = Field(min_length=1)


class PathSigning(_Signing):
    """A shared secret as the last part of the path: the last resort."""

    kind: Literal["path"]


SigningSettings = Annotated[
    StandardSigning | HmacSigning | BasicSigning | ParameterSigning | PathSigning,
    Field(discriminator="kind"),
]


def read_secret(name: str, environ: Mapping[str, str]) -> str:
    """The secret in the variable.

    Raises:
        SettingsError: The variable is unset or empty.
    """
    if secret := environ.get(name, "").strip():
        return secret
    raise SettingsError(f"{name} is not set: put the secret that the gateway shares into it")


def read_signing_secret(signing: SigningSettings, environ: Mapping[str, str]) -> str:
    """The secret that this way of signing needs.

    Raises:
        SettingsError: The variable is unset, or holds what could be guessed. Never says what.
    """
    name = signing.secret_env
    secret = read_secret(name, environ)
    if isinstance(signing, StandardSigning):
        if len(standard_key(secret)) < STANDARD_LEAST_BYTES:
            raise SettingsError(
                f"{name}: write whsec_ and the base64 of {STANDARD_LEAST_BYTES} random bytes "
                "or more, as the gateway shows it"
            )
    elif len(secret) < SECRET_LEAST or any(word in secret.lower() for word in _EXAMPLES):
        raise SettingsError(
            f"{name}: use {SECRET_LEAST} random characters or more, the same at the gateway"
        )
    return secret


def standard_key(secret: str) -> bytes:
    """The key in a secret of Standard Webhooks, `whsec_` and base64; empty where it is none."""
    encoded = secret.removeprefix("whsec_")
    try:
        return base64.b64decode(encoded + "=" * (-len(encoded) % 4), validate=True)
    except binascii.Error:
        return b""

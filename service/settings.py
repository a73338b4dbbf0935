"""What an operator may set for the service, beside the engine's own settings."""

from __future__ import annotations

from pathlib import Path

from pydantic import Field, ValidationError

from askhouse.errors import SettingsError
from askhouse.settings import Settings

__all__ = ["ServiceSettings", "read_service_settings"]


class ServiceSettings(Settings):
    """The engine's settings and the service's; each is read from ASKHOUSE_ and its name."""

    database: str = Field(
        default="",
        description="sqlite:///FILE or postgresql+psycopg://USER@HOST/NAME; "
        "service.db beside the houses, in .askhouse/, where none is given.",
    )
    service_file: Path | None = Field(
        default=None,
        description="YAML file with lines, contacts, mail, alerts and houses; none without it.",
    )
    base_url: str = Field(
        default="http://127.0.0.1:8321",
        pattern=r"^https?://[^/?#]+$",
        description="Where the service is reached; `alerts.base_url` of its file goes first.",
    )
    retention_days: int = Field(
        default=400,
        ge=1,
        le=36_500,
        description="Days after which messages, and the guests of past stays, are erased.",
    )
    log_format: str = Field(
        default="json",
        pattern="^(plain|json)$",
        description="json for one object a line, or plain.",
    )
    requests_per_minute: int = Field(
        default=120,
        ge=1,
        le=100_000,
        description="Requests a client may send in a minute, at once or spread out.",
    )
    body_limit_bytes: int = Field(
        # Room for the longest message with every character escaped (12 bytes for an emoji),
        # and for a thread before it.
        default=262_144,
        ge=1_024,
        le=16_777_216,
        description="Bytes of a request's body; a longer one is refused.",
    )
    answers_at_once: int = Field(
        default=2,
        ge=1,
        le=64,
        description="Messages that are worked on at the same time; the others wait their turn.",
    )

    @property
    def database_url(self) -> str:
        """The database, given or not."""
        return self.database or f"sqlite:///{self._beside_the_houses('service.db')}"

    @property
    def topics_file(self) -> Path:
        """Where the vectors of the trade catalogue are kept, for the gap report."""
        return self.index_file.with_name("topics.npz")


def read_service_settings() -> ServiceSettings:
    """The settings of the environment.

    Raises:
        SettingsError: A variable cannot be used; names each one.
    """
    try:
        return ServiceSettings()
    except ValidationError as error:
        problems = "; ".join(
            f"ASKHOUSE_{str(fault['loc'][0]).upper()}: {fault['msg']}" for fault in error.errors()
        )
        raise SettingsError(problems) from error

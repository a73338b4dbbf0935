"""Who gets the week's gaps by e-mail, and when: the section `digest` of the service's file."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, Self
from zoneinfo import ZoneInfo

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from service.alerts.contact_settings import Name

__all__ = ["WEEKDAYS", "DigestSettings"]

WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
"""As the settings name them, in the order of `datetime.date.weekday`."""

Weekday = Literal["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"]


def _zone(value: str) -> str:
    try:
        ZoneInfo(value)
    except (KeyError, ValueError, OSError):  # OSError: the folder of a continent
        raise ValueError("is no time zone; write its IANA name, such as Europe/London") from None
    return value


class DigestSettings(BaseModel):
    """The weekly e-mail about gaps."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    contacts: tuple[Name, ...] = Field(
        min_length=1,
        max_length=20,
        description="Contacts with channel email; one that belongs to a person gets the gaps of "
        "the houses which that person may see.",
    )
    weekday: Weekday = "monday"
    at: dt.time = Field(default=dt.time(8), description="Local time, such as 08:00.")
    timezone: Annotated[str, AfterValidator(_zone)] = Field(
        description="IANA name, such as Europe/London."
    )

    @model_validator(mode="after")
    def _local(self) -> Self:
        if self.at.tzinfo is not None:
            raise ValueError("at is a local time: leave the offset out and set timezone")
        return self

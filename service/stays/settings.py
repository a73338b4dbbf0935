"""What an operator may set for a house's stays: its part of `houses.SLUG` in the service's file."""

from __future__ import annotations

import datetime as dt
import os
import re
from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from askhouse.errors import SettingsError

__all__ = ["FactRelease", "FeedSettings", "StayRules", "rules_of"]


def _pattern(value: str) -> str:
    try:
        re.compile(value)
    except re.error as error:
        raise ValueError(f"not a regular expression: {error}") from None
    return value


Pattern = Annotated[str, Field(max_length=500), AfterValidator(_pattern)]


class FactRelease(BaseModel):
    """When one sensitive fact may be told, where it differs from the house's window."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    from_: dt.time = Field(
        alias="from", description="Local time from which it may be told, such as 15:00."
    )
    days_before: int = Field(
        default=0, ge=0, le=60, description="Days before arrival on which that is; 0 is the day."
    )
    until: dt.time | None = Field(
        default=None, description="Local time on departure day; the house's check-out if left out."
    )


class FeedSettings(BaseModel):
    """One iCalendar feed of a house's bookings."""

    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True)

    name: str = Field(
        pattern=r"^[a-z0-9][a-z0-9-]{0,48}$",
        description="What logs and pages call it; its address is never shown.",
    )
    url: str | None = Field(
        default=None, repr=False, description="https://, http:// or file:// address."
    )
    url_env: str | None = Field(
        default=None, description="Environment variable that holds the address instead."
    )
    blocked: Pattern = Field(
        default=r"\b(not available|unavailable|blocked|closed)\b",
        description="Events whose summary matches are days without a guest, in any case.",
    )
    nameless: Pattern = Field(
        default=r"^\s*(reserved|booked|booking|reservation|occupied|busy)\b",
        description="Summaries that match hold no guest's name, in any case.",
    )
    guest: Pattern | None = Field(
        default=None,
        description="Finds the guest's name in a summary: its group `guest`, or all of it.",
    )
    phone: Pattern = Field(
        default=r"\b(phone|tel|telephone|mobile|cell|telefon|handy)\b",
        description="Lines of the description that match may hold the guest's number.",
    )
    uids: Literal["steady", "changing"] = Field(
        default="steady",
        description="changing: the feed gives a booking a new UID now and then, so that one with "
        "the same dates is the same stay.",
    )
    missing_readings: int = Field(
        default=3, ge=1, le=100, description="Good readings without a stay before it is cancelled."
    )
    missing_hours: float = Field(
        default=12, gt=0, le=720, description="Hours that these must cover, at least."
    )
    timeout_s: float = Field(default=20, gt=0, le=300, description="Seconds for a whole reading.")
    size_limit_bytes: int = Field(
        default=2_000_000, ge=1_000, le=50_000_000, description="A longer feed is refused."
    )

    @model_validator(mode="after")
    def _one_address(self) -> FeedSettings:
        if (self.url is None) == (self.url_env is None):
            raise ValueError("give the address as url or, better, in url_env; one of them")
        return self

    def address(self, environment: Mapping[str, str] = os.environ) -> str:
        """The feed's address, which is a secret.

        Raises:
            SettingsError: The variable is not set, or holds no address that can be read.
        """
        address = self.url or environment.get(self.url_env or "", "")
        if not address:
            raise SettingsError(f"feed {self.name}: the variable {self.url_env} is not set; set it")
        if not address.startswith(("https://", "http://", "file://")):
            raise SettingsError(
                f"feed {self.name}: its address must begin with https://, http:// or file://"
            )
        return address


class StayRules(BaseModel):
    """A house's rules for stays: windows, how long a number is known, feeds."""

    model_config = ConfigDict(extra="forbid", frozen=True, hide_input_in_errors=True)

    release_from: dt.time = Field(
        default=dt.time(8),
        description="Local time on arrival day from which sensitive facts may be told.",
    )
    release_until: dt.time | None = Field(
        default=None,
        description="Local time on departure day until which; check-out if left out.",
    )
    release_facts: dict[str, FactRelease] = Field(
        default_factory=dict, description="Windows of single sensitive facts, by the fact's id."
    )
    area: str | None = Field(
        default=None,
        max_length=100,
        description="Where the house is, as guests say it; they are asked for it where a line "
        "serves several houses.",
    )
    also_called: tuple[str, ...] = Field(
        default=(), description="Other words for the area that guests use."
    )
    early_days: int = Field(
        default=365, ge=0, le=1000, description="Days before arrival from which a guest is known."
    )
    after_days: int = Field(
        default=14, ge=0, le=1000, description="Days after departure for which a guest is known."
    )
    feeds: tuple[FeedSettings, ...] = Field(default=(), description="iCalendar feeds of bookings.")

    @model_validator(mode="after")
    def _names_differ(self) -> StayRules:
        names = [feed.name for feed in self.feeds]
        if len(set(names)) < len(names):
            raise ValueError("two feeds have the same name; give each its own")
        return self


_DEFAULT = StayRules()


def rules_of(slug: str, rules: Mapping[str, StayRules]) -> StayRules:
    """The rules of a house; the defaults where it has none."""
    return rules.get(slug, _DEFAULT)

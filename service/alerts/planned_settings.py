"""A message that each stay gets at a set time: when, and from which template."""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from service.lines.templates import check_template

__all__ = ["NAMES", "PlannedMessage"]

NAMES = frozenset({"fact", "stay", "house", "check_in", "check_out"})
"""What a template may use; `filling.py` says what each is."""


def _template(value: str) -> str:
    return check_template(value, NAMES)


Template = Annotated[str, Field(min_length=1, max_length=3000), AfterValidator(_template)]


class PlannedMessage(BaseModel):
    """One planned message of a house."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    name: str = Field(
        pattern=r"^[a-z0-9]+(-[a-z0-9]+)*$",
        max_length=50,
        description="Of your choice; a stay gets the message of one name once.",
    )
    day: Literal["arrival", "departure"]
    days: int = Field(
        default=0, ge=-60, le=60, description="Days after it; before it where negative."
    )
    at: dt.time = Field(description="Local time, such as 09:00.")
    text: Template
    texts: dict[str, Template] = Field(
        default_factory=dict, description="The same in other languages, by ISO 639-1 code."
    )

    @model_validator(mode="after")
    def _local(self) -> Self:
        if self.at.tzinfo is not None:
            raise ValueError("at is a local time of the house: leave the offset out")
        return self

    def template(self, language: str) -> str:
        """The template for a guest who writes in that language."""
        return self.texts.get(language, self.text)

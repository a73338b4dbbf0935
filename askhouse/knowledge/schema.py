"""The shape of the house files, in pydantic.

The second step of loading: what a file says is held against one of these
models. Nothing beyond their fields is taken, so that a misspelt `sensitve`
can never leave a door code open. The descriptions and examples are what
`knowledge/README.md` is generated from.
"""

from __future__ import annotations

import datetime as dt
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    field_validator,
    model_validator,
)

from askhouse.knowledge.checks import (
    amiss,
    checked_country,
    checked_date,
    checked_emergency_number,
    checked_id,
    checked_phone,
    checked_text,
    checked_time,
    checked_timezone,
    checked_url,
    media_start_s,
    season_day,
)
from askhouse.values import Media, Season

__all__ = [
    "FIELD_NAMES",
    "FactFile",
    "FileModel",
    "HouseFile",
    "MediaFile",
    "NoteHead",
    "SeasonFile",
    "Text",
]

Text = Annotated[str, AfterValidator(checked_text)]
Id = Annotated[str, AfterValidator(checked_id)]
Day = Annotated[dt.date, BeforeValidator(checked_date)]


class FileModel(BaseModel):
    """What all parts of a house file share: strict, closed, unchanging."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, populate_by_name=False)


class SeasonFile(FileModel):
    """When a fact holds; outside of it, guests do not get it."""

    first: Text = Field(
        alias="from",
        description="First day, as month and day for every year or as a full date.",
        examples=['"11-01"'],
    )
    last: Text = Field(
        alias="to",
        description="Last day, in the same form; it belongs to it.",
        examples=['"03-31"'],
    )

    @field_validator("first", "last")
    @classmethod
    def _is_a_day(cls, text: str) -> str:
        season_day(text)
        return text

    @model_validator(mode="after")
    def _fits_together(self) -> SeasonFile:
        (first, yearly), (last, last_yearly) = season_day(self.first), season_day(self.last)
        if yearly != last_yearly:
            raise amiss(
                "mixes a day of every year with a full date.",
                'Write both as "11-01" or both as "2026-11-01".',
            )
        if not yearly and last < first:
            raise amiss("ends before it begins.", "Swap the two, or mend the year.")
        return self

    def season(self) -> Season:
        """The season as it flows through Askhouse."""
        (first, yearly), (last, _) = season_day(self.first), season_day(self.last)
        return Season(first=first, last=last, yearly=yearly)


class MediaFile(FileModel):
    """A picture, film or sound that shows it."""

    url: Annotated[Text, AfterValidator(checked_url)] = Field(
        description="The link, with https://.", examples=['"https://media.example/boiler.mp4"']
    )
    start: Text | None = Field(
        None,
        description="Where a film begins to be of use: seconds, or minutes and seconds "
        "(Normal Play Time of W3C Media Fragments).",
        examples=['"1:30"'],
    )

    @field_validator("start")
    @classmethod
    def _is_a_time(cls, text: str | None) -> str | None:
        if text is not None:
            media_start_s(text)
        return text

    def media(self) -> Media:
        """The link as it flows through Askhouse."""
        return Media(self.url, None if self.start is None else media_start_s(self.start))


class About(FileModel):
    """The fields that facts and notes share."""

    asks: list[Text] = Field(
        [],
        description="Ways in which guests ask for it.",
        examples=['["where is the stopcock", "how do I turn the water off"]'],
    )
    cautions: list[Text] = Field(
        [],
        description="What is said whenever the fact is said.",
        examples=['["The pipe beside it is hot."]'],
    )
    caution: Text | None = Field(
        None,
        description="The same for a single sentence.",
        examples=['"The pipe beside it is hot."'],
    )
    sensitive: bool = Field(
        False,
        description="True for a code or password: only a verified guest gets it.",
        examples=["true"],
    )
    emergency_help: bool = Field(
        False,
        description="True for what helps in an emergency: an exit, a shut-off, a meeting point. "
        "It is your own mark: the reply to an emergency holds reviewed words alone, and guests "
        "get the fact when they ask for it.",
        examples=["true"],
    )
    place: Text | None = Field(
        None, description="Where in the house it is about.", examples=['"kitchen"']
    )
    verified_on: Day | None = Field(
        None,
        description="The day on which you last made sure that it is true.",
        examples=["2026-03-14"],
    )
    season: SeasonFile | None = Field(
        None,
        description="When it holds; left out, it always holds.",
        examples=['{from: "11-01", to: "03-31"}'],
    )
    related: list[Id] = Field(
        [],
        description="Ids of facts and notes of this house about the same thing.",
        examples=["[boiler, water-meter]"],
    )
    media: MediaFile | None = Field(
        None,
        description="A picture, film or sound that shows it.",
        examples=['{url: "https://media.example/stopcock.mp4", start: "1:30"}'],
    )


class FactFile(About):
    """One fact, in `house.yaml` under `facts`, or in the list of a file in `facts/`."""

    id: Id = Field(
        description="Its name in lower case, digits and hyphens; no other fact or note of the "
        "house has it.",
        examples=["stopcock"],
    )
    topic: Text = Field(
        description="Your own grouping. In a file of `facts/` it may be left out: it is then the "
        "file's name.",
        examples=["water"],
    )
    text: Text = Field(
        description="The sentence or sentences a guest may read.",
        examples=['"The stopcock is under the kitchen sink; turn it right to close it."'],
    )
    title: Text | None = Field(
        None,
        description="A few words; left out, they are made from the id.",
        examples=['"Stopcock"'],
    )


class NoteHead(About):
    """The front matter of a how-to note, between two lines of three dashes."""

    title: Text = Field(description="What the note shows.", examples=['"Light the stove"'])
    topic: Text = Field(description="Your own grouping.", examples=["heating"])


class HouseFile(FileModel):
    """The house itself, in `<house>.yaml` or in `house.yaml` of the house's folder."""

    slug: Id = Field(
        description="Its name for the computer in lower case, digits and hyphens; no other house "
        "has it.",
        examples=["orchard-barn"],
    )
    name: Text = Field(description="Its name for guests.", examples=['"Orchard Barn"'])
    kind: Text = Field(description="What sort of house it is.", examples=['"converted barn"'])
    country: Annotated[str, AfterValidator(checked_country)] = Field(
        description="Its country, two capital letters of ISO 3166-1.", examples=["GB"]
    )
    timezone: Annotated[str, AfterValidator(checked_timezone)] = Field(
        description="Its time zone, by its IANA name.", examples=["Europe/London"]
    )
    units: Literal["metric", "imperial"] = Field(
        description="The measures in which the house speaks.", examples=["metric"]
    )
    check_in: dt.time = Field(
        description="The earliest arrival, local time: 24-hour clock, or with am or pm.",
        examples=['"16:00"'],
    )
    check_out: dt.time = Field(
        description="The latest departure, local time: 24-hour clock, or with am or pm.",
        examples=['"10:00"'],
    )
    emergency_number: str = Field(
        description="What a guest dials in an emergency. It must be an emergency number of the "
        "country.",
        examples=['"999"'],
    )
    call_back: Text | None = Field(
        None,
        description="Your phone number for urgent calls, with country code or as dialled in the "
        "country.",
        examples=['"+44 20 7946 0123"'],
    )
    greeting: Text | None = Field(
        None, description="The first line of a full reply.", examples=['"Hello from the barn,"']
    )
    sign_off: Text | None = Field(
        None, description="The last line of a full reply.", examples=['"Ada and Tom"']
    )
    values: dict[str, Any] = Field(
        {},
        description="What is written once and named in texts, see below.",
        examples=["{wifi_name: OrchardBarn}"],
    )

    @field_validator("check_in", "check_out", mode="before")
    @classmethod
    def _is_a_time(cls, value: object) -> object:
        return checked_time(value) if isinstance(value, str) else value

    @field_validator("emergency_number")
    @classmethod
    def _is_of_the_country(cls, text: str, info: ValidationInfo) -> str:
        country = info.data.get("country")
        return text if country is None else checked_emergency_number(text, country)

    @field_validator("call_back")
    @classmethod
    def _is_a_number(cls, text: str | None, info: ValidationInfo) -> str | None:
        return None if text is None else checked_phone(text, info.data.get("country"))


FIELD_NAMES = frozenset({"facts"}) | {
    field.alias or name
    for model in (HouseFile, FactFile, NoteHead, SeasonFile, MediaFile)
    for name, field in model.model_fields.items()
}
"""Every name a line of a house file can have, but for those of values."""

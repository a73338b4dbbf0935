"""The shape of stays as JSON; the door code goes in and never out."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated, Any

from pydantic import AwareDatetime, BaseModel, BeforeValidator, ConfigDict, Field

from askhouse.values import House
from service.stays.csv_file import Imported
from service.stays.drafts import MOST_CHARACTERS, MOST_CODE_CHARACTERS, Draft
from service.stays.release import window
from service.stays.settings import StayRules
from service.stays.stays import draft_of
from service.tables import Stay

__all__ = ["ImportDone", "NewStay", "StayChange", "StayList", "StayOut"]


def _written(value: object) -> object:
    """A text as RFC 3339 writes it; pydantic alone also takes seconds since 1970."""
    if not isinstance(value, str) or not re.match(r"\d{4}-\d{2}-\d{2}", value, re.ASCII):
        raise ValueError("is written as 2026-11-25, a time as 2026-11-25T08:00:00+01:00")
    return value


Day = Annotated[dt.date, BeforeValidator(_written)]
Moment = Annotated[AwareDatetime, BeforeValidator(_written)]
Name = Annotated[str, Field(max_length=MOST_CHARACTERS)]

_RELEASE = "Overrides {} of the release window of the house, for this stay."


class StayChange(BaseModel):
    """A stay's particulars, all of them; what is left out is emptied, but for the door code."""

    model_config = ConfigDict(extra="forbid", title="Stay's particulars")

    arrival: Day = Field(title="Arrival", description="First day, by the house's clocks.")
    departure: Day = Field(title="Departure", description="Day on which the guests leave.")
    guests: list[Name] = Field(
        default_factory=list, max_length=30, title="Guests", description="Their names."
    )
    phones: list[Name] = Field(
        default_factory=list,
        max_length=30,
        title="Telephones",
        description="Numbers that they text from; without + as the house's country dials them.",
        examples=[["+44 20 7946 0018"]],
    )
    door_code: str | None = Field(
        default=None,
        max_length=MOST_CODE_CHARACTERS,
        title="Door code",
        description="Their own, if they have one. Left out it stays as it is; null takes it away.",
    )
    release_from: Moment | None = Field(
        default=None, title="Release from", description=_RELEASE.format("the start")
    )
    release_until: Moment | None = Field(
        default=None, title="Release until", description=_RELEASE.format("the end")
    )

    def draft(self, stay: Stay) -> Draft:
        """What the stay is to become."""
        fields = self.model_dump(include=_OWN)
        if "door_code" not in self.model_fields_set:
            fields["door_code"] = stay.door_code
        return Draft(house=stay.house, **_tuples(fields))


class NewStay(StayChange):
    """A stay to add."""

    model_config = ConfigDict(extra="forbid", title="New stay")

    house: str = Field(max_length=100, title="House", description="The house's slug.")
    reference: str | None = Field(
        default=None,
        max_length=MOST_CHARACTERS,
        title="Reference",
        description="Your name for the booking; the same again changes the same stay. Made of the "
        "dates if left out.",
    )

    def new(self) -> Draft:
        """The stay as entered."""
        fields = self.model_dump(include=_OWN)
        return Draft(house=self.house, reference=self.reference, **_tuples(fields))


_OWN = set(StayChange.model_fields)


def _tuples(fields: dict[str, Any]) -> dict[str, Any]:
    return {k: tuple(v) if isinstance(v, list) else v for k, v in fields.items()}


class StayOut(BaseModel):
    """A stay as it is stored."""

    model_config = ConfigDict(title="Stay")

    id: int = Field(title="Id", description="As the routes of one stay take it.")
    house: str = Field(title="House", description="The house's slug.")
    reference: str = Field(title="Reference", description="Yours, or the feed's.")
    feed: str | None = Field(title="Feed", description="The feed it is from; null if entered.")
    guests: list[str] = Field(title="Guests", description="Their names.")
    phones: list[str] = Field(title="Telephones", description="Their numbers, E.164.")
    arrival: dt.date = Field(title="Arrival", description="First day.")
    departure: dt.date = Field(title="Departure", description="Day on which the guests leave.")
    has_door_code: bool = Field(title="Has a door code", description="Whether they have their own.")
    release_start: dt.datetime = Field(
        title="Release start", description="From then on sensitive facts may be told to them."
    )
    release_end: dt.datetime = Field(title="Release end", description="Until then.")
    cancelled_at: dt.datetime | None = Field(title="Cancelled at", description="null: it stands.")

    @classmethod
    def of(cls, stay: Stay, house: House, rules: StayRules) -> StayOut:
        """The stay as the interface shows it."""
        draft, release = draft_of(stay), window(stay, house, rules)
        return cls(
            id=stay.id,
            house=stay.house,
            reference=stay.uid,
            feed=stay.feed or None,
            guests=list(draft.guests),
            phones=list(draft.phones),
            arrival=stay.arrival,
            departure=stay.departure,
            has_door_code=stay.door_code is not None,
            release_start=release.start,
            release_end=release.end,
            cancelled_at=stay.cancelled_at,
        )


class StayList(BaseModel):
    """Stays by arrival."""

    model_config = ConfigDict(title="Stays")

    stays: list[StayOut] = Field(title="Stays", description="By arrival.")
    more: bool = Field(title="More", description="Whether there are more after these.")


class ImportDone(BaseModel):
    """What an import did."""

    model_config = ConfigDict(title="Import")

    added: int = Field(title="Added", description="Stays that were new.")
    changed: int = Field(title="Changed", description="Stays that were otherwise before.")
    same: int = Field(title="Same", description="Stays that were as the file says.")

    @classmethod
    def of(cls, imported: Imported) -> ImportDone:
        """The import as the interface tells it."""
        return cls(added=imported.added, changed=imported.changed, same=imported.same)

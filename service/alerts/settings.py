"""Who is alerted when: the section `alerts` and the alerts' part of `houses.SLUG` in the service's
file; gathered with `contacts` and `mail` into `AlertSettings`.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from askhouse.errors import SettingsError
from service.alerts.contact_settings import (
    Contact,
    EmailContact,
    MailSettings,
    Name,
    Section,
    Web,
)
from service.alerts.planned_settings import PlannedMessage

__all__ = [
    "AlertRules",
    "AlertSettings",
    "GeneralAlerts",
    "HouseAlerts",
    "QuietHours",
    "Rung",
    "read_alert_settings",
]

Minutes = Annotated[float, Field(gt=0, le=10_080)]


class Rung(Section):
    """Contacts that are told together, and how long they have before the next ones are."""

    contacts: tuple[Name, ...] = Field(min_length=1, max_length=20)
    wait_minutes: Minutes = 10


class QuietHours(Section):
    """Local times between which only what cannot wait alerts; `to` may be on the next day."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)

    from_: dt.time = Field(alias="from")
    to: dt.time
    wakes: Literal["emergency", "urgent"] = Field(
        default="urgent",
        description="The least level that alerts all the same; someone locked out always does.",
    )

    @model_validator(mode="after")
    def _some_time(self) -> Self:
        if self.from_ == self.to:
            raise ValueError("from and to are the same time; leave quiet_hours out to have none")
        return self


class AlertRules(BaseModel):
    """A ladder and its times."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    ladder: tuple[Rung, ...] = Field(default=(), max_length=20)
    quiet_hours: QuietHours | None = None
    again_minutes: Minutes = Field(
        default=10, description="After the last rung, until the first is told again."
    )
    soon_wait_minutes: Minutes = Field(
        default=120, description="Between rungs for what can wait, at least."
    )
    soon_again_minutes: Minutes = Field(
        default=1440, description="The same as again_minutes, for what can wait."
    )


class HouseAlerts(AlertRules):
    """The alerts' part of a house; without a ladder, it has that of `alerts`, with its times."""

    planned: tuple[PlannedMessage, ...] = Field(
        default=(), description="Messages that each stay gets at a set time."
    )

    @model_validator(mode="after")
    def _names_differ(self) -> Self:
        names = [message.name for message in self.planned]
        if len(set(names)) < len(names):
            raise ValueError("planned: two messages have the same name; give each its own")
        return self


class GeneralAlerts(AlertRules):
    """The section `alerts`: for messages of no house, and for houses without a ladder."""

    base_url: Web | None = Field(
        default=None, description="Where the service is reached, for links in alerts."
    )
    take_code: bool = Field(
        default=False,
        description="Whether TAKE by text message needs the six digits that the alert's text "
        "names: a sender's number can be forged.",
    )


class AlertSettings(Section):
    """All of the alerts' settings."""

    contacts: dict[Name, Contact] = Field(default_factory=dict)
    mail: MailSettings | None = None
    alerts: GeneralAlerts = GeneralAlerts()
    houses: dict[str, HouseAlerts] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        missing = [
            f"{where}: there is no contact {name}; name one of the section contacts, or add it"
            for where, name in self._named()
            if name not in self.contacts
        ]
        if self.mail is None and any(isinstance(c, EmailContact) for c in self.contacts.values()):
            missing.append("mail: contacts get e-mail; set host, sender and how to sign in")
        if missing:
            raise ValueError("; ".join(missing))
        return self

    def _named(self) -> Iterator[tuple[str, str]]:
        ladders: dict[str, AlertRules] = {"alerts": self.alerts} | {
            f"houses.{slug}": house for slug, house in self.houses.items()
        }
        for section, rules in ladders.items():
            for place, rung in enumerate(rules.ladder):
                for name in rung.contacts:
                    yield f"{section}.ladder[{place}].contacts", name

    def rules_of(self, slug: str | None) -> AlertRules:
        """The ladder of a house, or of messages of no house.

        Where the latter have none, the ladders of all houses are climbed together.
        """
        own = self.houses.get(slug) if slug is not None else None
        if own is not None and own.ladder:
            return own
        if self.alerts.ladder or slug is not None:
            return self.alerts
        ladders = [house.ladder for house in self.houses.values()]
        steps = [
            [ladder[place] for ladder in ladders if place < len(ladder)]
            for place in range(max(map(len, ladders), default=0))
        ]
        together = tuple(
            Rung.model_construct(
                contacts=tuple(dict.fromkeys(name for rung in rungs for name in rung.contacts)),
                wait_minutes=min(rung.wait_minutes for rung in rungs),
            )
            for rungs in steps
        )
        return self.alerts.model_copy(update={"ladder": together})


def read_alert_settings(sections: Mapping[str, Any]) -> AlertSettings:
    """The settings out of the file's sections.

    Raises:
        SettingsError: Something cannot be used; names every field and how to mend it.
    """
    try:
        return AlertSettings.model_validate(sections)
    except ValidationError as error:
        raise SettingsError("; ".join(_problem(fault) for fault in error.errors())) from error


_CHANNELS = ("apprise", "webhook", "email", "line")  # pydantic names which kind of contact it took


def _problem(fault: Any) -> str:
    # What was written is not repeated: it may be a secret in the wrong place.
    steps = [step for step in fault["loc"] if step not in _CHANNELS]
    where = ".".join(str(step) for step in steps)
    said = str(fault["msg"]).removeprefix("Value error, ")
    return f"{where}: {said}" if where else said

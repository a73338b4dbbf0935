"""The shape of alerts as JSON."""

from __future__ import annotations

import datetime as dt

from pydantic import BaseModel, ConfigDict, Field, field_validator
from sqlalchemy.orm import Session

from service.alerts.people import name_of
from service.alerts.take import Answered, Taken
from service.tables import Escalation, EscalationState

__all__ = ["AlertAnswer", "AlertAnswered", "AlertList", "AlertOut", "AlertTaken"]


class AlertOut(BaseModel):
    """Something that needs the host."""

    model_config = ConfigDict(title="Alert")

    id: int = Field(title="Id", description="As the routes of one alert take it.")
    house: str | None = Field(title="House", description="Its slug; null where none is settled.")
    kind: str = Field(
        title="Kind",
        description="safety, lockout, damage, request, complaint; or gap, code, unread, delivery, "
        "flood, houses.",
    )
    level: str = Field(title="Level", description="emergency, urgent or soon.")
    state: EscalationState = Field(title="State", description="How far it is.")
    summary: str = Field(title="Summary", description="The guest's words, shortened.")
    rungs_told: int = Field(title="Rungs told", description="In all rounds of the ladder.")
    next_at: dt.datetime | None = Field(
        title="Next at", description="When the next contacts are told; null once it is taken."
    )
    created_at: dt.datetime = Field(title="Created at", description="When it was raised, UTC.")
    taken_at: dt.datetime | None = Field(title="Taken at", description="null: by nobody yet.")
    taken_by: str | None = Field(title="Taken by", description="Name of who has it.")
    answered_at: dt.datetime | None = Field(title="Answered at", description="null: not yet.")
    closed_at: dt.datetime | None = Field(title="Closed at", description="null: not yet.")

    @classmethod
    def of(cls, session: Session, alert: Escalation) -> AlertOut:
        """The alert as the interface shows it."""
        return cls(
            id=alert.id,
            house=alert.house,
            kind=alert.kind,
            level=alert.level,
            state=EscalationState(alert.state),
            summary=alert.summary,
            rungs_told=alert.rung,
            next_at=alert.next_at,
            created_at=alert.created_at,
            taken_at=alert.taken_at,
            taken_by=name_of(session, alert.taken_by) if alert.taken_by is not None else None,
            answered_at=alert.answered_at,
            closed_at=alert.closed_at,
        )


class AlertList(BaseModel):
    """Alerts, the most urgent first, and of these the oldest."""

    model_config = ConfigDict(title="Alerts")

    alerts: list[AlertOut] = Field(title="Alerts", description="At most as many as asked for.")
    more: bool = Field(title="More", description="Whether there are more after these.")


class AlertTaken(BaseModel):
    """What came of taking an alert."""

    model_config = ConfigDict(title="Alert taken")

    done: bool = Field(title="Done", description="It was open, and is yours now.")
    yours: bool = Field(title="Yours", description="You have it, now or since before.")
    alert: AlertOut = Field(title="Alert", description="`taken_by` says who has it.")

    @classmethod
    def of(cls, session: Session, taken: Taken) -> AlertTaken:
        """What came of it, as the interface tells it."""
        return cls(done=taken.done, yours=taken.yours, alert=AlertOut.of(session, taken.alert))


class AlertAnswer(BaseModel):
    """The host's words for the guest."""

    model_config = ConfigDict(extra="forbid", title="Answer to an alert")

    text: str = Field(
        min_length=1, max_length=1600, title="Text", description="What the guest is to read."
    )
    key: str | None = Field(
        default=None,
        max_length=200,
        title="Key",
        description="The same key again sends nothing; without one, the same words.",
    )

    @field_validator("text")
    @classmethod
    def _some(cls, value: str) -> str:
        # Halves of a surrogate pair and NUL are in no text that a database or a gateway takes.
        if not value.strip() or "\x00" in value or (not value.isascii() and _broken(value)):
            raise ValueError("is some text, without NUL and without half characters")
        return value


def _broken(value: str) -> bool:
    return any("\ud800" <= character <= "\udfff" for character in value)


class AlertAnswered(BaseModel):
    """The answer on its way, and what it would take to keep it as a fact."""

    model_config = ConfigDict(title="Alert answered")

    delivery: int = Field(title="Delivery", description="Id of the message to the guest.")
    house: str | None = Field(title="House", description="Its slug; null where none is settled.")
    questions: list[str] = Field(
        title="Questions", description="What the guest asked, for a fact that answers it."
    )
    alert: AlertOut = Field(title="Alert", description="As it is now.")

    @classmethod
    def of(cls, session: Session, answered: Answered) -> AlertAnswered:
        """The answer as the interface tells it."""
        return cls(
            delivery=answered.delivery_id,
            house=answered.house,
            questions=list(answered.questions),
            alert=AlertOut.of(session, answered.alert),
        )

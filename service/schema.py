"""The shape of what comes in and goes out as JSON, in pydantic; it is the interface's description.

The members of a reply have the names that `askhouse ask --json` gives them.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from typing import Annotated

from fastapi.openapi.models import Example
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StrictBool

from askhouse.parts.clean import MAX_CHARACTERS
from askhouse.values import Hazard, House, Kind, Level, Message, Outcome, Reply, ReplyPart, Turn

__all__ = [
    "ASKED",
    "CitedFact",
    "DraftPart",
    "DraftReply",
    "EarlierMessage",
    "Fault",
    "HouseList",
    "HouseSummary",
    "ProblemDetails",
    "ProblemList",
    "ProblemSummary",
    "ReplyRequest",
    "State",
]

MOST_TURNS = 50

_FULL_DATE = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)


def _full_date(value: object) -> object:
    """An RFC 3339 full-date and nothing else; pydantic alone also takes seconds since 1970."""
    if value is None or isinstance(value, dt.date):
        return value
    if not isinstance(value, str) or not _FULL_DATE.fullmatch(value):
        raise ValueError("a date is written as 2026-11-25")
    return value


class EarlierMessage(BaseModel):
    """One earlier message of the same guest."""

    model_config = ConfigDict(extra="forbid")

    text: str = Field(
        title="Text",
        description="What the guest wrote then.",
        max_length=MAX_CHARACTERS,
        examples=["Where is the trailer?"],
    )

    def turn(self) -> Turn:
        return Turn(text=self.text)


class ReplyRequest(BaseModel):
    """A guest's message, and what the caller knows about it."""

    model_config = ConfigDict(
        extra="forbid",  # a misspelt "verified" must not pass for an unverified guest
        title="Reply request",
    )

    house: str = Field(
        title="House",
        description="The slug of the house the guest writes about, as GET /v1/houses names it.",
        max_length=100,
        examples=["orchard-barn"],
    )
    text: str = Field(
        title="Text",
        description=(
            "The message as received, in the guest's own words, with one question or several. "
            f"At least one readable character, at most {MAX_CHARACTERS}."
        ),
        # The engine holds to these bounds and says in its own words what is wrong; here they
        # are only told, so that there is one rule.
        json_schema_extra={"minLength": 1, "maxLength": MAX_CHARACTERS},
        examples=["How do I turn on the oven, and when do we have to leave?"],
    )
    verified: StrictBool = Field(
        default=False,
        title="Verified",
        description=(
            "Your word that the sender is a guest of this house, inside the stay. Askhouse cannot "
            "see who writes and believes you: say true only after you have matched the sender's "
            "number or account with a booking. With false, no code and no password is in the "
            "answer, whatever the message says about its sender."
        ),
    )
    thread: list[EarlierMessage] = Field(
        default_factory=list,
        title="Thread",
        description=(
            "Earlier messages of the same guest, oldest first, so that “and the password?” can be "
            "understood."
        ),
        max_length=MOST_TURNS,
    )
    day: Annotated[dt.date | None, BeforeValidator(_full_date)] = Field(
        default=None,
        title="Day",
        description=(
            "The date at the house when the message was written. Facts out of season on it are "
            "left out; without it, facts of every season may answer."
        ),
        examples=["2026-11-25"],
    )

    def message(self) -> Message:
        """The message as the engine takes it."""
        return Message(
            text=self.text,
            verified=self.verified,
            thread=tuple(earlier.turn() for earlier in self.thread),
            day=self.day,
        )


class CitedFact(BaseModel):
    """A fact that an answer rests on."""

    model_config = ConfigDict(title="Cited fact")

    id: str = Field(title="Id", description="Unique within the house.", examples=["oven"])
    title: str = Field(title="Title", description="A few words.", examples=["The oven"])
    written: str = Field(
        title="Written",
        description="The file, relative to the folder of the houses, and the line.",
        examples=["orchard-barn/facts/kitchen.yaml:12"],
    )
    verified_on: dt.date | None = Field(
        title="Verified on",
        description="The day on which the host last made sure of it; null for never.",
    )


class DraftPart(BaseModel):
    """One question or report of the message: what was decided about it, and why."""

    model_config = ConfigDict(title="Draft part")

    text: str = Field(title="Text", description="The guest's words of this part.")
    language: str = Field(
        title="Language", description="The part's language, ISO 639-1.", examples=["en"]
    )
    outcome: Outcome = Field(
        title="Outcome",
        description=(
            "`answer`: facts answer it. `gap`: no fact does, the host should write one. "
            "`escalate`: the host must act, for the reason in `kind`. `chat`: it asks for nothing."
        ),
    )
    kind: Kind | None = Field(
        title="Kind", description="Why it goes to the host; set when `outcome` is `escalate`."
    )
    level: Level | None = Field(
        title="Level", description="How fast an alarm must reach someone; null where there is none."
    )
    hazard: Hazard | None = Field(
        title="Hazard", description="What may hurt someone; null where nothing does."
    )
    confidence: float = Field(
        title="Confidence",
        description="The calibrated probability that the outcome is right; larger is surer.",
        ge=0,
        le=1,
    )
    reason: str = Field(title="Reason", description="One sentence for the host.")
    reply: str = Field(title="Reply", description="What the full reply says about this part.")
    facts: list[CitedFact] = Field(
        title="Facts", description="The facts behind an answer, best first; else none."
    )

    @classmethod
    def of(cls, part: ReplyPart) -> DraftPart:
        """The part as JSON."""
        decision = part.decision
        return cls(
            text=part.part.text,
            language=part.part.language,
            outcome=decision.outcome,
            kind=decision.kind,
            level=decision.alarm.level if decision.alarm else None,
            hazard=decision.alarm.hazard if decision.alarm else None,
            confidence=round(decision.confidence, 4),
            reason=decision.reason,
            reply=part.text,
            facts=[
                CitedFact(
                    id=citation.fact_id,
                    title=citation.title,
                    written=str(citation.source),
                    verified_on=citation.verified_on,
                )
                for citation in part.citations
            ],
        )


class DraftReply(BaseModel):
    """A draft reply to a whole message, in two lengths, and how each part of it came about."""

    model_config = ConfigDict(title="Draft reply")

    house: str = Field(title="House", description="The slug of the house.")
    full: str = Field(title="Full", description="The reply to paste, with greeting and sign-off.")
    short: str = Field(title="Short", description="The same for a text message.")
    parts: list[DraftPart] = Field(title="Parts", description="In the guest's order.", min_length=1)

    @classmethod
    def of(cls, reply: Reply) -> DraftReply:
        """The reply as JSON."""
        return cls(
            house=reply.house,
            full=reply.full,
            short=reply.short,
            parts=[DraftPart.of(part) for part in reply.parts],
        )


class HouseSummary(BaseModel):
    """A house that can be asked about."""

    slug: str = Field(title="Slug", description="Its name in requests.", examples=["orchard-barn"])
    name: str = Field(title="Name", description="Its name for people.", examples=["Orchard Barn"])
    country: str = Field(title="Country", description="ISO 3166-1 alpha-2.", examples=["GB"])
    timezone: str = Field(
        title="Time zone",
        description="IANA name; the time at the house.",
        examples=["Europe/London"],
    )
    facts: int = Field(title="Facts", description="How many facts and notes it holds.", ge=0)

    @classmethod
    def of(cls, house: House) -> HouseSummary:
        """What is told of a house to whoever may ask."""
        return cls(
            slug=house.slug,
            name=house.name,
            country=house.country,
            timezone=house.timezone,
            facts=len(house.facts),
        )


class HouseList(BaseModel):
    """All houses that can be asked about."""

    model_config = ConfigDict(title="House list")

    houses: list[HouseSummary] = Field(title="Houses", description="In the order of their slugs.")


class State(BaseModel):
    """Whether the service lives, or is ready."""

    status: str = Field(title="Status", description="`live` or `ready`.", examples=["ready"])


class Fault(BaseModel):
    """One thing that is wrong with a request."""

    detail: str = Field(title="Detail", description="What is wrong with it.")
    pointer: str | None = Field(
        default=None,
        title="Pointer",
        description="JSON Pointer (RFC 6901) into the body, as a URI fragment.",
        examples=["#/verified"],
    )


class ProblemDetails(BaseModel):
    """An error, in the shape of RFC 9457."""

    model_config = ConfigDict(title="Problem details")

    type: str = Field(
        title="Type",
        description="URI reference of the kind of problem; the service explains it there.",
        examples=["/problems#unknown-house"],
    )
    title: str = Field(title="Title", description="The kind of problem in a few words.")
    status: int = Field(title="Status", description="The HTTP status.", ge=400, le=599)
    detail: str = Field(title="Detail", description="What is wrong this time, or how to mend it.")
    instance: str | None = Field(
        default=None,
        title="Instance",
        description="The request's id as a URN; the log has it too, and the header X-Request-ID.",
        examples=["urn:uuid:6f2c1a52-8d0e-4d5b-9a75-3a1f6f1f0b11"],
    )
    errors: Sequence[Fault] | None = Field(
        default=None, title="Errors", description="Each thing that is wrong, of an invalid request."
    )


class ProblemSummary(BaseModel):
    """A kind of problem, explained."""

    model_config = ConfigDict(title="Problem summary")

    type: str = Field(
        title="Type",
        description="As problems name it.",
        examples=["/problems#unknown-house"],
    )
    status: int = Field(title="Status", description="The HTTP status.", ge=400, le=599)
    title: str = Field(title="Title", description="What is wrong.")
    mend: str = Field(title="Mend", description="What to do about it.")


class ProblemList(BaseModel):
    """All kinds of problems that have a name of their own."""

    model_config = ConfigDict(title="Problem list")

    problems: list[ProblemSummary] = Field(title="Problems", description="Each kind once.")


ASKED: dict[str, Example] = {
    "two questions": {
        "summary": "Two questions in one message",
        "value": {
            "house": "orchard-barn",
            "text": "How do I turn on the oven, and when do we have to leave?",
        },
    },
    "a code": {
        "summary": "A guest whom the caller has matched with a booking asks for a code",
        "value": {
            "house": "orchard-barn",
            "text": "What is the code of the key safe?",
            "verified": True,
        },
    },
    "a follow-up": {
        "summary": "A follow-up that only the thread explains",
        "value": {
            "house": "harbour-flat",
            "text": "And when does it close?",
            "thread": [{"text": "Where is the laundry room?"}],
            "day": "2026-11-25",
        },
    },
}

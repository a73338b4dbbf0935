"""A labelled set read: `properties/*.yaml` and `messages.jsonl`, one message a line."""

from __future__ import annotations

from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from askhouse.errors import KnowledgeError
from askhouse.values import Kind, Outcome

__all__ = ["LabelledMessage", "LabelledPart", "read_messages"]


class LabelledPart(BaseModel):
    """The outcome a part should reach."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    outcome: Outcome
    kind: Kind | None = None
    facts: tuple[str, ...] = ()
    also_ok: tuple[str, ...] = ()


class LabelledMessage(BaseModel):
    """One message with its parts as they should be."""

    model_config = ConfigDict(frozen=True, extra="ignore")

    id: str
    house: str = Field(alias="property")
    verified: bool
    message: str
    parts: tuple[LabelledPart, ...]
    tags: tuple[str, ...] = ()

    @property
    def allowed(self) -> frozenset[str]:
        """Every fact that a reply to the message may cite."""
        return frozenset(fact for part in self.parts for fact in (*part.facts, *part.also_ok))

    def has(self, outcome: Outcome, kind: Kind | None = None) -> bool:
        """Whether any part has that outcome, and that kind if one is given."""
        return any(
            part.outcome is outcome and (kind is None or part.kind is kind) for part in self.parts
        )


def read_messages(folder: Path) -> tuple[LabelledMessage, ...]:
    """The messages of a labelled set.

    Raises:
        KnowledgeError: The file is missing, or a line is not as it should be; names the line.
    """
    path = folder / "messages.jsonl"
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise KnowledgeError(
            f"{path} cannot be read: a labelled set holds messages.jsonl"
        ) from error
    messages = []
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            messages.append(LabelledMessage.model_validate_json(line))
        except ValidationError as error:
            first = error.errors()[0]
            field = ".".join(str(step) for step in first["loc"]) or "the line"
            raise KnowledgeError(f"{path}:{number}: {field}: {first['msg']}") from error
    return tuple(messages)

"""Values for tests: say only what matters, the rest is filled in."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from askhouse.values import (
    Decision,
    Fact,
    Hit,
    House,
    Message,
    Outcome,
    Part,
    Source,
    Turn,
    Units,
)

__all__ = ["make_answer", "make_fact", "make_hit", "make_house", "make_message", "make_part"]


def make_fact(fact_id: str = "bins", text: str = "The bins are there.", **more: Any) -> Fact:
    """A fact; its title is its id unless one is given."""
    given = {
        "topic": "house",
        "title": fact_id.replace("-", " ").capitalize(),
        "source": Source("ferry-lodge.yaml", 1),
        **more,
    }
    return Fact(id=fact_id, text=text, **given)


def make_house(*facts: Fact, **more: Any) -> House:
    """A house in Great Britain with these facts."""
    given = {
        "slug": "ferry-lodge",
        "name": "Ferry Lodge",
        "kind": "boatman's house",
        "country": "GB",
        "timezone": "Europe/London",
        "units": Units.METRIC,
        "check_in": dt.time(16),
        "check_out": dt.time(10),
        "emergency_number": "999",
        **more,
    }
    return House(facts=facts, **given)


def make_part(text: str = "where are the bins", language: str = "en", order: int = 0) -> Part:
    """A part that is read as it was written."""
    return Part(text=text, reading=text, order=order, language=language)


def make_message(text: str, *after: str, verified: bool = False, **more: Any) -> Message:
    """A message; `after` are the earlier messages of its thread, oldest first."""
    return Message(
        text=text, verified=verified, thread=tuple(Turn(text=turn) for turn in after), **more
    )


def make_answer(facts: Sequence[Fact], confidence: float = 0.9) -> Decision:
    """The decision that these facts answer."""
    return Decision(
        outcome=Outcome.ANSWER, confidence=confidence, reason="made by hand", facts=tuple(facts)
    )


def make_hit(fact: Fact, similarity: float = 0.5, rank: int = 1, **more: Any) -> Hit:
    """A hit whose other scores follow from its similarity."""
    given = {
        "whole": similarity,
        "wording": 0.0,
        "covered": 0.0,
        "fused": similarity,
        **more,
    }
    return Hit(fact=fact, similarity=similarity, rank=rank, **given)

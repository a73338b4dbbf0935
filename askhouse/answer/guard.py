"""Who may be told what. The only place that lets a sensitive fact pass."""

from __future__ import annotations

from collections.abc import Iterable

from askhouse.values import Fact

__all__ = ["tellable"]


def tellable(facts: Iterable[Fact], *, verified: bool) -> tuple[Fact, ...]:
    """The facts that may be told to this sender: all to a verified guest, else no sensitive one."""
    return tuple(fact for fact in facts if verified or not fact.sensitive)

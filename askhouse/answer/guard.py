"""Who may be told what. The only place that lets a sensitive fact pass."""

from __future__ import annotations

from collections.abc import Iterable

from askhouse.values import Fact

__all__ = ["tellable"]


def tellable(
    facts: Iterable[Fact], *, verified: bool, told: frozenset[str] | None = None
) -> tuple[Fact, ...]:
    """The facts that may be told to this sender: all to a verified guest, else no sensitive one.

    Args:
        facts: Any facts of the house.
        verified: Whether the sender is a verified guest.
        told: Ids of the sensitive facts that may be told to one; None means all.
    """
    return tuple(
        fact
        for fact in facts
        if not fact.sensitive or (verified and (told is None or fact.id in told))
    )

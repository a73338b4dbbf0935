"""Who asks, and what they may see: an owner everything, staff and tokens only their houses."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from service.tables import ApiToken, Person, Role

__all__ = ["Caller", "caller_of", "may_see", "visible"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Caller:
    """A person or a program, as far as rights go.

    Attributes:
        who: As the trail names them: `person:ID` or `token:ID`.
        name: For people to read.
        owner: May also change people, tokens and settings.
        everywhere: Sees every house, and what belongs to none yet.
        houses: The houses they see otherwise.
        scopes: What a program may do; a person may do all that their role allows.
    """

    who: str
    name: str
    owner: bool
    everywhere: bool
    houses: frozenset[str] = frozenset()
    scopes: frozenset[str] = frozenset()


def caller_of(row: Person | ApiToken) -> Caller:
    """The rights of a stored person or token."""
    if isinstance(row, ApiToken):
        return Caller(
            who=f"token:{row.id}",
            name=row.name,
            owner=False,
            everywhere=not row.houses,
            houses=frozenset(row.houses),
            scopes=frozenset(row.scopes),
        )
    owner = row.role == Role.OWNER
    return Caller(
        who=f"person:{row.id}",
        name=row.name,
        owner=owner,
        everywhere=owner,  # staff without a house see nothing
        houses=frozenset(row.houses),
    )


def may_see(caller: Caller, house: str | None) -> bool:
    """Whether what belongs to that house may be shown to them; None is what no house has yet."""
    return caller.everywhere or (house is not None and house in caller.houses)


def visible(caller: Caller, houses: Iterable[str]) -> list[str]:
    """Those of the houses that they may see, in the order of their slugs."""
    return sorted(house for house in houses if may_see(caller, house))

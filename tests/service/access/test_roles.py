"""Roles: what owners, staff and tokens see."""

from __future__ import annotations

import pytest

from service.access.roles import caller_of, may_see, visible
from service.tables import ApiToken, Person, Role

OWNER = Person(id=1, name="Ada", role=Role.OWNER, houses=[])
STAFF = Person(id=2, name="Tom", role=Role.STAFF, houses=["barn"])
NOBODY = Person(id=3, name="Tim", role=Role.STAFF, houses=[])
WIDE = ApiToken(id=4, name="all", scopes=["ask"], houses=[])
NARROW = ApiToken(id=5, name="one", scopes=["ask"], houses=["barn"])


@pytest.mark.parametrize(
    ("row", "seen"),
    [
        (OWNER, {"barn", "loft", None}),
        (STAFF, {"barn"}),
        (NOBODY, set()),  # staff without a house see nothing, unlike an owner
        (WIDE, {"barn", "loft", None}),
        (NARROW, {"barn"}),
    ],
    ids=lambda value: getattr(value, "name", ""),
)
def test_who_sees_what(row: Person | ApiToken, seen: set[str | None]) -> None:
    """
    An owner sees every house and what belongs to none yet; staff and tokens only theirs.
    """
    caller = caller_of(row)

    assert {house for house in ("barn", "loft", None) if may_see(caller, house)} == seen
    assert visible(caller, ["loft", "barn"]) == sorted(house for house in seen if house)


def test_only_an_owner_owns() -> None:
    """
    A token that sees everything is no owner.
    """
    assert caller_of(OWNER).owner
    assert not caller_of(WIDE).owner
    assert not caller_of(STAFF).owner

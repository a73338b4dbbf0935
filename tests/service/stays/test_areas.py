"""Which house a guest means by the area they name."""

from __future__ import annotations

import pytest

from service.stays.areas import area_named
from service.stays.settings import StayRules

RULES = {
    "quay-flat": StayRules(area="the harbour", also_called=("old port", "quayside")),
    "ferry-lodge": StayRules(area="Lower Ferry"),
    "upper-lodge": StayRules(area="Upper Ferry"),
    "nameless": StayRules(),
}


@pytest.mark.parametrize(
    ("text", "slug"),
    [
        ("harbour", "quay-flat"),
        ("The Harbour.", "quay-flat"),
        ("we're in the one by the harbor, thanks", "quay-flat"),
        ("it's the habour one", "quay-flat"),
        ("Quay side", "quay-flat"),
        ("OLD PORT!!", "quay-flat"),
        ("lower ferry", "ferry-lodge"),
        ("uper ferry", "upper-lodge"),
        # Either could be meant, or neither.
        ("ferry", None),
        ("the lower harbour or upper ferry", None),
        ("not the harbour, lower ferry", None),
        ("the house with the blue door", None),
        ("I don't know", None),
        ("", None),
        ("?!", None),
        ("nameless", None),
    ],
)
def test_areas(text: str, slug: str | None) -> None:
    """
    One area, misspelt or not, settles the house; two or none settle nothing.
    """
    assert area_named(text, RULES, RULES) == slug


def test_only_houses_of_the_line() -> None:
    """
    The area of a house that the line does not serve names nothing.
    """
    assert area_named("harbour", ["ferry-lodge"], RULES) is None
    assert area_named("harbour", [], RULES) is None

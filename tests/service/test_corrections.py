"""Who was told words that a fact no longer says."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from sqlalchemy.orm import Session

from askhouse.packaged import read_yaml
from askhouse.parts.language import READ
from askhouse.search.store import text_hash
from askhouse.values import Fact, House
from service.corrections import Correction, corrections
from service.database import Database
from service.drafting import OWN_CODE
from service.tables import Stay
from tests.house import DOOR_CODE
from tests.service.gaps.asking import NOON, asked, make_stay

DAY = dt.timedelta(days=1)
OLD = "The bins are by the door."


def fact_of(house: House, fact_id: str) -> Fact:
    return next(fact for fact in house.facts if fact.id == fact_id)


def tell(
    session: Session,
    stay: Stay | None,
    text: str = OLD,
    *,
    fact: str = "bins",
    at: dt.datetime = NOON - DAY,
    sender: str = "+447700900001",
    language: str = "en",
) -> None:
    """A guest was told a fact's words."""
    asked(
        session,
        "where?",
        stay=stay,
        at=at,
        sender=sender,
        outcome="answer",
        told=(fact, "Bins", text_hash(text)),
        language=language,
    )


def found(database: Database, house: House, now: dt.datetime = NOON) -> list[Correction]:
    with database.reading() as session:
        return corrections(session, {house.slug: house}, now)


def test_who_was_told_the_old_words_is_named(database: Database, small_house: House) -> None:
    """
    Guests of a present and a coming stay who were told the old words are named, the one in the
    house first, each once, with the new words as a draft.
    """
    with database.writing() as session:
        coming = make_stay(session, "ferry-lodge", 4, 6)
        here = make_stay(session, "ferry-lodge", -2, 3)
        tell(session, coming, sender="+447700900002")
        tell(session, here)
        tell(session, here, at=NOON - DAY / 2)

    rows = found(database, small_house)

    assert [(row.fact, row.stay.id, row.told_at) for row in rows] == [
        ("bins", here.id, NOON - DAY / 2),
        ("bins", coming.id, NOON - DAY),
    ]
    bins = fact_of(small_house, "bins").text
    assert rows[0].draft == f"Something we told you has changed (Bins). It now is: {bins}"


# Who needs no correction: stay, what was told, and what was told later.
@pytest.mark.parametrize(
    ("first", "last", "cancelled", "later"),
    [
        (-9, -3, False, None),  # has left
        (-2, 3, True, None),  # will not be there
        (-2, 3, False, "now"),  # was told the new words since
    ],
)
def test_who_needs_none_is_left_out(
    first: int,
    last: int,
    cancelled: bool,
    later: str | None,
    database: Database,
    small_house: House,
) -> None:
    """
    Someone who has left, is not coming, or has been told the new words since, is left out; so is
    a sender without a stay.
    """
    with database.writing() as session:
        stay = make_stay(session, "ferry-lodge", first, last)
        stay.cancelled_at = NOON if cancelled else None
        tell(session, stay)
        tell(session, None, sender="+447700900002")
        if later is not None:
            tell(session, stay, fact_of(small_house, "bins").text, at=NOON)

    assert found(database, small_house) == []


def test_what_still_holds_is_left_out(database: Database, small_house: House) -> None:
    """
    A fact that says what it said needs no correction.
    """
    with database.writing() as session:
        tell(session, make_stay(session, "ferry-lodge", -1, 1), fact_of(small_house, "bins").text)

    assert found(database, small_house) == []


def test_check_out_ends_a_stay_on_the_houses_clock(database: Database, small_house: House) -> None:
    """
    Until check-out on the day of departure a guest is there: at 10:00 in London, 09:00 UTC in
    summer, no longer.
    """
    with database.writing() as session:
        tell(session, make_stay(session, "ferry-lodge", -3, 0))
    nine = NOON.replace(hour=9)

    assert len(found(database, small_house, nine - dt.timedelta(minutes=1))) == 1
    assert found(database, small_house, nine) == []


def test_a_code_is_in_no_draft(database: Database, small_house: House) -> None:
    """
    Where a code has changed the guest is asked to ask again, which tells it to who may know it.
    """
    with database.writing() as session:
        stay = make_stay(session, "ferry-lodge", -1, 1)
        tell(session, stay, "The blue door opens with 1111.", fact="door-code")

    (row,) = found(database, small_house)
    assert "ask again" in row.draft
    assert DOOR_CODE not in repr(row.draft)


def test_the_place_of_a_stays_own_code_is_in_no_draft(
    database: Database, small_house: House
) -> None:
    """
    Where the new words tell each stay's own code, the guest is asked to ask again, also if the
    host forgot to mark the fact.
    """
    changed = [
        replace(fact, text=f"The bins open with {OWN_CODE}.") if fact.id == "bins" else fact
        for fact in small_house.facts
    ]
    with database.writing() as session:
        tell(session, make_stay(session, "ferry-lodge", -1, 1))

    (row,) = found(database, replace(small_house, facts=tuple(changed)))
    assert "ask again" in row.draft
    assert OWN_CODE not in row.draft


def test_a_fact_that_is_gone_is_taken_back(database: Database, small_house: House) -> None:
    """
    Words of a fact that was removed no longer hold, and the draft says so in the guest's language.
    """
    with database.writing() as session:
        tell(session, make_stay(session, "ferry-lodge", -1, 1), language="de")
    facts = tuple(fact for fact in small_house.facts if fact.id != "bins")

    (row,) = found(database, replace(small_house, facts=facts))
    assert row.gone
    assert row.draft.startswith("Etwas, das wir Ihnen gesagt haben, gilt nicht mehr (Bins).")


def test_cautions_are_told_with_the_new_words(database: Database, small_house: House) -> None:
    """
    What is said whenever the fact is said is in the draft, too.
    """
    stove = fact_of(small_house, "stove")
    with database.writing() as session:
        tell(session, make_stay(session, "ferry-lodge", -1, 1), "Open it.", fact="stove")

    (row,) = found(database, small_house)
    assert stove.cautions
    assert all(caution in row.draft for caution in stove.cautions)


def test_it_is_narrowed(database: Database, small_house: House) -> None:
    """
    To one fact, and to the houses that someone may see.
    """
    with database.writing() as session:
        stay = make_stay(session, "ferry-lodge", -1, 1)
        tell(session, stay)
        tell(session, stay, "Open it.", fact="stove")
    houses = {small_house.slug: small_house}

    with database.reading() as session:
        assert len(corrections(session, houses, NOON)) == 2
        one = corrections(session, houses, NOON, fact="stove")
        assert [row.fact for row in one] == ["stove"]
        assert corrections(session, houses, NOON, only=["mill-loft"]) == []


def test_every_language_has_its_words() -> None:
    """
    Each sentence is there in every language that is read, with the same names in braces.
    """
    for forms in read_yaml("service", "corrections.yaml").values():
        assert set(forms) == set(READ)
        assert (
            len({form.count("{title}") + 10 * form.count("{text}") for form in forms.values()}) == 1
        )

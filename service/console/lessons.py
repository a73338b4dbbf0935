"""What the host makes of a draft is kept: answered by a fact, not answered, the fact is wrong."""

from __future__ import annotations

from dataclasses import replace

from sqlalchemy.orm import Session

from service.blots import BLOT, guest_words
from service.console.editing import as_it_stands, as_typed, change_of, save
from service.console.page import NotThisError, Visit
from service.tables import Lesson, PartRow

__all__ = ["learn"]


def learn(
    session: Session, seen: Visit, *, part_id: int, verdict: str, fact_id: str, title: str = ""
) -> str:
    """Keeps a lesson on a part; gives the house that it is about.

    A part that was 'not answered' counts among the gaps from now on.

    Args:
        session: Of the database.
        seen: Who says so.
        part_id: The part.
        verdict: right, answered-by, gap or fact-wrong.
        fact_id: The fact that the last but one or the last is about.
        title: Names it where no id is given.

    Raises:
        NotHereError: There is no such part, or no such fact.
        NotThisError: It is no verdict.
        EditRefusedError: The way of asking cannot be written into the fact.
    """
    part = seen.theirs(session, PartRow, part_id)
    if verdict not in ("right", "answered-by", "gap", "fact-wrong"):
        raise NotThisError("Choose what is true of this part.")
    if verdict in ("answered-by", "fact-wrong"):
        facts = seen.house(part.house).facts
        if title and not fact_id:
            named = (fact.id for fact in facts if fact.title.lower() == title.strip().lower())
            fact_id = next(named, "")
        if fact_id not in {fact.id for fact in facts}:
            raise NotThisError("Choose the fact that it is about.")
    if verdict == "answered-by":
        _teach(session, seen, part, fact_id)
    if verdict == "gap":
        part.outcome, part.kind = "gap", None
    session.add(
        Lesson(
            house=part.house,
            part_id=part.id,
            verdict=verdict,
            fact=fact_id if verdict in ("answered-by", "fact-wrong") else None,
            text=part.text,
            person=seen.caller.who,
            at=seen.now,
        )
    )
    return part.house


def _teach(session: Session, seen: Visit, part: PartRow, fact_id: str) -> None:
    """The guest's words become a way of asking for the fact, without any secret they repeat."""
    house = seen.house(part.house)
    asked = " ".join(guest_words(part.text, house).split())
    stands = as_it_stands(seen.house_files(house.slug), house.slug, fact_id)
    typed = as_typed(stands)
    if asked.lower() in typed.asks.lower().splitlines() or BLOT in asked:
        return
    change = change_of(
        stands, replace(typed, asks=f"{typed.asks}\n{asked}"), seen.today(house.slug)
    )
    save(session, seen, house.slug, fact_id, change, stands.lines_hash)

"""When a fact changes: who was told the old one in a present or coming stay, and what to tell them.

What a guest was told is known by the hash of the fact's text as it stood then. Nothing is sent
from here; each correction is a draft for the host.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import lru_cache
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session, lazyload

from askhouse.packaged import read_yaml
from askhouse.search.store import text_hash
from askhouse.values import Fact, House
from service.drafting import OWN_CODE
from service.tables import CitationRow, Inbound, PartRow, Stay, Thread

__all__ = ["Correction", "corrections"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """A guest who was told words of a fact that it no longer says.

    Attributes:
        fact: Its id.
        title: As it was when it was told.
        told_at: When it was last told to them.
        part_id: The part of their message that it answered.
        stay: Their stay, present or coming.
        thread: Where they would read the correction.
        gone: The fact is no longer there.
        draft: What to tell them, in their language around the fact's own words. A sensitive
            fact's words, or those around a stay's own code, are never in it: who asks again gets
            them, if they may.
    """

    house: str
    fact: str
    title: str
    told_at: dt.datetime
    part_id: int
    stay: Stay
    thread: Thread
    gone: bool
    draft: str


def corrections(
    session: Session,
    houses: Mapping[str, House],
    now: dt.datetime,
    *,
    only: Collection[str] | None = None,
    fact: str | None = None,
) -> list[Correction]:
    """Who should be told that something has changed, the soonest to arrive first.

    A guest who has been told the new words since is left out.

    Args:
        houses: As they are written now; one that is not among them is left out.
        only: Houses to which it is narrowed; None for all.
        fact: The one fact to look for; None for all.
    """
    found: dict[tuple[int, str], Correction | None] = {}
    facts = {slug: {each.id: each for each in house.facts} for slug, house in houses.items()}
    for citation, at, stay, thread in _told(session, houses, now, only, fact):
        if _left(stay, houses[citation.house], now):
            continue
        # The newest citation comes first, and it alone counts.
        place = (thread.id, citation.fact)
        if place not in found:
            now_says = facts[citation.house].get(citation.fact)
            found[place] = _correction(citation, at, stay, thread, now_says)
    rows = [one for one in found.values() if one is not None]
    return sorted(rows, key=lambda one: (one.stay.arrival, one.stay.id, one.fact))


def _told(
    session: Session,
    houses: Mapping[str, House],
    now: dt.datetime,
    only: Collection[str] | None,
    fact: str | None,
) -> list[tuple[CitationRow, dt.datetime, Stay, Thread]]:
    slugs = set(houses) if only is None else set(houses) & set(only)
    wanted = [
        CitationRow.house.in_(slugs),
        # A day's room: whether they have left is a matter of the house's own clocks.
        Stay.departure >= now.date() - dt.timedelta(days=1),
        Stay.cancelled_at.is_(None),
    ]
    if fact is not None:
        wanted.append(CitationRow.fact == fact)
    rows = session.execute(
        select(CitationRow, Inbound.received_at, Stay, Thread)
        .join(PartRow, CitationRow.part_id == PartRow.id)
        .join(Inbound, PartRow.message_id == Inbound.id)
        .join(Stay, Inbound.stay_id == Stay.id)
        .join(Thread, Inbound.thread_id == Thread.id)
        .where(*wanted)
        .order_by(Inbound.received_at.desc(), CitationRow.part_id.desc())
        .options(lazyload(Stay.phones))
    )
    return [(citation, at, stay, thread) for citation, at, stay, thread in rows]


def _left(stay: Stay, house: House, now: dt.datetime) -> bool:
    local = now.astimezone(ZoneInfo(house.timezone)).replace(tzinfo=None)
    return local >= dt.datetime.combine(stay.departure, house.check_out)


def _correction(
    citation: CitationRow, at: dt.datetime, stay: Stay, thread: Thread, fact: Fact | None
) -> Correction | None:
    if fact is not None and text_hash(fact.text) == citation.content_hash:
        return None
    return Correction(
        house=citation.house,
        fact=citation.fact,
        title=citation.title,
        told_at=at,
        part_id=citation.part_id,
        stay=stay,
        thread=thread,
        gone=fact is None,
        draft=_draft(citation.title, fact, thread.language),
    )


def _draft(title: str, fact: Fact | None, language: str) -> str:
    if fact is None:
        return _phrase("gone", language).format(title=title)
    if fact.sensitive or OWN_CODE in fact.text:
        return _phrase("ask_again", language).format(title=title)
    words = [fact.text, *(caution for caution in fact.cautions if caution not in fact.text)]
    return _phrase("changed", language).format(title=title, text=" ".join(words))


def _phrase(name: str, language: str) -> str:
    forms = _phrases()[name]
    return forms.get(language, forms["en"])


@lru_cache(maxsize=1)
def _phrases() -> dict[str, dict[str, str]]:
    loaded: dict[str, dict[str, str]] = read_yaml("service", "corrections.yaml")
    return loaded

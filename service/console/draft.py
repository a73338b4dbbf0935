"""A reply as a page shows it: each sentence tied to the fact it comes from, and why."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

from askhouse.answer.length import sentences
from askhouse.values import Fact, Hit, Outcome, Reply, ReplyPart
from service.console.views import DraftView, FactRef, Line, NearFact, PartView
from service.console.words import KINDS, OUTCOMES, day, sure
from service.drafting import OWN_CODE
from service.lines.segments import count, plain

__all__ = ["draft_view", "fact_href", "segments", "tied", "why_not"]

_NEAR = 3


def fact_href(house: str, fact: str) -> str:
    """The address of a fact's page."""
    return f"/houses/{house}/facts/{fact}"


def segments(text: str) -> int:
    """How many text messages it takes, written as it would be sent."""
    return count(plain(text)).segments


def draft_view(
    reply: Reply,
    house_name: str,
    part_ids: Sequence[int],
    today: dt.date,
    own_code: str = OWN_CODE,
) -> DraftView:
    """The draft with its facts numbered in the order in which they are first cited.

    Args:
        reply: As drafted.
        house_name: For people.
        part_ids: The rows of its parts, in their order.
        today: At the house.
        own_code: What stands in place of the stay's own door code.
    """
    marks: dict[str, int] = {}
    for part in reply.parts:
        for citation in part.citations:
            marks.setdefault(citation.fact_id, len(marks) + 1)
    parts = tuple(
        _part(reply.house, part, row, marks, today, own_code)
        for part, row in zip(reply.parts, part_ids, strict=True)
    )
    full, short = (text.replace(OWN_CODE, own_code) for text in (reply.full, reply.short))
    return DraftView(
        house=reply.house,
        house_name=house_name,
        full=full,
        short=short,
        full_segments=segments(full),
        short_segments=segments(short),
        parts=parts,
        answered=sum(part.outcome in ("answer", "chat") for part in parts),
        urgent=any(part.level in ("emergency", "urgent") for part in parts),
    )


def tied(part: ReplyPart) -> list[tuple[str, str | None]]:
    """Each sentence of what is said about a part, with the id of the fact it is copied from.

    A reply is copied from its facts line by line, so a sentence belongs to the first cited fact
    in whose words, cautions or link it stands; what stands in none is a joint of our own.
    """
    told = {citation.fact_id for citation in part.citations}
    facts = [fact for fact in part.decision.facts if fact.id in told]
    return [
        (sentence, next((fact.id for fact in facts if _holds(fact, sentence)), None))
        for sentence in sentences(part.text)
    ]


def _holds(fact: Fact, sentence: str) -> bool:
    words = " ".join(sentence.split())
    own = [fact.text, *fact.cautions, *([str(fact.media)] if fact.media else [])]
    return any(
        words in " ".join(text.split()) or (len(text) > 3 and " ".join(text.split()) in words)
        for text in own
    )


def _part(
    house: str,
    part: ReplyPart,
    row: int,
    marks: dict[str, int],
    today: dt.date,
    own_code: str,
) -> PartView:
    decision = part.decision
    return PartView(
        id=row,
        asks=part.part.text,
        outcome=str(decision.outcome),
        label=OUTCOMES[decision.outcome],
        kind=KINDS.get(str(decision.kind), "") if decision.kind else "",
        level=str(decision.alarm.level) if decision.alarm else "",
        sure=sure(decision.confidence),
        reason=decision.reason,
        # Tied before the code is in it: the fact has but its place.
        lines=tuple(
            Line(text.replace(OWN_CODE, own_code), marks.get(fact or "", 0))
            for text, fact in tied(part)
        ),
        facts=tuple(
            FactRef(
                id=citation.fact_id,
                title=citation.title,
                href=fact_href(house, citation.fact_id),
                mark=marks[citation.fact_id],
                written=str(citation.source),
                verified=day(citation.verified_on, today) if citation.verified_on else None,
            )
            for citation in part.citations
        ),
        near=tuple(
            NearFact(
                id=hit.fact.id,
                title=hit.fact.title,
                href=fact_href(house, hit.fact.id),
                why=why_not(hit),
            )
            for hit in part.hits[: _NEAR if decision.outcome is not Outcome.ANSWER else _NEAR + 1]
            if hit.fact.id not in {citation.fact_id for citation in part.citations}
        ),
    )


def why_not(hit: Hit) -> str:
    """Why a fact that came near was held back, for the host."""
    if hit.chance is None:
        return "it was not weighed"
    return f"it would answer this in {round(hit.chance * 100)} of 100 such cases"

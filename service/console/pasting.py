"""A pasted message is kept like one that came in, so that gaps and lessons can be made of it.

It stands on a line of its own, `pages`; nothing is sent, and no alert is raised: the host is
looking at it. Secrets are blotted out before it is stored.
"""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.values import Fact, Reply, ReplyPart
from service.blots import blotted
from service.tables import CitationRow, Inbound, MessageState, PartRow, Thread

__all__ = ["PAGES", "keep"]

PAGES = "pages"


def keep(
    session: Session,
    reply: Reply,
    *,
    text: str,
    verified: bool,
    stay_id: int | None,
    who: str,
    now: dt.datetime,
) -> list[int]:
    """Stores message and draft; gives the ids of the parts, in their order.

    The same message pasted again for the same house on the same day is the same message.
    """
    same = hashlib.sha256(f"{who}\n{reply.house}\n{stay_id}\n{now:%Y-%m-%d}\n{text}".encode())
    name = same.hexdigest()[:40]
    message = session.scalar(
        select(Inbound).where(Inbound.line == PAGES, Inbound.gateway_id == name)
    )
    if message is None:
        thread = Thread(
            line=PAGES,
            sender=f"pasted:{name}",
            house=reply.house,
            stay_id=stay_id,
            created_at=now,
            last_at=now,
        )
        session.add(thread)
        session.flush()
        message = Inbound(
            thread_id=thread.id, line=PAGES, gateway_id=name, text=text, received_at=now
        )
        session.add(message)
    message.state, message.answered_at = MessageState.ANSWERED, now
    message.house, message.stay_id, message.verified = reply.house, stay_id, verified
    secret = [fact for part in reply.parts for fact in part.decision.facts if fact.sensitive]
    message.draft = blotted(reply.full, secret)
    if len(message.parts) == len(reply.parts):
        return [part.id for part in message.parts]  # pasted again: lessons hang on these
    message.parts = [_row(reply.house, part, secret) for part in reply.parts]
    session.flush()
    return [part.id for part in message.parts]


def _row(house: str, part: ReplyPart, secret: Iterable[Fact]) -> PartRow:
    decision = part.decision
    return PartRow(
        house=house,
        place=part.part.order,
        text=part.part.text,
        language=part.part.language,
        outcome=str(decision.outcome),
        kind=str(decision.kind) if decision.kind else None,
        level=str(decision.alarm.level) if decision.alarm else None,
        hazard=str(decision.alarm.hazard) if decision.alarm and decision.alarm.hazard else None,
        topic=decision.topic,
        confidence=decision.confidence,
        reason=decision.reason,
        said=blotted(part.text, secret),
        asked_back=bool(decision.ask_back),
        citations=[
            CitationRow(
                fact=citation.fact_id,
                house=house,
                title=citation.title,
                content_hash=citation.content_hash,
            )
            for citation in part.citations
        ],
    )

"""What was decided about a message, kept in one transaction: parts, citations, the reply to send,
what the host must hear of. Either all of it is there or nothing, so that a process may be killed
anywhere: the message is then taken up again, and answered once.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from askhouse.values import Fact, House, Level, ReplyPart
from service.blots import blotted
from service.database import add_new
from service.drafting import Draft, Raised
from service.lines.arrived import WITHHELD
from service.lines.segments import count, fit
from service.lines.settings import LineSettings
from service.lines.words import Keyword
from service.situation import Seen, opted_out
from service.stays.phone_numbers import Look, look
from service.tables import (
    CitationRow,
    Delivery,
    DeliveryState,
    Escalation,
    Inbound,
    MessageState,
    OptOut,
    PartRow,
    Thread,
)

__all__ = ["RESPONSE", "keep", "locked_message", "raise_escalation", "reply_key", "rest_until"]

RESPONSE = "response"
"""The channel of a reply that goes into the response to the gateway's own request."""
_RESPONSE_GONE_S = 1  # after the request's wait is over: its last look for the reply is done
_REST_KEPT = dt.timedelta(hours=12)
_SECRET_REST_KEPT = dt.timedelta(hours=1)
_ALARM_SEGMENTS = 10  # words that keep people safe are not cut, whatever they cost


def reply_key(message_id: int) -> str:
    """The idempotency key of the reply to a message."""
    return f"reply:{message_id}"


def keep(
    session: Session,
    message_id: int,
    claim: str,
    draft: Draft,
    line: LineSettings | None,
    now: dt.datetime,
    *,
    seen: Seen | None = None,
    state: MessageState = MessageState.ANSWERED,
) -> bool:
    """Keeps what was decided about a message, and gives it its state.

    Args:
        claim: Who worked on it.
        line: The message's line; None where it is not in the settings any more.
        seen: What it was decided from; None where that could not be read.

    Returns:
        False, with nothing changed, where the claim has run out and another took the message.
    """
    locked = locked_message(session, message_id, claim)
    if locked is None:
        return False
    thread, message = locked
    message.state, message.answered_at = state, now
    message.claimed_by = message.claimed_until = None
    if seen is not None:
        _keep_sender(session, thread, message, seen, draft, now)
    if draft.reply is not None and draft.house is not None:
        code = _own_code(seen)
        message.parts = [_part(part, draft.house, code) for part in draft.reply.parts]
    _opt(session, thread, draft.word, now)
    raised = draft.raised
    sent = _send(session, thread, message, draft, line, now, seen) if line is not None else None
    if sent is not None and sent.state == DeliveryState.DROPPED:
        raised = (*raised, _unreachable(raised))
    for one in raised:
        raise_escalation(session, one, now, thread=thread, message=message)
    return True


def locked_message(session: Session, message_id: int, claim: str) -> tuple[Thread, Inbound] | None:
    """Locks a message and its thread; None where the claim on it has run out."""
    thread_id = select(Inbound.thread_id).where(Inbound.id == message_id).scalar_subquery()
    # Always the thread first, as storing a message does: two that wait for each other are none.
    thread = session.scalars(select(Thread).where(Thread.id == thread_id).with_for_update()).first()
    message = session.scalars(
        select(Inbound).where(Inbound.id == message_id).with_for_update()
    ).first()
    if thread is None or message is None or message.claimed_by != claim:
        return None
    return (thread, message) if message.state == MessageState.WORKING else None


def raise_escalation(
    session: Session,
    raised: Raised,
    now: dt.datetime,
    *,
    thread: Thread | None,
    message: Inbound | None,
) -> None:
    """Raises something for the host, once for each kind of a message; its ladder begins now."""
    add_new(
        session,
        Escalation,
        house=(message.house if message else None) or (thread.house if thread else None),
        thread_id=thread.id if thread else None,
        message_id=message.id if message else None,
        kind=raised.kind,
        level=raised.level,
        summary=raised.summary,
        next_at=now,
        created_at=now,
    )


def _keep_sender(
    session: Session, thread: Thread, message: Inbound, seen: Seen, draft: Draft, now: dt.datetime
) -> None:
    stay_id = seen.who.stay.id if seen.who.stay else None
    message.house = seen.who.house
    message.stay_id = stay_id
    message.verified = seen.who.verified
    if thread.rest_secrets and thread.stay_id != stay_id:
        # What is left of a reply with a code is of the stay before: cancelled, or another's.
        thread.rest, thread.rest_secrets, thread.rest_until = None, [], None
    thread.house, thread.stay_id = seen.who.house or thread.house, stay_id
    thread.language = draft.language[:8]
    if seen.named is not None:
        thread.named, thread.named_at = seen.named, now


def _part(part: ReplyPart, house: House, code: str | None) -> PartRow:
    # By what it is said from, not by what is sent: of an opted-out guest's answers nothing is.
    sensitive = _cited_secrets(house, [part])
    decision = part.decision
    alarm = decision.alarm
    return PartRow(
        house=house.slug,
        place=part.part.order,
        text=part.part.text,
        language=part.part.language[:8],
        outcome=decision.outcome,
        kind=decision.kind,
        level=alarm.level if alarm else None,
        hazard=alarm.hazard if alarm else None,
        topic=decision.topic,
        confidence=decision.confidence,
        reason=decision.reason,
        said=blotted(part.text, _secret_facts(house, sensitive), code),
        asked_back=bool(decision.ask_back),
        citations=[
            CitationRow(
                fact=citation.fact_id,
                house=house.slug,
                title=citation.title,
                content_hash=citation.content_hash,
            )
            for citation in part.citations
        ],
    )


def _secret_facts(house: House | None, told: Sequence[object]) -> tuple[Fact, ...]:
    """All facts of the house, not only those that were told: what is kept must not hold one."""
    return house.facts if house is not None and told else ()


def _cited_secrets(house: House | None, parts: Iterable[ReplyPart]) -> list[str]:
    cited = {citation.fact_id for part in parts for citation in part.citations}
    facts = house.facts if house is not None else ()
    return [fact.id for fact in facts if fact.sensitive and fact.id in cited]


def _own_code(seen: Seen | None) -> str | None:
    return seen.who.stay.door_code if seen is not None and seen.who.stay is not None else None


def _opt(session: Session, thread: Thread, word: Keyword | None, now: dt.datetime) -> None:
    if word is Keyword.STOP:
        add_new(session, OptOut, line=thread.line, number=thread.sender, since=now)
    elif word is Keyword.START:
        session.execute(
            delete(OptOut).where(OptOut.line == thread.line, OptOut.number == thread.sender)
        )


def _send(
    session: Session,
    thread: Thread,
    message: Inbound,
    draft: Draft,
    line: LineSettings,
    now: dt.datetime,
    seen: Seen | None,
) -> Delivery | None:
    """Queues the reply; what does not fit into its segments waits in the thread for MORE."""
    text = draft.text
    secrets = [fact.id for fact in draft.sensitive]
    if draft.word is Keyword.MORE and text is not None and _rest_holds(thread, seen, now):
        text, secrets = thread.rest, thread.rest_secrets
    if text is None:
        return None
    if not draft.emergency and not draft.farewell and opted_out(session, line.name, thread.sender):
        return None  # STOP came while this one was worked on
    facts = _secret_facts(draft.house, secrets)
    code = _own_code(seen)
    parts = draft.reply.parts if draft.reply is not None else ()
    drafted = _cited_secrets(draft.house, parts) or secrets
    message.draft = blotted(
        draft.reply.full if draft.reply else text, _secret_facts(draft.house, drafted), code
    )
    sent, rest = fit(text, _ALARM_SEGMENTS if draft.urgent else line.most_segments, draft.language)
    until = (seen.who.told_until(secrets) if seen is not None else None) or now
    if thread.sender == WITHHELD:
        rest = ""  # all who hide their number share the thread: MORE would send one's to another
    thread.rest, thread.rest_secrets = rest or None, secrets if rest else []
    thread.rest_until = rest_until(now, until if secrets else None) if rest else None
    problem = _unreachable_why(line, thread.sender)
    channel, due_at = _way_out(line, thread.sender, message, now, at_once=draft.urgent)
    delivery = Delivery(
        key=reply_key(message.id),
        channel=channel,
        target=line.name,
        thread_id=thread.id,
        message_id=message.id,
        stay_id=message.stay_id,
        to=thread.sender,
        text=sent,
        secrets=secrets,
        secret_until=until if secrets else None,
        blotted=blotted(sent, facts, code) if secrets else None,
        emergency=draft.emergency,
        urgent=draft.urgent,
        farewell=draft.farewell,
        state=DeliveryState.DUE if problem is None else DeliveryState.DROPPED,
        problem=problem,
        due_at=due_at,
        created_at=now,
        segments=count(sent).segments,
    )
    session.add(delivery)
    return delivery


def rest_until(now: dt.datetime, secrets_until: dt.datetime | None) -> dt.datetime:
    """Until when MORE sends the rest of a text.

    Args:
        secrets_until: Until when the codes in it may be told; None where it has none.
    """
    if secrets_until is None:
        return now + _REST_KEPT
    return min(now + _SECRET_REST_KEPT, secrets_until)


def _rest_holds(thread: Thread, seen: Seen | None, now: dt.datetime) -> bool:
    """Whether what is left of the reply before may still be sent.

    A code that could be told then is judged by what may be told now.
    """
    if thread.rest is None or (thread.rest_until is not None and thread.rest_until <= now):
        return False
    if not thread.rest_secrets:
        return True
    return seen is not None and seen.who.told_until(thread.rest_secrets) is not None


def _way_out(
    line: LineSettings, sender: str, message: Inbound, now: dt.datetime, *, at_once: bool
) -> tuple[str, dt.datetime]:
    """The channel of a reply, and from when on it is sent.

    Where it can go both into the response and by a call, the call waits until the response must
    have gone without it; danger does not wait, and takes whichever way is there first.
    """
    if line.send is None or (line.respond is not None and not sender.startswith("+")):
        return RESPONSE, now
    if line.respond is None or at_once:
        return "line", now
    wait = dt.timedelta(seconds=line.respond.wait_s + _RESPONSE_GONE_S)
    return "line", max(now, message.received_at + wait)


def _unreachable_why(line: LineSettings, sender: str) -> str | None:
    """Why no reply can go to a sender; None where it can."""
    looks = look(sender, line.number, ())
    if looks is Look.OWN:
        return "the sender is the line's own number: a reply would come back as a message"
    if looks is Look.COSTLY:
        return "the sender is a premium-rate or mailbox number: a reply would be charged for"
    if line.respond is None and not sender.startswith("+"):
        return "the sender has no number that a reply can go to"
    return None


def _unreachable(raised: Iterable[Raised]) -> Raised:
    """Nobody can be told: the host hears of it as fast as of anything else in the message."""
    order = (Level.EMERGENCY, Level.URGENT, Level.SOON)
    levels = [one.level for one in raised] or [Level.SOON]
    return Raised(
        kind="delivery",
        level=min(levels, key=order.index),
        summary="The reply has no number to go to.",
    )

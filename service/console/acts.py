"""The host's own words to a guest, outside any alert: whether they can be sent, and sending."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping

from sqlalchemy import select
from sqlalchemy.orm import Session

from askhouse.values import House
from service.blots import guest_words
from service.console.page import NotThisError
from service.console.pasting import PAGES
from service.lines.segments import count, plain
from service.lines.settings import LineSettings
from service.situation import opted_out
from service.tables import Delivery, Stay, Thread

__all__ = ["why_closed", "write_to_guest"]


def why_closed(session: Session, thread: Thread, lines: Mapping[str, LineSettings]) -> str:
    """Why nothing can be written on a thread; empty where it can."""
    if thread.line == PAGES:
        return "This message was pasted, so there is no number to write to. Copy the reply instead."
    line = lines.get(thread.line)
    if line is None:
        return f"The line {thread.line} is not set up any more. Ring the guest, or write elsewhere."
    if line.send is None:
        return f"The line {thread.line} can only reply at once, so nothing can be sent from here."
    if not thread.sender.startswith("+"):
        return "The guest hides their number, so nothing can be sent to it."
    if opted_out(session, thread.line, thread.sender):
        return "This guest asked for no more messages. Ring them, or write elsewhere."
    return ""


def write_to_guest(
    session: Session,
    thread: Thread,
    *,
    text: str,
    who: str,
    key: str,
    houses: Mapping[str, House],
    lines: Mapping[str, LineSettings],
    now: dt.datetime,
) -> None:
    """Puts the host's words among what is to be sent, once for each key.

    Raises:
        NotThisError: There are no words, or nothing can be sent on that thread.
    """
    said = plain(text.strip())
    if not said:
        raise NotThisError("Write what the guest should read.")
    closed = why_closed(session, thread, lines)
    if closed:
        raise NotThisError(closed)
    name = f"console:{key}"[:200]
    if session.scalar(select(Delivery.id).where(Delivery.key == name)) is not None:
        return
    house = houses.get(thread.house or "")
    stay = session.get(Stay, thread.stay_id) if thread.stay_id is not None else None
    kept = guest_words(said, house, stay.door_code if stay else None) if house else said
    # A code that the host writes is kept no longer than one that Askhouse told.
    secrets = [f.id for f in house.facts if f.sensitive] if house and kept != said else []
    session.add(
        Delivery(
            key=name,
            channel="line",
            target=thread.line,
            thread_id=thread.id,
            stay_id=thread.stay_id,
            author=who,
            to=thread.sender,
            text=said,
            secrets=secrets,
            blotted=kept if secrets else None,
            due_at=now,
            created_at=now,
            segments=count(said).segments,
        )
    )
    thread.last_at = now

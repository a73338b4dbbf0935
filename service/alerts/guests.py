"""Writing to the guest of an alert: whether it can be done, and that it was taken."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from functools import lru_cache

from sqlalchemy.orm import Session

from askhouse.packaged import read_yaml
from askhouse.values import House, Kind, Level
from service.alerts.errors import NotWritableError
from service.alerts.words import OWN_WORDS
from service.database import add_new
from service.lines.segments import count, plain
from service.lines.settings import LineSettings
from service.situation import opted_out
from service.tables import Delivery, Escalation, Thread

__all__ = ["Lines", "tell_taken", "writable"]

Lines = Mapping[str, LineSettings]
"""The lines by name."""


def writable(session: Session, alert: Escalation, lines: Lines) -> Thread:
    """The thread that a message about an alert goes into.

    Raises:
        NotWritableError: Nothing can be sent there.
    """
    thread = session.get(Thread, alert.thread_id) if alert.thread_id is not None else None
    if thread is None:
        raise NotWritableError("this alert has no guest to answer: close it instead")
    line = lines.get(thread.line)
    if line is None:
        raise NotWritableError("the message came by no line that is set up: copy the answer")
    if line.send is None:
        raise NotWritableError(
            f"the line {line.name} can only reply at once: add send to its settings, or ring the "
            "guest"
        )
    if not thread.sender.startswith("+"):
        raise NotWritableError("the guest hides their number: nothing can be sent to it")
    # An emergency is answered even where no more messages are wanted.
    if alert.level != Level.EMERGENCY and opted_out(session, thread.line, thread.sender):
        raise NotWritableError("the guest asked for no more messages: ring them")
    return thread


def tell_taken(
    session: Session,
    alert: Escalation,
    houses: Mapping[str, House],
    lines: Lines,
    now: dt.datetime,
) -> bool:
    """Queues, once, that the host has what the guest wrote about; whether it was."""
    if alert.kind in OWN_WORDS:
        return False  # nothing that the guest waits for
    try:
        thread = writable(session, alert, lines)
    except NotWritableError:
        return False
    house = houses.get(alert.house or "")
    text = plain(_words(alert, house, thread.language))
    return add_new(
        session,
        Delivery,
        key=f"taken:{alert.id}",
        channel="line",
        target=thread.line,
        thread_id=thread.id,
        stay_id=thread.stay_id,
        to=thread.sender,
        text=text,
        secrets=[],
        emergency=alert.level == Level.EMERGENCY,
        urgent=alert.level != Level.SOON,
        due_at=now,
        created_at=now,
        segments=count(text).segments,
    )


def _words(alert: Escalation, house: House | None, language: str) -> str:
    danger = alert.kind == Kind.SAFETY and house is not None
    forms = _phrases()["taken_safety" if danger else "taken"]
    said = forms.get(language, forms["en"])
    return said.format(number=house.emergency_number if house is not None else "")


@lru_cache(maxsize=1)
def _phrases() -> dict[str, dict[str, str]]:
    loaded: dict[str, dict[str, str]] = read_yaml("service.alerts", "phrases.yaml")
    return loaded

"""The link that takes an alert: one for each alert, in everything that is sent about it.

Its token is random. The escalation holds its hash alone; the texts that are sent hold the token
until the alert is taken, when it is blotted out of them. Until then the next alert finds it there,
so that the first link that someone was sent works as well as the last.
"""

from __future__ import annotations

import re
import secrets

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.access.keys import key_hash
from service.blots import BLOT
from service.tables import Delivery, DeliveryState, Escalation

__all__ = ["alert_of", "code_of", "link", "stand_down", "token_of"]

# 128 random bits (RFC 4086, 8, asks that much of what is not to be guessed), and 22 letters:
# a text message pays for each.
_BYTES = 16
_PATH = "/take/"
_LINK = re.compile(rf"{_PATH}([A-Za-z0-9_-]{{22}})")


def link(base_url: str, token: str, contact: str) -> str:
    """The address that a contact is sent."""
    return f"{base_url.rstrip('/')}{_PATH}{token}?by={contact}"


def token_of(session: Session, alert: Escalation) -> str:
    """The token of an open alert's links; made now if it is the first."""
    if alert.take_hash is not None:
        sent = select(Delivery.text).where(Delivery.escalation_id == alert.id)
        for text in session.scalars(sent):
            found = _LINK.search(text)
            if found and key_hash(found[1]) == alert.take_hash:
                return found[1]
    token = secrets.token_urlsafe(_BYTES)
    alert.take_hash = key_hash(token)
    return token


def code_of(session: Session, alert: Escalation) -> str:
    """Six digits that stand for an open alert in text messages, where its number may not.

    Made of what the database alone knows of the link's token. A link that is sent with it is made
    first, since a new token makes another code.
    """
    if alert.take_hash is None:
        token_of(session, alert)
    return f"{int(str(alert.take_hash)[:16], 16) % 1_000_000:06}"


def alert_of(session: Session, token: str) -> Escalation | None:
    """The alert that a link takes, locked; None for a token of none."""
    return session.scalars(
        select(Escalation).where(Escalation.take_hash == key_hash(token)).with_for_update()
    ).first()


def stand_down(session: Session, alert: Escalation) -> None:
    """Drops what was to be sent about an alert that is taken, and blots its link out of the rest.

    Rows that the outbox holds at the moment are left to `tick.py`: to wait for them here, with the
    alert locked, could be to wait for a process that waits for the alert.
    """
    rows = select(Delivery).where(Delivery.escalation_id == alert.id)
    for delivery in session.scalars(rows.with_for_update(skip_locked=True)):
        if delivery.state == DeliveryState.DUE:
            delivery.state, delivery.problem = DeliveryState.DROPPED, "the alert was taken"
        delivery.text = _LINK.sub(f"{_PATH}{BLOT}", delivery.text)

"""What a person saw or changed goes into the trail, in the transaction that did it."""

from __future__ import annotations

from sqlalchemy.orm import Session

from service.console.page import Visit
from service.privacy.trail import record

__all__ = ["note"]


def note(session: Session, seen: Visit, did: str, subject: str) -> None:
    """Adds a line to the trail; `subject` names a row or a fact, and holds no one's words."""
    record(session, seen.caller.who, did, subject, {}, seen.now)

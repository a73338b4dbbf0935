"""Who saw or changed what: a chain of lines, each holding the hash of the one before it.

A line's hash is SHA-256 over the line as canonical JSON (RFC 8785), in which the hash of the line
before it is a member: a line that is changed, taken out or moved breaks the chain from there on.
What a chain alone cannot show is lines cut off at its end; for that, a head that was noted
elsewhere, as every backup does, is held against it.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import rfc8785
from sqlalchemy import func, select, text
from sqlalchemy.orm import Session

from service.tables import Trail

__all__ = ["FIRST", "Detail", "Head", "head", "holds", "line_hash", "record", "verify"]

FIRST = "0" * 64
"""What stands for the hash before the first line."""

Detail = str | int | bool | list[int] | list[str] | None
"""What a line may say beside its subject: ids, counts and names of our own, no one's words."""

_WHO = re.compile(r"(person|token):[0-9]+|askhouse|command")
_DID = re.compile(r"[a-z]+(-[a-z]+)*(\.[a-z]+(-[a-z]+)*)+")
# Neither a name, which has a space or a capital, nor a number in E.164 fits.
_OURS = re.compile(r"(?!\+?[0-9]{7,}$)[a-z0-9][a-z0-9._:/-]*")
_LONGEST = 300

# Any number that nothing else on the same PostgreSQL database locks: "trail" in ASCII.
_LOCK = int.from_bytes(b"trail")


@dataclass(frozen=True, slots=True)
class Head:
    """How far a trail reaches: its lines, and the hash of the last (FIRST where there is none)."""

    lines: int
    hash: str


def record(
    session: Session,
    who: str,
    did: str,
    subject: str,
    details: Mapping[str, Detail],
    now: dt.datetime,
) -> None:
    """Appends a line in the caller's transaction; best as the last thing it does.

    Other processes wait with their lines until it has ended, so that no two follow the same one.

    Args:
        who: `person:ID`, `token:ID`, `askhouse` or `command`.
        did: Such as `stay.cancel`.
        subject: Such as `stay:12`.
        details: Ids, counts and names of our own.

    Raises:
        ValueError: Something could be a person's name, number or words. It is not repeated.
    """
    _check(who, did, subject, details)
    if session.get_bind().dialect.name == "postgresql":
        session.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
    # On SQLite a transaction that writes is the only one from its start.
    line = Trail(at=now, who=who, did=did, subject=subject, details=dict(details))
    line.before = head(session).hash
    line.hash = line_hash(line)
    session.add(line)
    session.flush()


def verify(session: Session) -> int | None:
    """The id of the first line that does not fit to those before it; None where all do."""
    before = FIRST
    in_order = select(Trail).order_by(Trail.id).execution_options(yield_per=500)
    with session.scalars(in_order) as lines:
        for line in lines:
            if line.before != before or line.hash != line_hash(line):
                return line.id
            before = line.hash
    return None


def head(session: Session) -> Head:
    """How far the trail reaches now."""
    last = session.scalar(select(Trail.hash).order_by(Trail.id.desc()).limit(1))
    lines = session.scalar(select(func.count()).select_from(Trail)) or 0
    return Head(lines, last or FIRST)


def holds(session: Session, earlier: Head) -> bool:
    """Whether the line that was the last one then still stands where it stood."""
    if earlier.lines == 0:
        return True
    place = select(Trail.hash).order_by(Trail.id).offset(earlier.lines - 1).limit(1)
    return session.scalar(place) == earlier.hash


def line_hash(line: Trail) -> str:
    """SHA-256, in hexadecimal, over the canonical JSON of a line and the hash before it."""
    said: dict[str, Any] = {
        "at": line.at.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
        "before": line.before,
        "details": line.details,
        "did": line.did,
        "subject": line.subject,
        "who": line.who,
    }
    return hashlib.sha256(rfc8785.dumps(said)).hexdigest()


def _check(who: str, did: str, subject: str, details: Mapping[str, Detail]) -> None:
    if not _WHO.fullmatch(who):
        raise ValueError("who: write person:ID, token:ID, askhouse or command")
    if not _DID.fullmatch(did):
        raise ValueError("did: write what was done to what, such as stay.cancel")
    if not _is_ours(subject):
        raise ValueError("subject: write a kind and an id, such as stay:12, and no one's words")
    for name, value in details.items():
        values = value if isinstance(value, list) else [value]
        if not _is_ours(name) or not all(_is_ours(v) for v in values if isinstance(v, str)):
            raise ValueError("details: write ids, counts and names of our own, and no one's words")


def _is_ours(said: str) -> bool:
    return len(said) <= _LONGEST and _OURS.fullmatch(said) is not None

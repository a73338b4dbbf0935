"""Signing in and out: one-time links to set a password, and sessions of a browser.

A function here takes the transaction of its caller. Checking a password takes a tenth of a
second, so that `stored_password` and `open_session` are two: no lock is held in between.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from service.access.keys import key_hash, new_key
from service.tables import Person, Role, SignIn

__all__ = [
    "INVITATION",
    "SESSION",
    "EmailTakenError",
    "LinkSpentError",
    "Stored",
    "first_link",
    "invite",
    "new_link",
    "open_session",
    "person_of_link",
    "person_of_session",
    "set_password",
    "sign_out",
    "stored_password",
    "sweep",
]

SESSION = dt.timedelta(days=30)  # a host signs in on the phone they carry
INVITATION = dt.timedelta(days=3)
_FIRST = dt.timedelta(days=1)

_SESSION, _LINK = "session", "set-password"


class LinkSpentError(Exception):
    """The link was used, has run out, or never was."""


class EmailTakenError(Exception):
    """Another person signs in with that e-mail address."""


@dataclass(frozen=True, slots=True)
class Stored:
    """What is known of a name before its password is checked; both None for a stranger."""

    person_id: int | None
    password_hash: str | None


def first_link(session: Session, now: dt.datetime) -> str | None:
    """The key of a link that lets the owner set a password; None once anyone has one.

    Each start makes a new one and ends the last, so that only the newest in the log opens.
    """
    if session.scalar(select(func.count()).where(Person.password_hash.is_not(None))):
        return None
    owner = session.scalar(select(Person).where(Person.role == Role.OWNER).order_by(Person.id))
    if owner is None:
        owner = Person(name="Owner", role=Role.OWNER, houses=[], created_at=now)
        session.add(owner)
        session.flush()
    return new_link(session, owner, now, _FIRST)


def invite(
    session: Session, *, name: str, email: str, role: Role, houses: list[str], now: dt.datetime
) -> tuple[Person, str]:
    """A new person, and the key of the link with which they set their password.

    Raises:
        EmailTakenError: Someone has that address.
    """
    _free(session, email, None)
    person = Person(name=name, email=email.lower(), role=role, houses=houses, created_at=now)
    session.add(person)
    session.flush()
    return person, new_link(session, person, now, INVITATION)


def new_link(session: Session, person: Person, now: dt.datetime, lasts: dt.timedelta) -> str:
    """The key of a link to set the person's password; earlier links no longer open."""
    session.execute(delete(SignIn).where(SignIn.person_id == person.id, SignIn.purpose == _LINK))
    return _keep(session, person.id, _LINK, now, now + lasts)


def person_of_link(session: Session, key: str, now: dt.datetime) -> Person:
    """Whose password the link sets.

    Raises:
        LinkSpentError: It opens nothing.
    """
    person = _person_of(session, key, _LINK, now)
    if person is None:
        raise LinkSpentError
    return person


def set_password(
    session: Session, key: str, *, name: str, email: str, password_hash: str, now: dt.datetime
) -> str:
    """Spends the link: name, address and password are kept, and a session's key is given.

    Raises:
        LinkSpentError: The link opens nothing.
        EmailTakenError: Someone else has that address.
    """
    person = person_of_link(session, key, now)
    _free(session, email, person.id)
    person.name, person.email, person.password_hash = name, email.lower(), password_hash
    # Whoever knew the old password, or found the link, is out.
    session.execute(delete(SignIn).where(SignIn.person_id == person.id))
    return open_session(session, person.id, now)


def stored_password(session: Session, email: str) -> Stored:
    """The hash to check a password against."""
    row = session.execute(
        select(Person.id, Person.password_hash).where(
            Person.email == email.strip().lower(), Person.left_at.is_(None)
        )
    ).one_or_none()
    return Stored(*row) if row else Stored(None, None)


def open_session(session: Session, person_id: int, now: dt.datetime) -> str:
    """The key of a new session, for the browser's cookie."""
    return _keep(session, person_id, _SESSION, now, now + SESSION)


def person_of_session(session: Session, key: str, now: dt.datetime) -> Person | None:
    """Who is signed in with that key; None where the session has ended or the person left."""
    return _person_of(session, key, _SESSION, now)


def sign_out(session: Session, key: str) -> None:
    """Ends one session."""
    session.execute(
        delete(SignIn).where(SignIn.token_hash == key_hash(key), SignIn.purpose == _SESSION)
    )


def sweep(session: Session, now: dt.datetime) -> None:
    """Forgets what has run out."""
    session.execute(delete(SignIn).where(SignIn.expires_at <= now))


def _keep(
    session: Session, person_id: int, purpose: str, now: dt.datetime, until: dt.datetime
) -> str:
    key = new_key()
    session.add(
        SignIn(
            token_hash=key_hash(key),
            person_id=person_id,
            purpose=purpose,
            created_at=now,
            expires_at=until,
        )
    )
    session.flush()
    return key


def _person_of(session: Session, key: str, purpose: str, now: dt.datetime) -> Person | None:
    return session.scalar(
        select(Person)
        .join(SignIn, SignIn.person_id == Person.id)
        .where(
            SignIn.token_hash == key_hash(key),
            SignIn.purpose == purpose,
            SignIn.expires_at > now,
            Person.left_at.is_(None),
        )
    )


def _free(session: Session, email: str, but: int | None) -> None:
    taken = session.scalar(select(Person.id).where(Person.email == email.lower()))
    if taken is not None and taken != but:
        raise EmailTakenError

"""Who is behind a contact, a number, or what the database says of who took something."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from service.alerts.contact_settings import Contact, LineContact
from service.tables import ApiToken, Person

__all__ = ["name_of", "number_of", "person_of", "who"]

_PERSON, _TOKEN = "person", "token"
LINK = "link"
"""Who took an alert by its link, where that does not tell whose link it was."""


def person_of(session: Session, contact: Contact) -> Person | None:
    """The person whom a contact belongs to, unless they have left."""
    if contact.person is None:
        if not isinstance(contact, LineContact) or contact.number is None:
            return None
        whose = Person.number == contact.number
    elif contact.person.startswith("+"):
        whose = Person.number == contact.person
    else:
        whose = Person.email == contact.person.lower()
    return session.scalar(select(Person).where(whose, Person.left_at.is_(None)))


def number_of(contact: Contact, person: Person | None) -> str | None:
    """The number that a contact gets text messages at; None for one that gets none."""
    if not isinstance(contact, LineContact):
        return None
    return contact.number or (person.number if person is not None else None)


def who(person: Person) -> str:
    """A person as the database names them."""
    return f"{_PERSON}:{person.id}"


def name_of(session: Session, named: str) -> str:
    """Who `person:ID`, `token:ID`, or a contact's name is, for people to read."""
    kind, _, number = named.partition(":")
    if kind in (_PERSON, _TOKEN) and number.isdecimal():
        table = Person if kind == _PERSON else ApiToken
        name = session.scalar(select(table.name).where(table.id == int(number)))
        return name or "someone who is not here any more"
    return "someone with the link" if named == LINK else named

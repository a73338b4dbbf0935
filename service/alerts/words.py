"""What an alert says to the host: how urgent, what, where, from whom, and how to take it.

What is most urgent stands first, since a telephone shows only the beginning. The guest's number is
masked, and their words go only to contacts that may read them, without any secret of the house.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from zoneinfo import ZoneInfo

from askhouse.values import House, Kind, Level
from service.alerts.contact_settings import Contact, LineContact
from service.blots import guest_words
from service.lines.arrived import WITHHELD
from service.lines.masking import masked
from service.lines.segments import count, plain
from service.tables import Escalation

__all__ = ["KINDS", "OWN_WORDS", "About", "Words", "headline", "words_for"]

KINDS: Mapping[str, str] = MappingProxyType(
    {
        "safety": "someone may be in danger",
        "lockout": "a guest is locked out",
        "damage": "something is broken",
        "request": "a guest asks for your decision",
        "complaint": "a guest is not happy",
        "gap": "a guest asked what is not written yet",
        "code": "a guest needs a code",
        "unread": "a message could not be read",
        "delivery": "a message could not be sent",
        "flood": "many messages from one guest",
        "houses": "guests are not answered",
    }
)
OWN_WORDS = frozenset({"delivery", "flood", "houses"})
"""Kinds whose summary is Askhouse's own, not a guest's words."""

_LEVELS = MappingProxyType({"emergency": "EMERGENCY", "urgent": "Urgent", "soon": "When you can"})
_MOST_SEGMENTS = 3  # of a text message to the host; the guest's words are shortened for it


@dataclass(frozen=True, slots=True, kw_only=True)
class About:
    """What an alert is about.

    Attributes:
        sender: The guest's number, or what stands for it; None where there is no guest.
        house: None where none is settled, or it cannot be read at the moment.
        houses: All houses, whose secrets are kept out of words that belong to none of them.
        door_code: The stay's own.
    """

    alert: Escalation
    sender: str | None
    house: House | None
    houses: Mapping[str, House]
    door_code: str | None = None

    @property
    def zone(self) -> str:
        """The time zone of the house; UTC where there is none."""
        return self.house.timezone if self.house is not None else "UTC"

    @property
    def place(self) -> str:
        """The house's name, as far as it is known."""
        return self.house.name if self.house is not None else self.alert.house or ""

    def summary(self) -> str:
        """What it says, in one line, without any secret."""
        text = self.alert.summary
        for house in [self.house] if self.house is not None else self.houses.values():
            text = guest_words(text, house, self.door_code)
        return " ".join(text.split())


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """An alert as one contact gets it; `title` for channels that have one."""

    title: str
    text: str


def headline(about: About) -> str:
    """Level, kind and house: `EMERGENCY: someone may be in danger, Orchard Barn`."""
    alert = about.alert
    what = KINDS.get(alert.kind, "something needs you")
    said = f"{_LEVELS.get(alert.level, alert.level)}: {what}"
    return f"{said}, {about.place}" if about.place else said


def words_for(
    contact: Contact, about: About, *, reads: bool, link: str | None, reply: str | None, round_: int
) -> Words:
    """The alert as a contact is to read it.

    Args:
        reads: Whether the guest's words may stand in it.
        link: That takes it, where the service has an address.
        reply: What takes it in a text message of the contact, behind TAKE; None where none does.
        round_: From 0; from 1 on it says that nobody took it yet.
    """
    title = headline(about)
    if round_:
        title = f"{title} (again: nobody has taken it)"
    quote = about.summary() if reads or about.alert.kind in OWN_WORDS else ""
    if isinstance(contact, LineContact):
        return Words(title="", text=_short(title, about, quote, link, reply))
    said = quote if about.alert.kind in OWN_WORDS or not quote else f"“{quote}”"
    way = f"Take it, and nobody else is called: {link}" if link else ""
    lines = [title, *_caution(about), _from(about), said, way]
    return Words(title=title, text="\n".join(line for line in lines if line))


def _short(title: str, about: About, quote: str, link: str | None, reply: str | None) -> str:
    """A text message: the guest's words are what is shortened."""
    ways = [f"Reply TAKE {reply}"] if reply else []
    ways += [link] if link else []
    ending = f" ...{about.sender[-2:]}" if about.sender and about.sender.startswith("+") else ""
    before = plain(" ".join([f"{title}.", *_caution(about)]))
    after = plain(f"{f' From{ending}.' if ending else ''} {' or '.join(ways)}".rstrip())
    quote = plain(quote).replace('"', "'")
    shown = quote
    while shown and count(_joined(before, shown, quote, after)).segments > _MOST_SEGMENTS:
        shown = shown[:-5].rstrip()
    return _joined(before, shown, quote, after)


def _joined(before: str, shown: str, quote: str, after: str) -> str:
    said = f' "{shown}{"..." if shown != quote else ""}"' if shown else ""
    return f"{before}{said}{after}"


def _caution(about: About) -> list[str]:
    """Askhouse alerts a host; help is the emergency services' to give."""
    if about.alert.kind != Kind.SAFETY and about.alert.level != Level.EMERGENCY:
        return []
    number = about.house.emergency_number if about.house is not None else ""
    services = f"the emergency services ({number})" if number else "the emergency services"
    return [f"First make sure that {services} are called."]


def _from(about: About) -> str:
    at = about.alert.created_at.astimezone(ZoneInfo(about.zone))
    clock = f"{at:%H:%M} on {at.day} {at:%B}" + (" UTC" if about.house is None else "")
    if about.sender is None:
        return f"At {clock}."
    who = "a hidden number" if about.sender == WITHHELD else masked(about.sender)
    return f"From {who} at {clock}."

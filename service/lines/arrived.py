"""What a gateway handed over: one text message, or one piece of a long one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

__all__ = ["WITHHELD", "Arrived", "PieceOf"]

WITHHELD = "withheld"  # stands for the number of a sender who hides it


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceOf:
    """Which piece of a long message this is, where a gateway hands the pieces over apart.

    Attributes:
        reference: The gateway's name for the long message; it repeats after some time.
        number: From 1.
        of: How many pieces the long message has.
    """

    reference: str
    number: int
    of: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrived:
    """A message as it came in.

    Attributes:
        line: Name of the line it came by.
        sender: E.164, or "withheld", or the raw text where it is no number (a short code,
            an alphanumeric name).
        to: The number it was sent to, E.164; the line's own where the gateway does not say.
        text: As the guest wrote it.
        gateway_id: The gateway's id, or one made of what it says; the same for a message that
            is delivered again.
        received_at: When the gateway had it, if it says so, or when we did; UTC.
        piece: None for a whole message.
    """

    line: str
    sender: str
    to: str
    text: str
    gateway_id: str
    received_at: datetime
    piece: PieceOf | None = None

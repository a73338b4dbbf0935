"""The console's words for what is stored: states, outcomes, how sure, and when."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from zoneinfo import ZoneInfo

__all__ = [
    "KINDS",
    "LEVELS",
    "OUTCOMES",
    "STATES",
    "TOLD",
    "WAITING",
    "Sure",
    "When",
    "day",
    "sure",
    "when",
]

OUTCOMES: Mapping[str, str] = MappingProxyType(
    {
        "answer": "Answered",
        "gap": "Not written yet",
        "escalate": "For you",
        "chat": "Just a kind word",
    }
)
KINDS: Mapping[str, str] = MappingProxyType(
    {
        "safety": "Someone may be in danger",
        "lockout": "Locked out",
        "damage": "Something is broken",
        "request": "Asks for your decision",
        "complaint": "Not happy",
        "delivery": "A message could not be sent",
        "unread": "A message could not be read",
        "code": "Asks for a code",
        "gap": "Asked what is not written yet",
        "flood": "Many messages from one guest",
        "houses": "No house can be read",
    }
)
LEVELS: Mapping[str, str] = MappingProxyType(
    {"emergency": "Emergency", "urgent": "Urgent", "soon": "Soon"}
)
STATES: Mapping[str, str] = MappingProxyType(
    {
        "open": "Waiting for you",
        "taken": "Taken",
        "answered": "Answered",
        "closed": "Closed",
        "written": "Written",
        "dismissed": "Left out",
        "waiting": "Being read",
        "working": "Being read",
        "failed": "Failed",
        "due": "Going out",
        "sending": "Going out",
        "sent": "Sent",
        "dropped": "Not sent",
    }
)
# Who waits for an answer that nobody has written; nothing is said of whoever asks next.
WAITING: Mapping[str, str] = MappingProxyType(
    {"here": "A guest here now asks", "coming": "A coming guest asks", "later": ""}
)
# What a page says once after something was done; the address carries the key alone.
TOLD: Mapping[str, str] = MappingProxyType(
    {
        "sent": "Your message is on its way.",
        "learned": "Noted: this way of asking now belongs to that fact.",
        "right": "Noted as right.",
        "gap": "Noted as not answered; you find it under Gaps.",
        "taken": "You have it now. The others are not called any more.",
        "answered": "Answered. Your words are on their way to the guest.",
        "closed": "Closed.",
        "stay-added": "The stay is in the list.",
        "stay-cancelled": "The stay is cancelled; its numbers no longer open anything.",
        "stay-changed": "Saved.",
        "saved": "Saved. Guests get the new words from now on.",
        "removed": "Removed. Undo brings it back.",
        "undone": "Undone. The words before are back.",
        "written": "Written. The next guest who asks is answered.",
        "dismissed": "Left out of the list.",
        "merged": "Put together.",
        "split": "Taken apart.",
        "corrected": "The correction is on its way.",
        "invited": "Give the link below to the person; it is shown this once.",
        "person": "Saved.",
        "revoked": "The token opens nothing any more.",
        "signed-out": "You are signed out.",
        "already": "Someone was faster; here is how it stands now.",
    }
)


@dataclass(frozen=True, slots=True)
class When:
    """A time for people, and for machines (`iso`)."""

    iso: str
    words: str


@dataclass(frozen=True, slots=True)
class Sure:
    """How sure: a word, and of a hundred such cases how many are right."""

    words: str
    hundred: int


def sure(confidence: float) -> Sure:
    """How sure a probability is, 0 to 1."""
    ladder = ((0.95, "Very sure"), (0.85, "Sure"), (0.7, "Fairly sure"), (0.5, "Not so sure"))
    words = next((word for least, word in ladder if confidence >= least), "A guess")
    # Never 100: nothing here is certain.
    return Sure(words, min(99, round(confidence * 100)))


def when(at: dt.datetime, now: dt.datetime, zone: str) -> When:
    """A time, as one would say it today in that time zone."""
    there = ZoneInfo(zone)
    local, today = at.astimezone(there), now.astimezone(there).date()
    clock = f"{local:%H:%M}"
    minutes = int((now - at).total_seconds() // 60)
    if 0 <= minutes < 1:
        words = "just now"
    elif 0 < minutes < 60:
        words = f"{minutes} min ago"
    elif local.date() == today:
        words = f"today {clock}"
    elif local.date() == today - dt.timedelta(days=1):
        words = f"yesterday {clock}"
    elif local.date() == today + dt.timedelta(days=1):
        words = f"tomorrow {clock}"
    elif local.year == today.year:
        words = f"{local.day} {local:%b}, {clock}"
    else:
        words = f"{local.day} {local:%b %Y}"
    return When(local.isoformat(timespec="minutes"), words)


def day(date: dt.date, today: dt.date) -> When:
    """A day, as one would say it today."""
    away = (date - today).days
    near = {0: "today", 1: "tomorrow", -1: "yesterday"}
    year = "" if date.year == today.year else f" {date.year}"
    return When(date.isoformat(), near.get(away, f"{date:%a} {date.day} {date:%b}{year}"))

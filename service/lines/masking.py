"""Numbers and paths as a log may show them."""

from __future__ import annotations

__all__ = ["masked", "masked_path"]

_SHOWN_BEFORE = 3
_SHOWN_AFTER = 2
_SHORTEST = 8  # below, what is shown would be most of it
PREFIX = "/lines/"


def masked(sender: str) -> str:
    """A number with its middle hidden: +44•••••••12. The length stays, to tell numbers apart."""
    if len(sender) < _SHORTEST:
        return "•" * len(sender)
    hidden = len(sender) - _SHOWN_BEFORE - _SHOWN_AFTER
    return sender[:_SHOWN_BEFORE] + "•" * hidden + sender[-_SHOWN_AFTER:]


def masked_path(path: str) -> str:
    """A request's path without the secret that may be the last part of a line's."""
    if not path.startswith(PREFIX):
        return path
    line, slash, _ = path.removeprefix(PREFIX).partition("/")
    return f"{PREFIX}{line}/…" if slash else path

"""What time it is: a clock is passed along, so that a test can set it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

__all__ = ["Clock", "utc_now"]

Clock = Callable[[], dt.datetime]
"""Gives the time, aware, in UTC."""


def utc_now() -> dt.datetime:
    """What time it is."""
    return dt.datetime.now(dt.UTC)

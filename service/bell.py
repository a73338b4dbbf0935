"""A bell between threads of one process: whoever waits for work hears at once that there is some.

Other processes cannot hear it. They find the work when they next look, a moment later.
"""

from __future__ import annotations

import threading

__all__ = ["Bell"]


class Bell:
    """Counts its strokes, so that none is missed between looking for work and waiting for it."""

    def __init__(self) -> None:
        self._struck = threading.Condition()
        self._strokes = 0

    @property
    def strokes(self) -> int:
        """How often it was rung."""
        return self._strokes

    def ring(self) -> None:
        """Wakes everyone who waits."""
        with self._struck:
            self._strokes += 1
            self._struck.notify_all()

    def wait(self, heard: int, timeout_s: float) -> int:
        """Waits for a stroke after the `heard` first ones, or for the time; the strokes so far."""
        with self._struck:
            self._struck.wait_for(lambda: self._strokes > heard, timeout_s)
            return self._strokes

"""Threads that look for work again and again until they are told to stop."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable

from service.bell import Bell

__all__ = ["Loops"]

log = logging.getLogger(__name__)

_AFTER_FAULT_S = 1.0  # a database that is away must not be asked a thousand times a second


class Loops:
    """Runs steps, each in a thread of its own.

    A step does one piece of work and says whether there was any. Where there was none, its thread
    waits for the bell, or for `idle_s`, in which another process may have left some.

    Args:
        bell: Rung when this process has made work.
        idle_s: Seconds between two looks where nobody rings.
    """

    def __init__(self, bell: Bell, idle_s: float) -> None:
        self._bell = bell
        self._idle_s = idle_s
        self._stopping = threading.Event()
        self._threads: list[threading.Thread] = []

    def start(self, name: str, step: Callable[[], bool]) -> None:
        """Begins to run a step."""
        thread = threading.Thread(target=self._run, args=(name, step), name=name, daemon=True)
        self._threads.append(thread)
        thread.start()

    def stop(self, timeout_s: float) -> bool:
        """Lets every step end the work it is at; False where one took longer than that."""
        self._stopping.set()
        self._bell.ring()
        until = time.monotonic() + timeout_s
        for thread in self._threads:
            thread.join(max(until - time.monotonic(), 0))
        return not any(thread.is_alive() for thread in self._threads)

    def _run(self, name: str, step: Callable[[], bool]) -> None:
        while not self._stopping.is_set():
            heard = self._bell.strokes
            try:
                worked = step()
            except Exception:
                # Nothing is lost: a claim runs out, and the work is found again.
                log.error("%s failed, and goes on", name, exc_info=True)
                self._stopping.wait(_AFTER_FAULT_S)
                continue
            if not worked and not self._stopping.is_set():
                self._bell.wait(heard, self._idle_s)

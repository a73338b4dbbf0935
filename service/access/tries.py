"""How often a password may be tried: for each name, and from each address.

Kept in memory, for each process its own: with two processes a guesser has twice the tries,
which against twelve characters changes nothing.
"""

from __future__ import annotations

import ipaddress
import threading
from collections import deque
from collections.abc import Callable

__all__ = ["Tries", "network_of"]


class Tries:
    """Counts failures in a sliding time, and says how long to wait.

    Args:
        most: Failures after which one has to wait.
        within_s: The time, in seconds, in which they count.
        clock: Seconds, from any start; never goes back.
    """

    def __init__(self, most: int, within_s: float, clock: Callable[[], float]) -> None:
        self._most = most
        self._within_s = within_s
        self._clock = clock
        self._failed: dict[str, deque[float]] = {}
        self._lock = threading.Lock()
        self._sweep_at = clock() + within_s

    def wait(self, *keys: str) -> float:
        """Seconds until the next try of all these names and addresses; 0 for now."""
        now = self._clock()
        with self._lock:
            full = [self._recent(key, now) for key in keys]
            return max(
                (f[0] + self._within_s - now for f in full if len(f) >= self._most), default=0.0
            )

    def failed(self, *keys: str) -> None:
        """A try failed."""
        now = self._clock()
        with self._lock:
            self._sweep(now)
            for key in keys:
                self._failed.setdefault(key, deque(maxlen=self._most)).append(now)

    def forgive(self, key: str) -> None:
        """The right password was given: the name starts anew."""
        with self._lock:
            self._failed.pop(key, None)

    def __len__(self) -> int:
        return len(self._failed)

    def _recent(self, key: str, now: float) -> deque[float]:
        tries = self._failed.get(key, deque())
        while tries and tries[0] <= now - self._within_s:
            tries.popleft()
        return tries

    def _sweep(self, now: float) -> None:
        # Names that were never anyone's must not pile up.
        if now >= self._sweep_at:
            self._failed = {k: t for k in list(self._failed) if (t := self._recent(k, now))}
            self._sweep_at = now + self._within_s


def network_of(host: str) -> str:
    """The address; of IPv6 the network, since one customer has all of its addresses."""
    try:
        address = ipaddress.ip_address(host)
    except ValueError:
        return host
    if address.version == 6:
        return str(ipaddress.ip_network((int(address), 64), strict=False))
    return host

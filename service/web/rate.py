"""How often one client may ask: a bucket for each that fills with time."""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable

#: Clients remembered; the longest silent go first.
CLIENTS = 10_000


class Rate:
    """`a_minute`: requests in the long run; as many may come at once. Safe among threads."""

    def __init__(self, a_minute: int, now: Callable[[], float] = time.monotonic) -> None:
        self._most, self._now, self._lock = float(a_minute), now, threading.Lock()
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def allows(self, client: str) -> bool:
        """Takes one from the client's bucket; False when it is empty."""
        with self._lock:
            now = self._now()
            left, before = self._left.pop(client, (self._most, now))
            left = min(self._most, left + (now - before) * self._most / 60)
            allowed = left >= 1
            self._left[client] = (left - 1 if allowed else left, now)
            while len(self._left) > CLIENTS:
                self._left.popitem(last=False)
            return allowed

    def forgive(self, client: str) -> None:
        """Gives back the one last taken."""
        with self._lock:
            if client in self._left:
                left, before = self._left[client]
                self._left[client] = (min(self._most, left + 1), before)

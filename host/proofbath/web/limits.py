"""How often a password may be guessed: after some wrong ones each costs a longer wait."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass

from proofbath.bench.clock import Clock

FREE_FOR_NAME = 5
FREE_FOR_ADDRESS = 20
LONGEST_WAIT_S = 300.0
_FORGOTTEN_AFTER_S = 3600.0
_MOST_KEPT = 10_000


@dataclass
class _Tries:
    count: int = 0
    last_s: float = 0.0


class SignInDelays:
    """Counts tries by name and by address; in memory, as an attack does not outlive a restart."""

    def __init__(self, clock: Clock) -> None:
        self._clock, self._lock = clock, threading.Lock()
        self._tries: OrderedDict[str, _Tries] = OrderedDict()

    def begin(self, name: str, address: str) -> float:
        """Count a try and return 0; or return the seconds to wait, and it does not count.

        Counted before the password is looked at: many tries at once gain nothing.
        """
        keys = {f"name {name[:200].casefold()}": FREE_FOR_NAME, f"at {address}": FREE_FOR_ADDRESS}
        now_s = self._clock()
        with self._lock:
            wait_s = max(self._wait_s(key, free, now_s) for key, free in keys.items())
            if wait_s > 0:
                return wait_s
            for key in keys:
                tries = self._tries.setdefault(key, _Tries())
                if now_s - tries.last_s > _FORGOTTEN_AFTER_S:
                    tries.count = 0
                tries.count, tries.last_s = tries.count + 1, now_s
                self._tries.move_to_end(key)
            while len(self._tries) > _MOST_KEPT:
                self._tries.popitem(last=False)
        return 0.0

    def succeeded(self, name: str, address: str) -> None:
        """Forget the name's tries, and the address's last one only: it may guess at others."""
        with self._lock:
            self._tries.pop(f"name {name[:200].casefold()}", None)
            here = self._tries.get(f"at {address}")
            if here is not None:
                here.count = max(0, here.count - 1)

    def just_slowed(self, name: str) -> bool:
        """Whether the last try of a name used up the free ones."""
        with self._lock:
            tries = self._tries.get(f"name {name[:200].casefold()}")
            return tries is not None and tries.count == FREE_FOR_NAME

    def _wait_s(self, key: str, free: int, now_s: float) -> float:
        tries = self._tries.get(key)
        if tries is None or tries.count < free or now_s - tries.last_s > _FORGOTTEN_AFTER_S:
            return 0.0
        delay_s = min(LONGEST_WAIT_S, 2.0 ** min(tries.count - free, 20))
        return max(0.0, tries.last_s + delay_s - now_s)

"""Whether the units that are fed have opened, or shut again: where a ramp with current may end."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from proofbath.run.blocks import Block
from proofbath.run.power import LIFT_SPARE_MM
from proofbath.run.profile import Loading

SHUT_MM = 0.2
"""A lift this near the cold one's belongs to a shut unit; the rest is the fixture's."""
SHUT_BLOCKS = 18
"""A unit that is shut stands still for three minutes."""
STILL_MM = 0.02


class Opened:
    """Follows the lifts of fed stations through one ramp of the bath; for none it is never done."""

    def __init__(
        self, stations: Sequence[int], loading: Loading, closed_mm: Sequence[float], rises: bool
    ) -> None:
        self._fed = [station - 1 for station in stations]
        self._full_mm = loading.full_lift_mm
        self._closed_mm = closed_mm
        self._rises = rises
        self._last: deque[tuple[float, ...]] = deque(maxlen=SHUT_BLOCKS)

    def take(self, block: Block) -> None:
        """Take ten seconds' means."""
        opened = zip(block.lift_mm, self._closed_mm, strict=True)
        self._last.append(tuple(lift_mm - closed_mm for lift_mm, closed_mm in opened))

    @property
    def all_done(self) -> bool:
        """Whether every fed unit has its full lift on a rise, or is shut on a fall.

        A unit whose gauge is faulty never is.
        """
        if not self._fed or not self._last:
            return False
        is_done = self._is_full if self._rises else self._is_shut
        return all(is_done(i) for i in self._fed)

    def _is_full(self, i: int) -> bool:
        return self._last[-1][i] > self._full_mm[i] + LIFT_SPARE_MM

    def _is_shut(self, i: int) -> bool:
        if len(self._last) < SHUT_BLOCKS:
            return False
        lifts = [lifts_mm[i] for lifts_mm in self._last]
        return abs(lifts[-1]) < SHUT_MM and max(lifts) - min(lifts) <= STILL_MM

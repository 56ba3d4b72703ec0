"""Steadiness by the slope of the record: a line through the last minute's block means."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

from proofbath.run.blocks import BLOCK_S, Block

BLOCKS = 6
_AT = tuple(i - (BLOCKS - 1) / 2.0 for i in range(BLOCKS))
_PER_MIN = 60.0 / BLOCK_S / sum(x * x for x in _AT)


class Steadiness:
    """Slopes of bath and lifts over the last minute of blocks."""

    def __init__(self) -> None:
        self._blocks: deque[Block] = deque(maxlen=BLOCKS)

    def add(self, block: Block) -> None:
        """Take the next block; one that does not follow on begins the record anew."""
        if self._blocks and block.from_s != self._blocks[-1].to_s:
            self._blocks.clear()
        self._blocks.append(block)

    def within(self, k_per_min: float, mm_per_min: float) -> bool:
        """Return whether a full record changes no faster; a faulty gauge has no say."""
        if len(self._blocks) < BLOCKS:
            return False
        if not abs(_slope([block.bath_c for block in self._blocks])) <= k_per_min:
            return False
        lifts = zip(*(block.lift_mm for block in self._blocks), strict=True)
        return not any(abs(_slope(values)) > mm_per_min for values in lifts)


def _slope(values: Sequence[float]) -> float:
    return _PER_MIN * sum(x * y for x, y in zip(_AT, values, strict=True))

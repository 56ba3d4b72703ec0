"""A gauge that stands still where its own unit must move; one that rests where it may is sound.

A valve rests while it is shut, at its stop, and in its wax's play where the bath turns round.  It
must move where its unit's own curve of this run says so.  The lowest lift seen at each bath is the
rising one.  A later rise that stands well below it, or a fall that stands well above what the rise
had many kelvins hotter, is no valve that rests.  A unit whose curve is not known yet must be off
its seat where its type is fully open.  Where its element is fed nothing is judged: current opens a
valve at any bath.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from proofbath.run.blocks import Block

STILL_BLOCKS = 12
"""Two minutes."""
STILL_MM = 0.02
"""Less than a gauge's noise and the fixture's expansion in that time is no motion."""
MUST_MOVE_MM = 0.5
LATER_K = 2.0
"""Another rate, or another cycle, may bring a lift so much later (common practice, no source)."""
WIDEST_PLAY_K = 8.0
"""Wax closes no farther below where it opened, lag and friction included (common practice, no
source)."""
SHUT_MM = 0.2
"""A lift this near the cold one's belongs to a closed unit; the rest is the fixture's."""
SURELY_SHUT_K = 25.0
"""So far below its type's full-open even an over-filled unit is shut (common practice,
no source)."""
RELAXED_S = 600.0
"""So long behind its current an element may still be warm, or its valve on its way."""
BIN_K = 0.5


class _Stand(NamedTuple):
    """Where a gauge has been standing: its lift, blocks so far, lowest and highest bath."""

    lift_mm: float
    blocks: int
    low_c: float
    high_c: float


class GaugeWatch:
    """Follows one station's gauge; `open_by_c` is where its type is fully open unpowered."""

    def __init__(self, open_by_c: float = math.inf) -> None:
        self._open_by_c = open_by_c
        self._lowest_mm: dict[int, float] = {}
        self._cold = (math.inf, math.nan)
        self._stand = _Stand(math.nan, 0, math.nan, math.nan)
        self._fed_s = -math.inf

    def stands(self, block: Block, lift_mm: float, fed: bool) -> bool:
        """Take a block's lift; tell whether the gauge stands where its unit must move."""
        if fed:
            self._fed_s = block.to_s
        if math.isnan(lift_mm + block.bath_c) or block.to_s - self._fed_s < RELAXED_S:
            self._stand = _Stand(math.nan, 0, math.nan, math.nan)
            return False
        if block.bath_c < self._cold[0]:
            self._cold = (block.bath_c, lift_mm)
        stand = self._stand
        if not abs(lift_mm - stand.lift_mm) <= STILL_MM:
            self._leave()
            self._stand = _Stand(lift_mm, 0, block.bath_c, block.bath_c)
            return False
        low_c, high_c = min(stand.low_c, block.bath_c), max(stand.high_c, block.bath_c)
        self._stand = _Stand(stand.lift_mm, stand.blocks + 1, low_c, high_c)
        return self._stand.blocks >= STILL_BLOCKS and self._must_move(block.bath_c)

    def _leave(self) -> None:
        """A stand that ends in motion was a rest: all baths it lasted over belong to the curve."""
        lift_mm, _, low_c, high_c = self._stand
        if math.isnan(lift_mm):
            return
        for place in range(_bin(low_c), _bin(high_c) + 1):
            self._lowest_mm[place] = min(lift_mm, self._lowest_mm.get(place, math.inf))

    @property
    def _knows_cold(self) -> bool:
        return self._cold[0] < self._open_by_c - SURELY_SHUT_K

    def _must_move(self, bath_c: float) -> bool:
        lift_mm = self._stand.lift_mm
        risen_mm = self._lowest_mm.get(_bin(bath_c - LATER_K), -math.inf)
        hotter_mm = self._lowest_mm.get(_bin(bath_c + WIDEST_PLAY_K), math.inf)
        never_mm = abs(lift_mm - self._cold[1])
        return (
            risen_mm > lift_mm + MUST_MOVE_MM
            or hotter_mm < lift_mm - MUST_MOVE_MM
            or (self._knows_cold and bath_c >= self._open_by_c and never_mm < SHUT_MM)
        )


def _bin(bath_c: float) -> int:
    return round(bath_c / BIN_K)

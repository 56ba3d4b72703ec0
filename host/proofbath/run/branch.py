"""Which branch a step is on, and whether the bath has left it."""

from __future__ import annotations

import math

from proofbath.run.note import Branch

SPOILING_K = 0.3
"""Going back by more leaves a branch: the units turn round (common practice, no source)."""
_LEVEL_K = 0.05


class BranchWatch:
    """Follows the bath along one branch of one cycle."""

    def __init__(self) -> None:
        self.branch = Branch.LEVEL
        self._cycle = -1
        self._extreme_c = math.nan

    def begin(self, cycle: int, from_c: float, to_c: float) -> None:
        """A step begins; one that goes on the same way in the same cycle is the same branch."""
        branch = Branch.LEVEL
        if abs(to_c - from_c) > _LEVEL_K:
            branch = Branch.RISING if to_c > from_c else Branch.FALLING
        if branch is not self.branch or cycle != self._cycle:
            self._extreme_c = from_c
        self.branch, self._cycle = branch, cycle

    def follow(self, bath_c: float) -> None:
        """Take a reading."""
        if self.branch is Branch.RISING:
            if not bath_c <= self._extreme_c:
                self._extreme_c = bath_c
        elif not bath_c >= self._extreme_c:
            self._extreme_c = bath_c

    def went_back_k(self, bath_c: float) -> float:
        """Return how far in K the bath stands back from the extreme of its branch."""
        if self.branch is Branch.RISING:
            return max(0.0, self._extreme_c - bath_c)
        if self.branch is Branch.FALLING:
            return max(0.0, bath_c - self._extreme_c)
        return 0.0

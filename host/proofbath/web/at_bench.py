"""Heat, and clearing a trip, need somebody at the bench: every route that can do so says so."""

from __future__ import annotations

from typing import Annotated, NamedTuple

from fastapi import Depends
from starlette.requests import HTTPConnection

from proofbath.bench.connect import simulated
from proofbath.web.frame import frame_of
from proofbath.workshop.presence import check_code, spend_code
from proofbath.workshop.shop import Shop


class AtBench(NamedTuple):
    """Tells whether somebody stands at a bench, by the code that is read there."""

    shop: Shop
    at: str

    def needed(self, bench: str) -> bool:
        """Whether a bench asks for its code: a real one always does."""
        relaxed = not self.shop.file.serve.code_on_virtual_benches
        return not (relaxed and simulated(self.shop.bench(bench)))

    def prove(self, bench: str, code: str) -> None:
        """Refuse who did not read the bench's code; raises InputError."""
        if self.needed(bench):
            check_code(self.shop.folder, bench, code.strip(), self.at)

    def spend(self, bench: str) -> None:
        """A start was made: the code is good no more."""
        if self.needed(bench):
            spend_code(self.shop.folder, bench)


def at_bench(connection: HTTPConnection) -> AtBench:
    """Return what tells whether somebody is at a bench; a route that heats depends on it."""
    frame = frame_of(connection)
    return AtBench(frame.shop, frame.utc())


NeedsPresence = Annotated[AtBench, Depends(at_bench)]

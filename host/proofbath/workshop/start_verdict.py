"""What came of a start, as the night's own process says it: one line of JSON in a file."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Literal

from pydantic import ValidationError

from proofbath.description import Described
from proofbath.files import read_text


class StartVerdict(Described):
    """A run that has begun, or why there is none."""

    verdict: Literal["begun", "refused"]
    faults: tuple[str, ...] = ()
    """Why, one line each: what, measured, limit, what to do."""
    trip: str | None = None
    """The latched trip that stands in the way, by its name on the wire, where that is why."""

    def write(self, path: Path) -> None:
        """Write it whole or not at all."""
        part = path.with_suffix(".part")
        part.write_text(self.model_dump_json() + "\n", encoding="utf-8")
        os.replace(part, path)


def read_verdict(path: Path) -> StartVerdict | None:
    """Return what came of a start; None while that is not known."""
    if not path.is_file():
        return None
    try:
        return StartVerdict.model_validate_json(read_text(path))
    except ValidationError:
        return None

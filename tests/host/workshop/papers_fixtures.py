"""A measured batch, made once a process and copied for every test that writes to it."""

from __future__ import annotations

import atexit
import functools
import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

from host.workshop.raw_shop import whole_batch

OPENS_C = {"T82-0101": 82.0, "T82-0102": 81.2, "T82-0103": 85.0, "T82-0104": 83.7}
"""As left: two that pass, one that fails, one that passes conditionally."""
PASS, FAIL, CONDITIONAL = ("T82-0101", "T82-0102"), "T82-0103", "T82-0104"


@functools.cache
def _measured() -> Path:
    made = TemporaryDirectory()
    atexit.register(made.cleanup)
    whole_batch(Path(made.name), OPENS_C)
    return Path(made.name)


def measured_batch(to: Path) -> Path:
    """Copy a workshop whose batch was measured as found and as left; return its file."""
    shutil.copytree(_measured(), to)
    return to / "workshop.toml"

"""How far the broker was told, kept over restarts of the program in one small file."""

from __future__ import annotations

import json
import os
from pathlib import Path

import structlog

from proofbath.web.mqtt_outbox import RESULT, Mark

RUNS_KEPT = 200
_log = structlog.get_logger("proofbath.mqtt")


class ToldFile:
    """Marks of what the broker has; a file that cannot be read means from now on."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._marks: dict[str, int] = {}
        self._changed = False
        try:
            self._marks = {str(k): int(v) for k, v in json.loads(path.read_text()).items()}
        except (OSError, ValueError, TypeError, AttributeError):
            self._marks = {}

    def runs(self) -> dict[int, int]:
        """Return the next chunk to tell of, by run."""
        return {int(name): at for name, at in self._marks.items() if name.isdecimal()}

    def result(self) -> int | None:
        """Return the number of the last result told; None before the first."""
        return self._marks.get(RESULT)

    def take(self, mark: Mark) -> None:
        """Remember a mark, unless a later one is known; kept for good by `save`."""
        self._marks[mark[0]] = max(mark[1], self._marks.get(mark[0], 0))
        self._changed = True

    def save(self) -> None:
        """Write what changed since the last time: whole, or not at all."""
        if not self._changed:
            return
        runs = sorted(self.runs().items())[-RUNS_KEPT:]
        kept = {str(run): at for run, at in runs}
        if (result := self.result()) is not None:
            kept[RESULT] = result
        part = self._path.with_suffix(".part")
        try:
            part.write_text(json.dumps(kept))
            os.replace(part, self._path)
        except OSError as error:  # the broker is told all the same; tried again with the next mark
            _log.warning("not kept how far the broker was told", reason=str(error))
        self._marks, self._changed = kept, False

"""A night's files: each unit's curve as CSV, the batch's pictures, and what was found as JSON."""

from __future__ import annotations

import json
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from proofbath.bench.unit_analysis import UnitReport
from proofbath.curve.current_picture import current_pictures
from proofbath.curve.current_rows import current_rows
from proofbath.curve.current_rows import to_csv as currents_csv
from proofbath.curve.picture import batch_picture
from proofbath.curve.record import to_csv
from proofbath.errors import InputError

CURRENTS = "currents.csv"
"""What each heated unit does at each current; only in a night that held currents."""


def make_folder(out: Path) -> None:
    """Make the folder for a night's files; raises InputError when it cannot be."""
    try:
        (out / "curves").mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"{out}: cannot be written: {error.strerror}; name another folder"
        ) from error


def write_night(out: Path, reports: Sequence[UnitReport]) -> None:
    """Write each unit's curve as CSV and the batch's pictures into a folder, made where need be.

    Raises InputError when it cannot be.
    """
    make_folder(out)
    for report in reports:
        (out / "curves" / f"{report.serial}.csv").write_text(to_csv(report.record))
        for name, picture in current_pictures(report.record, report.result).items():
            (out / "curves" / f"{report.serial}-{name}.svg").write_bytes(picture)
    currents = [(r.serial, rows) for r in reports if (rows := current_rows(r.result))]
    if currents:
        (out / CURRENTS).write_text(currents_csv(currents))
    records, results = [r.record for r in reports], [r.result for r in reports]
    (out / "curves.svg").write_bytes(batch_picture(records, results, "svg"))
    (out / "curves.png").write_bytes(batch_picture(records, results, "png"))


def copy_night(source: Path, out: Path) -> None:
    """Copy what `write_night` wrote into one folder into another."""
    shutil.copytree(source / "curves", out / "curves", dirs_exist_ok=True)
    for name in ("curves.svg", "curves.png", CURRENTS):
        if (source / name).exists():
            shutil.copy(source / name, out)


def write_json(path: Path, value: dict[str, Any]) -> None:
    """Write one JSON object."""
    path.write_text(json.dumps(value, indent=2, allow_nan=False) + "\n")

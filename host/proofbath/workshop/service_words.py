"""What the logs of an engine say, in lines for a person to read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from proofbath.workshop.service import UnitService


def finding_lines(found: Mapping[str, Any]) -> list[str]:
    """Return what one log says, a line each."""
    if found["regulated_c"] is None:
        return [f"no regulated temperature: {found['reason']}"]
    u = "" if found["u_c"] is None else f" (standard uncertainty of its mean {found['u_c']:.2f} K)"
    lines = [
        f"regulates at {found['regulated_c']:.1f} °C{u}, 90 % of the time from"
        f" {found['low_c']:.1f} to {found['high_c']:.1f} °C"
    ]
    if found["idle"]:
        lines.append(
            f"calm stretches, taken as idle, {found['idle']['coolant_c']:.1f} °C; lively ones,"
            f" taken as driving, {found['driving']['coolant_c']:.1f} °C: a guess from the"
            " temperature alone"
        )
    else:
        lines.append(f"idle and driving not told apart: {found['parts_reason']}")
    return lines + list(found["remarks"]) if found["remarks"] else [*lines, "nothing unusual"]


def unit_lines(found: UnitService) -> list[str]:
    """Return what all logs of a unit say together, a line each."""
    lines = [] if found.logs else ["no log on record"]
    if found.offset_k is not None:
        lines.append(
            f"engine minus bench {found.offset_k:+.2f} K, start-to-open on the bench"
            f" {found.bench_c:.2f} °C"
        )
    return lines + found.remarks()

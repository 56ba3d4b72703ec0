"""Calibrations on record: written with their expiry, read back with what they say."""

from __future__ import annotations

import calendar
import datetime as dt

from proofbath.bench.calibration_content import (
    BlankContent,
    CheckContent,
    ElementContent,
    GaugeContent,
    Instrument,
    ProbeContent,
)
from proofbath.curve.blank import SLOPE_LEFT_MM_PER_K
from proofbath.errors import InputError
from proofbath.store.kinds import Calibration

LONGEST_MONTHS = 12
"""No calibration holds longer (common practice, no source)."""
Content = ProbeContent | CheckContent | GaugeContent | ElementContent | BlankContent
_KIND: dict[type[Content], str] = {
    ProbeContent: "probe",
    CheckContent: "check",
    GaugeContent: "gauge",
    ElementContent: "element",
    BlankContent: "blank",
}


def due_date(done: dt.date, months: int) -> dt.date:
    """Return the same day `months` later, or that month's last day; raises InputError."""
    if not 1 <= months <= LONGEST_MONTHS:
        raise InputError(f"valid for {months} months: 1 to {LONGEST_MONTHS} can be; give another")
    year, month = divmod(done.year * 12 + done.month - 1 + months, 12)
    last = calendar.monthrange(year, month + 1)[1]
    return dt.date(year, month + 1, min(done.day, last))


def calibration_entry(
    content: Content, bench_name: str, done: dt.date, months: int, station: int = 0
) -> Calibration:
    """Return the record of a calibration; raises InputError where a reference is overdue."""
    instruments = _instruments(content)
    late = [i for i in instruments if i.due is not None and i.due < done]
    if late:
        raise InputError(
            f"{late[0].name} was due {late[0].due}, used on {done}; have it calibrated first"
        )
    reference, uncertainty = _words(content)
    return Calibration.model_validate(
        {
            "bench": bench_name,
            "kind": _KIND[type(content)],
            "station": station,
            "done": done,
            "due": due_date(done, months),
            "reference": reference,
            "uncertainty": uncertainty,
            "content": content.model_dump(mode="json"),
        }
    )


def content_of(entry: Calibration) -> Content:
    """Return what a record of a calibration holds."""
    model = next(model for model, name in _KIND.items() if name == entry.kind)
    return model.model_validate(entry.content)


def _instruments(content: Content) -> list[Instrument]:
    match content:
        case ProbeContent(thermometer=Instrument() as thermometer):
            return [thermometer]
        case GaugeContent():
            return [content.blocks]
        case ElementContent():
            return [content.meter, content.resistors]
        case _:
            return []


def _words(content: Content) -> tuple[str, str]:
    """Reference and expanded uncertainty (k = 2) as a certificate prints them."""
    match content:
        case ProbeContent():
            fixed = [f"{p.kind} point" for p in content.points if p.kind != "comparison"]
            compared = [content.thermometer.name] if content.thermometer else []
            u_k = max(content.bath.u_k, content.guard.u_k)
            return ", ".join(dict.fromkeys([*fixed, *compared])), f"U {2 * u_k:.3f} K"
        case CheckContent():
            return "ice point", f"U {2 * content.point.u_k:.3f} K"
        case GaugeContent():
            share = 2 * content.u_relative
            return content.blocks.name, f"U {2 * content.u_mm:.4f} mm and {share:.2%} of lift"
        case ElementContent():
            both = f"{content.meter.name}, {content.resistors.name}"
            return both, f"U {2 * content.power_u_relative:.2%} of power"
        case BlankContent():
            left = f"U {2 * SLOPE_LEFT_MM_PER_K:.4f} mm/K"
            return f"solid bar, run {content.run_id}", left

"""A rework on record in words: what was taken out, put in, turned and read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from proofbath.proof.rework_act import CLEAN_WAX, ReworkAct
from proofbath.store.kinds import Rework
from proofbath.workshop.parties import one_line

UNITS: Mapping[str, str] = {"wax": "mg", "setting": "mm"}


def rework_in_words(rework: Rework) -> str:
    """Return what was changed on a unit, on one line."""
    if rework.act is not None:
        return one_line(f"{act_in_words(rework.act)}: {rework.text}")
    if rework.amount is None or rework.kind not in UNITS:
        return one_line(rework.text)
    return one_line(f"{rework.kind} {signed(rework.amount)} {UNITS[rework.kind]}: {rework.text}")


def act_in_words(act: ReworkAct) -> str:
    """Return what was done to an element, and what balance and pin said."""
    return ", ".join(_parts(act))


def source_in_words(act: ReworkAct) -> str:
    """Return what was put in, by where it came from."""
    if act.donor_type is None or act.donor_type == act.source:
        return act.source if act.source == CLEAN_WAX else f"wax of {act.source}"
    if act.source == CLEAN_WAX:
        return f"clean {act.donor_type} wax"
    return f"{act.donor_type} wax of {act.source}"


def signed(value: float) -> str:
    """Return a number with its sign."""
    return f"{value:+g}".replace("-", "−")


def _parts(act: ReworkAct) -> Iterator[str]:
    yield "opened" if act.opened else "not opened"
    if act.mass_out_mg:
        yield f"{act.mass_out_mg:g} mg out"
    if act.mass_in_mg:
        yield f"{act.mass_in_mg:g} mg of {source_in_words(act)} in"
    if act.shim_mm:
        yield f"shims {signed(act.shim_mm)} mm"
    if act.closing_mm:
        deeper = "deeper" if act.closing_mm > 0 else "less deep"
        yield f"closed {abs(act.closing_mm):.2f} mm {deeper}"
    if act.pin_after_mm is not None:
        before = "" if act.pin_before_mm is None else f", {act.pin_before_mm:.2f} mm before"
        yield f"cold pin stands out {act.pin_after_mm:.2f} mm{before}"
    if act.mass_before_mg is not None and act.mass_after_mg is not None:
        yield f"unit {signed(round(act.mass_after_mg - act.mass_before_mg, 1))} mg"
    if act.sealed_by:
        yield act.sealed_by
    if act.openings_left is not None:
        yield f"{act.openings_left} {'opening' if act.openings_left == 1 else 'openings'} left"
    if act.insulation_mohm is not None:
        yield f"insulation {act.insulation_mohm:g} MΩ"

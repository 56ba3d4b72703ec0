"""A batch tells a drifted probe from changed units, and one lagging unit from its neighbours."""

from __future__ import annotations

import numpy as np

from host.curve.closed_form import StraightUnit, night, record_of
from proofbath.curve import CurveResult, analyse
from proofbath.curve.batch_trust import batch_findings
from proofbath.curve.record import CurveRecord

BATH_C = night((1.0, 0.5))


def result(name: str, unit: StraightUnit) -> CurveResult:
    record = record_of(BATH_C, unit.lift_mm(BATH_C))
    return analyse(CurveRecord(record.t_s, record.bath_c, record.lift_mm, name=name))


UNITS = [result(f"T82-{n}", StraightUnit(opens_c=81.0 + n)) for n in range(4)]
STARTS = {r.name: r.start_to_open_c.value or 0.0 for r in UNITS}


def test_an_unchanged_batch_is_silent() -> None:
    assert batch_findings(UNITS, STARTS) == []


def test_a_common_shift_is_the_probes() -> None:
    moved = {name: start_c - 0.4 for name, start_c in STARTS.items()}
    (finding,) = batch_findings(UNITS, moved)
    assert finding.code == "shifted_together"
    moved["T82-0"] += 0.9
    assert batch_findings(UNITS, moved) == []


def test_shifts_that_go_with_depth_are_the_baths() -> None:
    """The upper layer of a bath that is not stirred is the warmer one."""
    depths_mm = {f"T82-{n}": 20.0 * n for n in range(4)}
    layered = {name: start_c - 0.02 * depths_mm[name] for name, start_c in STARTS.items()}
    (finding,) = batch_findings(UNITS, layered, depths_mm)
    assert finding.code == "stratified"
    assert "+1.20 K over 60 mm" in finding.text
    assert batch_findings(UNITS, STARTS, depths_mm) == []
    draw = np.random.default_rng(7)
    scattered = [
        batch_findings(UNITS, {n: c - draw.normal(0, 0.15) for n, c in STARTS.items()}, depths_mm)
        for _ in range(200)
    ]
    assert sum(any(f.code == "stratified" for f in found) for found in scattered) <= 2


def test_one_slow_unit_among_neighbours_is_named() -> None:
    (finding,) = batch_findings([*UNITS, result("T82-8", StraightUnit(lag_s=42.0))])
    assert finding.code == "slower_than_neighbours"
    assert finding.text.startswith("T82-8")

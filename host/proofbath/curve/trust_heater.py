"""Is what a record shows under power to be trusted? Signatures of heater, supply and gauge."""

from __future__ import annotations

import math
from collections.abc import Sequence

from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.evidence import lag_beforehand
from proofbath.curve.features import CycleFeatures
from proofbath.curve.friction import width_in_mm
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import Quantity
from proofbath.curve.trust import (
    ALL,
    TYPICAL_SLOPE_MM_PER_K,
    Finding,
    gauge_findings,
    late_return,
    scale_findings,
)
from proofbath.wire.watches import SUFFERED_C

# Units of a type differ by 7 %, copper-like leads and a warm core by as much again.
RESISTANCE_RELATIVE = 0.15
SHIFT_SDS = 2.6  # 1 % of healthy units; their own spread hides a power wrong by less than half
SHIFT = frozenset(("shift_k_per_w",))


def powered_findings(
    record: CurveRecord,
    cycles: Sequence[CycleFeatures],
    heater_ohm: Quantity,
    shift: Quantity,
    bench: BenchBudget,
    element_ohm: float | None,
) -> list[Finding]:
    """Return what is recognised in cycles of the drive and in the heater's own numbers.

    `cycles` hold the drive in the bath's place and zeroed lift; `element_ohm` is the type's
    nominal resistance, None leaves it unjudged.
    """
    checks = [
        _resistance(heater_ohm, element_ohm),
        _shift(shift, bench),
        _core(record.core_c),
    ]
    found = scale_findings(record) or gauge_findings(record, cycles)
    if not any(finding.spoils == ALL for finding in found):
        checks.append(
            late_return(
                width_in_mm(
                    cycles, lag_beforehand(bench, TYPICAL_SLOPE_MM_PER_K), TYPICAL_SLOPE_MM_PER_K
                )
            )
        )
    return found + [finding for finding in checks if finding is not None]


def _resistance(heater_ohm: Quantity, element_ohm: float | None) -> Finding | None:
    """A voltage or current that is not what it is said to be shows in their quotient."""
    if element_ohm is None or heater_ohm.value is None:
        return None
    ratio = heater_ohm.value / element_ohm
    if abs(ratio - 1) <= RESISTANCE_RELATIVE:
        return None
    text = (
        f"the element reads {heater_ohm.value:.1f} ohm where about {element_ohm:g} are usual:"
        " wrong voltage or current, or a damaged heater? check supply, leads and element"
    )
    return Finding("heater_resistance", text, SHIFT)


def _shift(shift: Quantity, bench: BenchBudget) -> Finding | None:
    """Power that is wrong by a factor shifts by the same factor: (V/V0) squared."""
    usual, sd = bench.type_shift_k_per_w, bench.type_shift_sd_k_per_w
    if usual is None or sd is None or shift.value is None or shift.standard_uncertainty is None:
        return None
    allowed = SHIFT_SDS * math.hypot(sd, shift.standard_uncertainty)
    if abs(shift.value - usual) <= allowed:
        return None
    text = (
        f"a shift of {shift.value:.2f} K/W where {usual:.2f} are usual within {allowed:.2f}: is the"
        f" power {shift.value / usual:.2f} of what it is said to be, or air round the element?"
    )
    return Finding("shift_unusual", text + " check supply and seat, repeat", SHIFT)


def _core(core_c: float | None) -> Finding | None:
    if core_c is None or core_c <= SUFFERED_C:
        return None
    text = (
        f"the element's core was at about {core_c:.0f} °C; over {SUFFERED_C:.0f} °C wax and sleeve"
        " may have suffered: measure the unit again before it goes out"
    )
    return Finding("element_suffered", text)

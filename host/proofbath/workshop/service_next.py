"""What to do next with a unit in service, by its newest log and what was wanted of the engine."""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import StrEnum
from typing import Any, NamedTuple

from proofbath.errors import InputError
from proofbath.proof.cautions import RETARGETING
from proofbath.proof.engine_cooling import Aim, EngineCooling, aim_faults
from proofbath.proof.engine_state import State
from proofbath.proof.ordered import REGULATING_LIFT_MM, Ordered
from proofbath.proof.service import LOG_TO_LOG_K
from proofbath.proof.specification import LIFT_MM
from proofbath.quantity.levels import OPENING
from proofbath.run.unit_type import UnitType
from proofbath.store.kinds import Unit
from proofbath.workshop.intake import newest_type
from proofbath.workshop.orders import order_of
from proofbath.workshop.service import UnitService, cooling_of, u_of
from proofbath.workshop.service_known import OnBench
from proofbath.workshop.shop import Shop

USUAL_TOLERANCE_K = 2.0


class NextAct(StrEnum):
    """What to do next; kept by programs by these words."""

    LOG = "log"
    STOP = "stop the engine"
    TAKE_OUT = "take it out"
    SAY_WANTED = "say what is wanted"
    MEASURE = "measure it"
    LEAVE = "leave it"
    ORDER = "order another temperature"
    AIM_LOWER = "aim lower"


class Runs(NamedTuple):
    """Where an engine ran over the logs since the unit was fitted, in °C.

    `scatter_k` is the half width for about 95 % of what weather, load and driver make of it.
    """

    coolant_c: float
    scatter_k: float


class Change(NamedTuple):
    """An order that would bring the engine where it is wanted: a lift at a bench temperature."""

    lift_mm: float
    was_c: float
    order_c: float


class Next(NamedTuple):
    """What to do next, in lines for a person; the figures where another order would help."""

    act: NextAct
    lines: tuple[str, ...]
    wanted_c: float | None = None
    off_k: float | None = None
    change: Change | None = None

    def to_json(self) -> dict[str, Any]:
        """Return it as it is printed for programs."""
        return self._asdict() | {"change": self.change._asdict() if self.change else None}


BY_STATE = {
    State.STUCK_SHUT: Next(
        NextAct.STOP,
        (
            "stop the engine, and do not run it with this unit: let it cool, take the unit out and"
            " measure it on the bench",
            "where it opens there as before, look in the engine: coolant too low, trapped air, pump"
            " and belt, radiator, fan, a unit fitted the wrong way round (common practice, no"
            " source)",
        ),
    ),
    State.NOT_COOLED: Next(
        NextAct.STOP,
        (
            "stop the engine, and do not run it until the cause is found: coolant too low, trapped"
            " air, pump and belt, radiator, fan (common practice, no source)",
            "then take the unit out and measure how far it opens",
        ),
    ),
    State.OPENS_LATE: Next(
        NextAct.TAKE_OUT,
        (
            "take the unit out and measure it: it opens hotter than when it was measured; it may"
            " have lost wax, or another unit is fitted (common practice, no source)",
            "until then the engine has less margin to boiling: watch its temperature",
        ),
    ),
    State.STUCK_OPEN: Next(
        NextAct.TAKE_OUT,
        (
            "take the unit out and measure it: look for dirt or a burr on the seat, a broken"
            " spring, a missing seal, a lift when cold (common practice, no source)",
            "until then the engine runs too cold: wear, oil dilution, no cabin heat",
        ),
    ),
    State.STILL_WARMING: Next(
        NextAct.LOG, ("log again, from cold until the engine has been warm for an hour",)
    ),
    State.NO_LEVEL: Next(NextAct.LOG, ("log a longer drive, an hour of warm running",)),
}
"""What follows from a log that shows no regulated temperature."""


def next_of(
    shop: Shop, found: UnitService, wanted_c: float | None = None, cap_kpa: float = 0.0
) -> Next:
    """Return what to do next with a unit in service.

    `wanted_c` is what its engine should run at, that of its order where left out; `cap_kpa` the
    pressure cap of the engine's cooling system. Raises InputError for one that is no temperature.
    """
    if not found.logs:
        return Next(NextAct.LOG, ("log the engine from cold, with an hour of warm running",))
    newest = found.logs[-1].condition.state
    if newest is not State.REGULATES:
        return BY_STATE[newest]
    unit = shop.records.find(Unit, serial=found.serial).entry
    order = order_of(shop.records, found.bench.story) if found.bench else None
    runs = _runs_at(
        [float(log.findings["regulated_c"]) for log in found.steady],
        [u_of(log) for log in found.steady],
    )
    return _next_change(
        runs,
        newest_type(shop.records, unit.unit_type).entry.unit_type,
        found.bench,
        order.entry.ordered if order else None,
        wanted_c,
        cooling_of(shop, cap_kpa),
    )


def _runs_at(regulated_c: Sequence[float], u_c: Sequence[float]) -> Runs:
    """Return the mean of the logs; weather, load and driver scatter them beside their own u."""
    count = len(regulated_c)
    squares = sum(u**2 + LOG_TO_LOG_K**2 for u in u_c)
    return Runs(math.fsum(regulated_c) / count, 2 * math.sqrt(squares) / count)


def _next_change(
    runs: Runs,
    unit_type: UnitType,
    bench: OnBench | None,
    order: Ordered | None,
    wanted_c: float | None,
    cooling: EngineCooling,
) -> Next:
    """Return what to change on a unit that regulates, so that its engine runs as wanted.

    `wanted_c` is what the order says where nobody tells it.
    """
    if wanted_c is None and order is not None:
        wanted_c = order.engine_c
    if wanted_c is None:
        line = "state what the engine should run at, and this says what to change"
        return Next(NextAct.SAY_WANTED, (line,))
    if not math.isfinite(wanted_c):
        raise InputError(f"wanted {wanted_c:g} °C: is no temperature; give °C, e.g. 86")
    off_k = runs.coolant_c - wanted_c
    tolerance_k = order.tolerance_k if order else USUAL_TOLERANCE_K
    where = (
        f"runs {abs(off_k):.1f} K {'above' if off_k > 0 else 'below'} the {wanted_c:g} °C wanted"
        f" (± {runs.scatter_k:.1f} K by weather, load and driver)"
    )
    if abs(off_k) <= tolerance_k:
        return Next(
            NextAct.LEAVE, (f"{where}, inside ± {tolerance_k:g} K: leave it",), wanted_c, off_k
        )
    if abs(off_k) <= runs.scatter_k:
        line = f"{where}: no more than logs scatter; log again before anything is changed"
        return Next(NextAct.LOG, (line,), wanted_c, off_k)
    if bench is None:
        line = f"{where}; it was not measured as it was fitted: take it out and measure it"
        return Next(NextAct.MEASURE, (line,), wanted_c, off_k)
    change = _change(bench, unit_type, order, off_k)
    faults = aim_faults(Aim(unit_type.name, wanted_c, change.order_c, unit_type.cap_c), cooling)
    if faults:
        return Next(NextAct.AIM_LOWER, (f"{where}, but", *faults), wanted_c, off_k)
    lines = (
        f"{where}: order {change.lift_mm:g} mm at {change.order_c:.1f} °C for it; it was measured"
        f" at {change.was_c:.1f} °C before it was fitted",
        RETARGETING,
    )
    return Next(NextAct.ORDER, lines, wanted_c, off_k, change)


def _change(bench: OnBench, unit_type: UnitType, order: Ordered | None, off_k: float) -> Change:
    """Return the order that moves the unit against what the engine is off, kelvin for kelvin.

    At the order's lift, else at the usual regulating lift; where the result does not state that,
    at the start.
    """
    lift_mm = order.lift_mm if order else REGULATING_LIFT_MM
    content = bench.step.content
    for opening in content.curve.series.get(OPENING, ()) if content else ():
        same = abs(opening.at.get("lift_mm", math.nan) - lift_mm) <= LIFT_MM
        if same and opening.value is not None:
            return Change(lift_mm, opening.value, opening.value - off_k)
    start_c = bench.start.value
    assert start_c is not None  # a start without a value is no measurement
    return Change(unit_type.threshold_mm, start_c, start_c - off_k)

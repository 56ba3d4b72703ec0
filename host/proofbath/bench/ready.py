"""From a bench at rest to one that may heat: checked, its limits in force, its trip cleared."""

from __future__ import annotations

from collections.abc import Callable
from math import isnan
from pathlib import Path
from typing import NamedTuple

from proofbath.bench.convert import Converter
from proofbath.bench.description import TRIP_MARGIN_K, BenchFile
from proofbath.bench.limits import StationLimit, wire_limits
from proofbath.bench.link import Link
from proofbath.bench.preflight import (
    Check,
    check_cool,
    check_disk,
    check_rest,
    mean_of,
    readings_at_rest,
)
from proofbath.bench.start import (
    check_identity,
    check_reference,
    clear_trip,
    greet,
    set_limits,
    wait_quiet,
)
from proofbath.errors import BenchFaultError
from proofbath.run.check import CheckedPlan
from proofbath.run.course import COAST_K
from proofbath.run.profile import Drive, Leg
from proofbath.run.reading import Reading
from proofbath.store.row import ROW
from proofbath.wire.table import STATIONS, TICK_MS, Identity, Limits

TIME_SPARE = 1.5
"""Disk space is kept for a run that takes longer than expected by this factor."""
StationLimits = tuple[StationLimit | None, ...]
NOTHING_LOADED: StationLimits = (None,) * STATIONS


class Ready(NamedTuple):
    """A bench that may heat: who it is, what it guards, what the plan will do."""

    identity: Identity
    limits: Limits
    checked: CheckedPlan
    checks: list[Check]
    bath_c: float
    device_s: float
    """Controller's clock at the end of the pre-flight."""


def ready_bench(
    link: Link,
    bench: BenchFile,
    checked: CheckedPlan,
    *,
    loaded: tuple[int, ...],
    station_limits: Callable[[list[Reading]], StationLimits],
    journal_path: Path,
    clear: bool,
) -> Ready:
    """Return a bench ready to heat for `checked`; refuses with every fault found.

    `loaded` are the stations in use; their limits follow from the readings at rest.  `clear` says
    that a person asked for a latched trip to be cleared.
    """
    identity = greet(link)
    check_identity(identity, bench.board(), bench.bench.serial_number, max(loaded, default=0))
    check_reference(identity, bench.calibration)
    wait_quiet(link)
    readings = readings_at_rest(link, Converter(bench.calibration))
    checks = check_rest(readings, loaded)
    trip_c = _highest_c(checked.legs) + TRIP_MARGIN_K
    bath_c = mean_of(r.bath_c for r in readings)
    checks.append(check_cool(bath_c, trip_c))
    needed = int(checked.expected_s * TIME_SPARE * 1000 / TICK_MS) * ROW.itemsize
    checks.append(check_disk(journal_path, needed))
    faults = [check.fault() for check in checks if not check.ok]
    if faults:
        raise BenchFaultError(*faults)
    limits = wire_limits(
        bench.limits,
        bench.calibration,
        trip_c,
        stations=station_limits(readings),
        heater_on_s=checked.on.heater_limit_s,
        element_on_s=checked.on.element_limit_s,
        bath=bench.bath,
        tuned=bench.tuned is not None,
    )
    # Before the clearing: a controller without limits does not leave its trip.
    set_limits(link, limits)
    clear_trip(link, identity, bench.calibration, clear)
    return Ready(identity, limits, checked, checks, bath_c, readings[-1].t_s)


def _highest_c(legs: tuple[Leg, ...]) -> float:
    """Highest temperature a run may come to: a bath driven without control coasts on."""
    asked_c = (
        leg.step.until_c + COAST_K if isinstance(leg.step, Drive) else leg.to_c for leg in legs
    )
    return max(c for c in asked_c if not isnan(c))

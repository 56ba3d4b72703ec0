"""The calibration procedures without current: probes, their check, gauges, blanks."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from proofbath.bench.calibration import Calibration, ProbeCalibration
from proofbath.bench.calibration_content import (
    BlankContent,
    CheckContent,
    GaugeContent,
    GaugePoint,
    Instrument,
    ProbeContent,
    ProbePoint,
)
from proofbath.bench.calibration_fit import (
    check_pressure,
    fit_gauge,
    fit_probes,
    ice_u_k,
    steam_point,
)
from proofbath.bench.curves import unit_records
from proofbath.bench.description import BenchFile
from proofbath.bench.raw_means import bath_sum, guard_sum, lift_sum, steady_means
from proofbath.bench.run import read_run
from proofbath.bench.workplace import PlaceKind, Spot, Workplace
from proofbath.curve.blank import blank_of
from proofbath.curve.record import Floats
from proofbath.errors import InputError, RecordError
from proofbath.run.plan import LoadedStation, NightPlan
from proofbath.run.unit_type import UnitType
from proofbath.store.journal import Journal
from proofbath.wire.table import STATIONS

STEADY_K = 0.02
STEADY_MM = 0.005
BLANK_TYPE = UnitType(
    name="blank", nominal_start_to_open_c=80, full_open_c=95, full_lift_mm=1, cap_c=110
)
"""Figures a plan needs; a blank is judged by none of them."""


class Thermometry(NamedTuple):
    """What a probe calibration is done with; `compare_c` are temperatures of a comparison."""

    points: tuple[PlaceKind, ...]
    compare_c: tuple[float, ...] = ()
    thermometer: Instrument | None = None
    pressure_u_kpa: float = 0.1
    """Standard uncertainty of the barometer."""


def calibrate_probes(
    work: Workplace,
    bench: BenchFile,
    means: Thermometry,
    before: Calibration,
    beside: Sequence[ProbePoint] = (),
) -> ProbeContent:
    """Return a calibration of both probes at the points asked for, and those taken `beside`.

    Raises InputError for points that do not suffice, BenchFaultError where nothing comes to rest.
    """
    if means.compare_c and means.thermometer is None:
        raise InputError("a comparison needs its reference thermometer")
    spots = [Spot(kind) for kind in means.points]
    spots += [Spot("comparison", at_c) for at_c in means.compare_c]
    points = [_probe_point(work, spot, bench, means, before) for spot in spots]
    return fit_probes([*points, *beside], before.bath, before.guard, means.thermometer)


def check_probes(work: Workplace, bench: BenchFile, before: Calibration) -> CheckContent:
    """Return how far both probes are off at the ice point under their calibration."""
    point = _probe_point(work, Spot("ice"), bench, Thermometry(("ice",)), before)
    return CheckContent(
        point=point,
        bath_k=before.bath.temperature_c(point.bath.mean),
        guard_k=before.guard.temperature_c(point.guard.mean),
    )


def _probe_point(
    work: Workplace, spot: Spot, bench: BenchFile, means: Thermometry, before: Calibration
) -> ProbePoint:
    steady = STEADY_K * sums_per_k(before.bath)
    with work.at(spot) as link:
        bath, guard = steady_means(link, (bath_sum, guard_sum), steady, f"{spot.kind} point")
        pressure: float | None = None
        reference_c, u_k = 0.0, ice_u_k()
        if spot.kind == "steam":
            pressure = work.reads("station pressure, not reduced to sea level", "kPa")
            check_pressure(pressure, bench.bench.altitude_m)
            reference_c, u_k = steam_point(pressure, means.pressure_u_kpa)
        elif means.thermometer is not None and spot.kind == "comparison":
            reference_c = work.reads("reference thermometer", "°C", spot.value)
            u_k = means.thermometer.u
    return ProbePoint(
        kind="ice" if spot.kind == "ice" else "steam" if spot.kind == "steam" else "comparison",
        reference_c=reference_c,
        u_k=u_k,
        bath=bath,
        guard=guard,
        pressure_kpa=pressure,
    )


def sums_per_k(probe: ProbeCalibration) -> float:
    """Return how many counts of a raw sum a kelvin is, near 0 °C."""
    return probe.code_sum(1.0) - probe.code_sum(0.0)


def calibrate_gauge(
    work: Workplace,
    station: int,
    heights_mm: Sequence[float],
    blocks: Instrument,
    before: Calibration,
) -> GaugeContent:
    """Return the scale of a station's gauge from steps of known height."""
    scale = before.station[station - 1]
    steady = scale.lift_sum(STEADY_MM) - scale.lift_sum(0.0)
    points = []
    for height_mm in heights_mm:
        with work.at(Spot("block", height_mm, station)) as link:
            what = f"gauge of station {station} at {height_mm:g} mm"
            (raw,) = steady_means(link, (lift_sum(station),), steady, what)
        points.append(GaugePoint(height_mm=height_mm, raw=raw))
    return fit_gauge(points, blocks)


def blank_plan(bench_name: str) -> NightPlan:
    """Return the plan of a blank night: solid bars at all six stations, one rise and fall."""
    stations = [
        LoadedStation(station=n, serial=f"BLANK-{n}", role="blank") for n in range(1, STATIONS + 1)
    ]
    return NightPlan(
        batch=f"blank {bench_name}"[:60],
        stage="trial",
        unit_type=BLANK_TYPE,
        station=stations,
        profile="blank",
        step=[],
    )


def blanks_of(journal: Journal, run_id: int, calibration: Calibration) -> dict[int, BlankContent]:
    """Return each station's blank curve from a blank night; raises RecordError for another run."""
    night = read_run(journal, run_id)
    run = night.line
    others = [str(place.station) for place in night.plan.station if place.role != "blank"]
    if run.status != "done" or others:
        why = f"station {', '.join(others)} held no blank" if others else f"it ended {run.status}"
        raise RecordError(f"run {run_id} is no blank night: {why}")
    digest = journal.digests(run_id)[-1]
    found = {}
    for station, record in unit_records(night, calibration).items():
        blank = blank_of(record)
        found[station] = BlankContent(
            run_id=run_id,
            run_digest=digest,
            rising_c=_rounded(blank.rising_c),
            rising_mm=_rounded(blank.rising_mm),
            falling_c=_rounded(blank.falling_c),
            falling_mm=_rounded(blank.falling_mm),
        )
    return found


def _rounded(values: Floats) -> tuple[float, ...]:
    return tuple(round(float(value), 5) for value in values)

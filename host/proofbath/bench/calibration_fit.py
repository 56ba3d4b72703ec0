"""From raw counts and references to calibrations: probes, gauges, element channels."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from proofbath.bench.calibration import ProbeCalibration, StationCalibration
from proofbath.bench.calibration_content import (
    ElementContent,
    ElementPoint,
    GaugeContent,
    GaugePoint,
    Instrument,
    ProbeContent,
    ProbeFit,
    ProbePoint,
    RawMean,
)
from proofbath.bench.reference_line import ReferenceLine, fit_reference_line
from proofbath.control.boiling import pressure_kpa, saturation_c
from proofbath.curve.budget import MANY
from proofbath.curve.fitting import fit_linear
from proofbath.errors import InputError
from proofbath.wire.table import SCANS_PER_TICK

REALISED_K = 0.05
"""Ice and steam points of a workshop are good to this (common practice, no source)."""
IF97_SHARE = 0.00025
"""IAPWS R7-97(2012): saturation pressures of region 4 are good to 0.025 %."""
WEATHER_KPA = 5.0
"""Weather moves the pressure at a place by less (common practice, no source)."""
STEP_U_SUM = SCANS_PER_TICK / math.sqrt(12)
"""A probe so quiet that all scans give one code is known to that code's width (GUM F.2.2.1)."""
SPAN_K = 30.0
SPAN_MM = 2.0
LINEAR_MM = 0.05
"""A gauge further from a straight line is faulty or tilted (common practice, no source)."""


def ice_u_k() -> float:
    """Return the standard uncertainty of a workshop's ice point (even spread over ± 0.05 K)."""
    return REALISED_K / math.sqrt(3)


def steam_point(pressure: float, pressure_u: float) -> tuple[float, float]:
    """Return temperature and standard uncertainty in °C and K of steam at a pressure in kPa.

    IAPWS-IF97 region 4 over plain water; the pressure is the station's own, of the day.
    """
    here_c = saturation_c(pressure)
    k_per_kpa = (saturation_c(pressure + 0.1) - saturation_c(pressure - 0.1)) / 0.2
    unknown_kpa = math.hypot(pressure_u, IF97_SHARE * pressure)
    return here_c, math.hypot(k_per_kpa * unknown_kpa, ice_u_k())


def check_pressure(pressure: float, altitude_m: float | None) -> None:
    """Raise InputError for a pressure that cannot be the station's own at its altitude."""
    if not 50.0 <= pressure <= 110.0:
        raise InputError(f"pressure {pressure:g} kPa: 50 to 110 kPa can be; read it once more")
    if altitude_m is None:
        return
    usual = pressure_kpa(altitude_m)
    if abs(pressure - usual) > WEATHER_KPA:
        raise InputError(
            f"pressure {pressure:g} kPa at {altitude_m:g} m, where {usual:.1f} kPa is usual: "
            "take the station pressure, not one reduced to sea level"
        )


def fit_probes(
    points: Sequence[ProbePoint],
    bath: ProbeCalibration,
    guard: ProbeCalibration,
    thermometer: Instrument | None = None,
) -> ProbeContent:
    """Return both probes' calibrations from points; `bath` and `guard` are those in force before.

    Raises InputError for points that are too few, too close, or off beyond any probe's doing.
    """
    if not points:
        raise InputError("probe: no points; name fixed points, a comparison or a run")
    span_k = max(p.reference_c for p in points) - min(p.reference_c for p in points)
    if span_k < SPAN_K:
        raise InputError(
            f"probe points span {span_k:.1f} K, {SPAN_K:g} K are needed; add the ice or steam point"
        )
    return ProbeContent(
        points=tuple(points),
        thermometer=thermometer,
        bath=_fit_probe(points, [p.bath for p in points], bath),
        guard=_fit_probe(points, [p.guard for p in points], guard),
    )


def _fit_probe(
    points: Sequence[ProbePoint], raws: Sequence[RawMean], before: ProbeCalibration
) -> ProbeFit:
    plain = before.model_copy(update={"offset_k": 0.0, "slope": 1.0})
    reading_c = [plain.temperature_c(raw.mean) for raw in raws]
    noise_k = [
        plain.temperature_c(raw.mean + math.hypot(raw.u, STEP_U_SUM)) - c
        for raw, c in zip(raws, reading_c, strict=True)
    ]
    compared = [p.kind == "comparison" for p in points]
    line = fit_reference_line(
        reading_c,
        [p.reference_c - c for p, c in zip(points, reading_c, strict=True)],
        [
            math.hypot(noise, 0.0 if shares else p.u_k)
            for noise, shares, p in zip(noise_k, compared, points, strict=True)
        ],
        [p.u_k if shares else 0.0 for p, shares in zip(points, compared, strict=True)],
    )
    worst = max(
        (line.uncertainty(c) for c in (min(reading_c), max(reading_c))),
        key=lambda u: u.standard_uncertainty,
    )
    ice = [raw for p, raw in zip(points, raws, strict=True) if p.kind == "ice"]
    freedom = worst.degrees_of_freedom
    return ProbeFit(
        calibration=_corrected(plain, line),
        at_c=line.at,
        intercept_k=line.intercept,
        slope=line.slope,
        correlation=line.correlation,
        residual_sd_k=line.residual_sd,
        u_k=worst.standard_uncertainty,
        degrees_of_freedom=freedom if freedom < MANY else None,
        as_found_k=before.temperature_c(ice[0].mean) if ice else None,
    )


def _corrected(plain: ProbeCalibration, line: ReferenceLine) -> ProbeCalibration:
    offset_k, slope = line.intercept - line.slope * line.at, 1.0 + line.slope
    if abs(offset_k) > 2.0 or abs(slope - 1.0) > 0.02:
        raise InputError(
            f"probe off by {offset_k:+.2f} K at 0 °C and {line.slope:+.2%} of scale, at most 2 K "
            "and 2 %: check the references, then the probe"
        )
    return ProbeCalibration.model_validate(
        plain.model_dump() | {"offset_k": offset_k, "slope": slope}
    )


def fit_gauge(points: Sequence[GaugePoint], blocks: Instrument) -> GaugeContent:
    """Return a gauge's scale from steps of known height; raises InputError for a bad set."""
    heights = [p.height_mm for p in points]
    if len(set(heights)) < 3 or max(heights) - min(heights) < SPAN_MM:
        raise InputError(f"gauge: at least 3 heights over {SPAN_MM:g} mm are needed")
    codes = [p.raw.mean / SCANS_PER_TICK for p in points]
    line = fit_reference_line(codes, heights, [blocks.u] * len(points))
    residual = max(abs(h - line.value(c)) for h, c in zip(heights, codes, strict=True))
    if residual > LINEAR_MM or line.slope <= 0:
        raise InputError(
            f"gauge: {residual:.3f} mm from a straight line, at most {LINEAR_MM:g} mm; seat it "
            "square, clean the blocks, and take the steps again"
        )
    scale = StationCalibration(
        mm_per_code=line.slope, offset_mm=line.intercept - line.slope * line.at
    )
    return GaugeContent(
        points=tuple(points),
        blocks=blocks,
        calibration=scale,
        largest_residual_mm=residual,
        u_mm=math.hypot(line.residual_sd, blocks.u),
        u_relative=line.slope_u / line.slope,
    )


def fit_element(
    points: Sequence[ElementPoint], meter: Instrument, resistors: Instrument
) -> ElementContent:
    """Return an element channel's scales: at least two currents through each of two resistors.

    The voltage at the bench is I R + I lead: two resistors tell the lead from the voltage scale.
    `meter.expanded_u` and `resistors.expanded_u` are relative.  Raises InputError.
    """
    loads = _loads_ohm(points)
    amps = [p.meter_a for p in points]
    mean_a = math.sqrt(sum(a * a for a in amps) / len(amps))
    none = [0.0] * len(points)
    read = fit_reference_line([p.current.mean / SCANS_PER_TICK for p in points], amps, none)
    asked = fit_reference_line([float(p.set_code) for p in points], amps, none)
    codes = np.array([p.voltage.mean / SCANS_PER_TICK for p in points])
    matrix = np.column_stack([codes, np.ones(len(points)), -np.array(amps)])
    dropped = fit_linear(matrix, np.array([p.meter_a * p.resistor_ohm for p in points]))
    v_per_code, offset_v, lead_ohm = map(float, dropped.parameters)
    if read.slope <= 0 or asked.slope <= 0 or v_per_code <= 0 or not -0.05 <= lead_ohm <= 2.0:
        raise InputError(
            f"element: lead {lead_ohm:.2f} ohm and scales {read.slope:.2e} A, {v_per_code:.2e} V a "
            "code make no sense; check meter, resistors and wiring"
        )
    scale = StationCalibration(
        a_per_code=read.slope,
        offset_a=read.value(0.0),
        set_a_per_code=asked.slope,
        set_offset_a=asked.value(0.0),
        v_per_code=v_per_code,
        offset_v=offset_v,
        lead_ohm=max(lead_ohm, 0.0),
    )
    current_u = math.hypot(meter.u, read.residual_sd / mean_a)
    voltage_scatter = dropped.residual_sd / max(codes * v_per_code)
    lead_scatter = dropped.u([0.0, 0.0, 1.0])
    return ElementContent(
        points=tuple(points),
        meter=meter,
        resistors=resistors,
        calibration=scale,
        current_u_relative=current_u,
        # The meter counts twice: it gave the current, and through the resistors the voltage.
        power_u_relative=math.hypot(
            2 * meter.u, resistors.u, read.residual_sd / mean_a, voltage_scatter
        ),
        lead_u_ohm=math.hypot(lead_scatter, resistors.u * min(loads)),
    )


def _loads_ohm(points: Sequence[ElementPoint]) -> set[float]:
    loads = {p.resistor_ohm for p in points}
    if len(loads) < 2 or any(
        len({p.set_code for p in points if p.resistor_ohm == ohm}) < 2 for ohm in loads
    ):
        raise InputError("element: at least 2 currents through each of 2 resistors are needed")
    return loads

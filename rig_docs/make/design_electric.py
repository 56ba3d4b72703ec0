"""Design calculations of switches and converters: relay, element channel, resolution, noise.

What neither firmware nor host states stands at the top, with its origin.
"""

from __future__ import annotations

import cmath
import math

from design_bath import HEATER_W, START_SLOPE_MM_PER_K
from page_table import Row

from proofbath.bench.calibration import (
    CODE_MAX,
    RATIO_FULL,
    SUM_MAX,
    ProbeCalibration,
    StationCalibration,
)
from proofbath.bench.limits import CLIMB_WINDOW_MIN
from proofbath.wire.guard_levels import value_of
from proofbath.wire.table import DUTY_FULL, LINE_MAX, SCANS_PER_TICK, TICK_MS

TICK_S = TICK_MS / 1000
SCAN_S = TICK_S / SCANS_PER_TICK

# Heater and its switch.
RELAY_DROP_V = 1.2  # conducting solid-state relay, from memory
RELAY_LEAK_A = 0.007
SINK_ROOM_C, SINK_MOST_C, JUNCTION_K_PER_W = 45.0, 80.0, 0.5

# Element channel.
SHUNT_OHM, CURRENT_GAIN, VOLTAGE_SHARE = 0.1, 20.0, 1 / 5
SUPPLY_V, SINK_LEAST_V, SWITCH_OHM, LEAD_OHM = 18.0, 0.5, 0.1, 0.2
ELEMENT_OHM = (14.0, 15.0, 18.0)  # at 25 degC
ELEMENT_GROWTH_PER_K = 4e-4
USUAL_A = 0.9

# Noise of one scan.
PROBE_NOISE_K, GAUGE_NOISE_MM, MIXING_K = 0.002, 0.002, 0.008


def relay_rows() -> list[Row]:
    """Solid-state relay, heat sink, fuses."""
    rows = []
    for watts, volts in ((HEATER_W, 230.0), (1500.0, 120.0)):
        amps = watts / volts
        heat_w = RELAY_DROP_V * amps
        sink = (SINK_MOST_C - SINK_ROOM_C) / heat_w
        breaker = next(a for a in (6, 10, 16, 20, 25) if a >= 1.25 * amps)
        rows.append(
            Row(
                f"{watts / 1000:g} kW at {volts:g} V: current, heat of K2, its sink, breaker F2",
                f"{amps:.1f} A, {heat_w:.0f} W, {sink:.1f} K/W or less, {breaker} A",
                "P / U; 1.2 V x current; 35 K / heat; next size from 1.25 x current",
            )
        )
    welded, opened = value_of("heater_welded_ms"), value_of("heater_open_ms")
    rows += [
        Row(
            "leak of an open relay",
            f"{RELAY_LEAK_A * 230:.1f} W",
            "7 mA x 230 V: no heat worth naming, but a live heater: hence the contactor",
        ),
        Row(
            "current relay B1 against that leak",
            f"{0.5 / RELAY_LEAK_A:.0f} times",
            "0.5 A against 7 mA: a leak never reads as heat",
        ),
        Row(
            "B1 must have let go after",
            f"{welded - TICK_MS} ms",
            f"{welded} ms is a welded relay; one tick of 100 ms to spare",
        ),
        Row(
            "B1 must have answered after",
            f"{TICK_MS} ms",
            f"at a low duty the heater is on for one tick; {opened} ms of on-time without a sign "
            "is an open heater",
        ),
        Row(
            "mains cycles a tick at 50 / 60 Hz",
            f"{50 * TICK_S:g} / {60 * TICK_S:g}",
            "whole cycles: no direct current, no beat",
        ),
        Row(
            "steps of the duty",
            f"{HEATER_W / DUTY_FULL:g} W",
            "thousandths, the remainder carried over",
        ),
    ]
    return rows


def channel_rows() -> list[Row]:
    """The element's current channel."""
    scale = StationCalibration()
    ceiling_a = value_of("element_ceiling_ma") / 1000
    hot = 1 + ELEMENT_GROWTH_PER_K * 75
    reach = [
        (SUPPLY_V - SINK_LEAST_V) / (ohm * hot + LEAD_OHM + SWITCH_OHM + SHUNT_OHM)
        for ohm in ELEMENT_OHM
    ]
    usual_w = USUAL_A**2 * ELEMENT_OHM[1] * hot
    sink_w = (SUPPLY_V - USUAL_A * (ELEMENT_OHM[1] + LEAD_OHM + SHUNT_OHM)) * USUAL_A
    settle_s = value_of("element_settle_ms") / 1000
    bad = value_of("element_samples")
    return [
        Row(
            "shunt and amplifier",
            f"{SHUNT_OHM * CURRENT_GAIN:g} V/A",
            f"0.1 ohm x 20: {1000 * SHUNT_OHM * CURRENT_GAIN * scale.a_per_code:g} mV a code",
        ),
        Row(
            "full scale of set-point and reading",
            f"{CODE_MAX * scale.a_per_code:.4f} A",
            f"{CODE_MAX} codes of {1000 * scale.a_per_code:g} mA",
        ),
        Row("ceiling in the firmware", f"{ceiling_a:g} A", "board.h, element_code"),
        Row("heat of the shunt at the ceiling", f"{ceiling_a**2 * SHUNT_OHM:.3f} W", "I² R"),
        Row(
            "voltage: full scale, a code",
            f"{CODE_MAX * scale.v_per_code:.3f} V, {1000 * scale.v_per_code:g} mV",
            f"divided by 5: {scale.v_per_code * VOLTAGE_SHARE * 1000:g} mV a code",
        ),
        Row(
            "compliance: greatest current into 14 / 15 / 18 ohm, hot",
            " / ".join(f"{a:.2f}" for a in reach) + " A",
            "18 V less 0.5 V of the sink; lead 0.2, switch 0.1, shunt 0.1 ohm",
        ),
        Row("power in 15 ohm at 0.9 A, hot", f"{usual_w:.1f} W", "I² R, R grown by 75 K"),
        Row("heat of the sink then", f"{sink_w:.1f} W", "(18 V - drop of the load) x 0.9 A"),
        Row(
            "heat of the sink on a shorted element",
            f"{SUPPLY_V * USUAL_A:.0f} W",
            f"18 V x 0.9 A, for {settle_s + bad * TICK_S:.1f} s at most",
        ),
        Row(
            "step of power at 12 W in 15 ohm",
            f"{1000 * 2 * 12.0 * scale.set_a_per_code / math.sqrt(12.0 / 15):.0f} mW",
            "2 P dI / I",
        ),
        Row(
            "bypass link through 47 ohm",
            f"{SUPPLY_V / 47:.2f} A, {SUPPLY_V**2 / 47:.1f} W",
            "must pass 0.26 A, where 0.2 A reads as too much: the sink gives way to it",
        ),
    ]


def resolution_rows() -> list[Row]:
    """What one code of each converter is worth."""
    scale = StationCalibration()
    rows = [
        Row(
            "lift",
            f"{1000 * scale.mm_per_code:.3f} µm a code, "
            f"{1000 * scale.mm_per_code / SCANS_PER_TICK:.3f} µm a count of the sum",
            "20 mm / 4095",
        ),
        Row(
            "lift: electrical window",
            f"{scale.window_low_code * scale.mm_per_code:.2f} to "
            f"{scale.window_high_code * scale.mm_per_code:.2f} mm",
            "codes 41 to 4054",
        ),
        Row(
            "element current",
            f"{1000 * scale.a_per_code:g} mA a code, "
            f"{1000 * scale.a_per_code / SCANS_PER_TICK:g} mA a count",
            "2.0475 A / 4095",
        ),
        Row(
            "element voltage",
            f"{1000 * scale.v_per_code:g} mV a code, "
            f"{1000 * scale.v_per_code / SCANS_PER_TICK:g} mV a count",
            "20.475 V / 4095",
        ),
        Row(
            "lift: bend by 1 Mohm across the slider of 2 kohm",
            f"{4 / 27 * 2e3 / 1e6 * CODE_MAX * scale.mm_per_code * 1000:.1f} µm",
            "full scale x 4/27 x 2 kohm / 1 Mohm; the gauge calibration sees it",
        ),
        Row("greatest sum", f"{SUM_MAX}", "4 x 4095; 65535 stands for absent"),
    ]
    return rows


def probe_rows() -> list[Row]:
    """Codes of the platinum probes in kelvin."""
    probe, rows = ProbeCalibration(), []
    for at_c in (0.0, 82.0, 100.0, 125.0):
        total = probe.code_sum(at_c)
        ohm = total / (SCANS_PER_TICK * RATIO_FULL) * probe.reference_ohm
        per_k = probe.code_sum(at_c + 0.5) - probe.code_sum(at_c - 0.5)
        rows.append(
            Row(
                f"at {at_c:g} °C",
                f"{ohm:.3f} ohm, sum {total:.0f}, "
                f"{per_k:.1f} counts/K, {1000 / per_k:.2f} mK a count",
                "IEC 60751; sum = R / 400 ohm x 131072",
            )
        )
    ceiling_c = value_of("bath_ceiling_mc") / 1000
    per_k = probe.code_sum(100.5) - probe.code_sum(99.5)
    bias_a = 2.0 / (probe.reference_ohm + 132.0)
    rows += [
        Row(
            "ceiling of the probes' limits",
            f"{ceiling_c:.1f} °C",
            f"sum {probe.code_sum(ceiling_c):.0f} against 400 ohm",
        ),
        Row(
            "ceiling of the disagreement",
            f"{value_of('disagree_ceiling_mk') / 1000:.2f} K",
            "compiled in",
        ),
        Row(
            "ceiling of the climb",
            f"{value_of('climb_ceiling_mk') / 1000 / CLIMB_WINDOW_MIN:.1f} K/min",
            "compiled in, over 10 s",
        ),
        Row(
            "reference resistor off by 0.1 %",
            f"{(probe.code_sum(82) * 1e-3) / per_k:.2f} K at 82 °C",
            "why both probes are calibrated with their converters",
        ),
        Row(
            "heat in the probe",
            f"{1000 * bias_a**2 * 132.0:.1f} mW",
            "bias of 2 V (from memory) over 400 + 132 ohm, at 82 °C; some 10 mK in stirred liquid, "
            "the same when calibrated",
        ),
    ]
    return rows


def noise_rows() -> list[Row]:
    """What is left of noise, steps and hum in one tick and one second."""
    scale = StationCalibration()
    ticks = 1.0 / TICK_S
    step_mm, step_k = scale.mm_per_code / math.sqrt(12), 4 / 126 / math.sqrt(12)
    lift_mm = math.hypot(GAUGE_NOISE_MM, step_mm) / math.sqrt(SCANS_PER_TICK)
    bath_k = math.hypot(PROBE_NOISE_K, step_k) / math.sqrt(SCANS_PER_TICK)

    def hum(hertz: float) -> float:
        turns = (cmath.exp(2j * math.pi * hertz * SCAN_S * n) for n in range(SCANS_PER_TICK))
        return abs(sum(turns)) / SCANS_PER_TICK

    return [
        Row(
            "lift, one tick / one second",
            f"{1000 * lift_mm:.2f} / {1000 * lift_mm / math.sqrt(ticks):.2f} µm",
            "2 µm of noise and the step of a code, over 4 / 40 scans",
        ),
        Row(
            "that as temperature at the start",
            f"{lift_mm / math.sqrt(ticks) / START_SLOPE_MM_PER_K * 1000:.1f} mK",
            "over 0.35 mm/K, one second",
        ),
        Row(
            "bath, one tick / one second",
            f"{1000 * bath_k:.1f} / {1000 * bath_k / math.sqrt(ticks):.1f} mK",
            "2 mK of noise and the step of a code, over 4 / 40 scans",
        ),
        Row(
            "mixing of the bath",
            f"{1000 * MIXING_K:.0f} mK",
            "at one place, over seconds to minutes: the greatest part, and no average of "
            "samples takes it off",
        ),
        Row(
            "hum of 50 / 60 / 16.7 Hz left in a tick",
            " / ".join(f"{100 * hum(f):.0f}" for f in (50.0, 60.0, 50 / 3)) + " %",
            "four scans 25 ms apart: a quarter turn, half a turn; railway current only in part",
        ),
        Row(
            "longest line on the wire",
            f"{LINE_MAX * 10 / 115.2:.1f} ms",
            "240 bytes at 115200 baud",
        ),
    ]

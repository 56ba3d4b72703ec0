"""The levels the controller guards, defined once: `guard_levels.h` is generated from this table.

A name ends in its unit: `_mk` thousandths of a kelvin of difference, `_mc` thousandths of a degree
Celsius, `_ma`, `_ms`, `_s`, `_ohm`, `_code` (12 bits), `_samples` and `_looks` in a row.
Persistences and levels of one cause stand together; `of` says whose they are.
"""

from __future__ import annotations

from typing import NamedTuple

from proofbath.wire.table import TICK_MS, StationFlag, StopReason, TripReason

Cause = TripReason | StationFlag | StopReason


class Level(NamedTuple):
    """One level, in the unit its name ends with; `of` names the causes that are judged by it."""

    name: str
    value: int
    of: tuple[Cause, ...]
    meaning: str


def _level(name: str, value: int, meaning: str, *of: Cause) -> Level:
    return Level(name, value, of, meaning)


T, S, STOP = TripReason, StationFlag, StopReason
PROBE_FAULTS = (T.BATH_PROBE_FAULT, T.GUARD_PROBE_FAULT)
OVER_LIMIT = (T.BATH_OVER_LIMIT, T.GUARD_OVER_LIMIT)
ELEMENT = (S.ELEMENT_OVER, S.ELEMENT_OPEN, S.ELEMENT_SHORT)
CURRENT = (*ELEMENT, T.ELEMENT_FEED_STUCK, T.OFF_FAILED)

LEVELS = (
    # Ceilings: the host may only tighten.
    _level("bath_ceiling_mc", 125_000, "above the boil of any glycol mix", *OVER_LIMIT),
    _level(
        "disagree_ceiling_mk", 4_100, "the wide level where a probe counts most a kelvin",
        T.PROBES_DISAGREE,
    ),
    _level("offset_ceiling_mk", 3_000, "greatest offset of two probes", T.PROBES_DISAGREE),
    _level("probe_lag_ceiling_s", 60, "greatest lag between two probes", T.PROBES_DISAGREE),
    _level("climb_ceiling_mk", 3_333, "20 K/min over 10 s", T.CLIMB_TOO_FAST),
    _level("heater_on_ceiling_s", 50_400, "14 h: longer than any night", T.HEATER_ON_LIMIT),
    _level("element_ceiling_ma", 1_500, "greatest element set-point", S.ELEMENT_OVER),
    _level(
        "element_on_ceiling_s", 14_400, "4 h unbroken: a power ramp of 0.05 W/min to 12 W",
        S.ELEMENT_TIME,
    ),
    _level("element_per_k_ceiling", 50, "in 1e-5 per K, of any heater wire", S.ELEMENT_HOT),
    _level("gauge_floor_code", 20, "lowest code of a gauge that is whole", S.GAUGE_FAULT),
    _level(
        "gauge_ceiling_code", 4_075, "highest code of a gauge that is whole",
        S.GAUGE_FAULT, S.OVER_STROKE,
    ),
    # Probes.
    _level("probe_lowest_mc", -20_000, "colder is no plausible bath", *PROBE_FAULTS),
    _level("probe_highest_mc", 160_000, "hotter is no plausible bath", *PROBE_FAULTS),
    _level(
        "guard_threshold_mc", -15_000,
        "low threshold of the guard probe's converter, by which it is known from the bath probe's",
        T.PART_READ_BACK,
    ),
    _level("leads_ms", 1_000, "between two cycles that look for broken leads", *PROBE_FAULTS),
    _level("probe_samples", 3, "one disturbed sample trips nothing", *PROBE_FAULTS, *OVER_LIMIT),
    _level(
        "disagree_wide_mk", 4_000, "in a bath that is not stirred, or not yet, and lies in layers",
        T.PROBES_DISAGREE,
    ),
    _level("disagree_stirred_ms", 60_000, "from then on the host's limit", T.PROBES_DISAGREE),
    _level("disagree_samples", 30, "3 s", T.PROBES_DISAGREE),
    _level(
        "layers_ms", 30_000, "still for so long, a bath parts into layers that mix at the start",
        T.CLIMB_TOO_FAST,
    ),
    # Heat without rise: a stop without latch.
    _level("unseen_rise_mk", 2_000, "rise that was to be seen", STOP.HEAT_UNSEEN),
    _level("unseen_share", 3, "less than one part in so many was seen", STOP.HEAT_UNSEEN),
    _level("unseen_window_s", 120, "of heat, beside its delay", STOP.HEAT_UNSEEN),
    _level("unseen_cooled_s", 360, "after the cooling valve closed", STOP.HEAT_UNSEEN),
    # Slow back-up for a welded path.
    _level("quiet_heater_ms", 120_000, "sheath and mixing are over", T.CLIMB_WHILE_OFF),
    _level("quiet_elements_ms", 60_000, "element heat has left the units", T.CLIMB_WHILE_OFF),
    _level("quiet_stirrer_ms", 60_000, "a restarted stirrer has mixed", T.CLIMB_WHILE_OFF),
    _level("quiet_climb_mk", 500, "above the lowest 10 s mean", T.CLIMB_WHILE_OFF),
    _level(
        "quiet_floor_mc", 35_000, "colder counts as this: the room warms a cold bath",
        T.CLIMB_WHILE_OFF,
    ),
    # Inputs.
    _level("stop_ms", 1, "two looks: a spike that one look sees is none", T.EMERGENCY_STOP),
    _level("level_low_ms", 1_000, "waves open the float's contact shortly", T.LEVEL_LOW),
    _level("stirred_ms", 3_000, "turning so long before heat", T.STIRRER_STOPPED),
    _level("not_turning_ms", 2_000, "driven without turning", T.STIRRER_STOPPED),
    _level("stirrer_sense_ms", 5_000, "turning after its drive went off", T.STIRRER_SENSE),
    _level("mirror_ms", 500, "against the contactor's drive", T.CONTACTOR_MIRROR),
    _level("heater_welded_ms", 200, "current after off", T.HEATER_WELDED),
    _level("heater_open_ms", 500, "on-time without current", T.HEATER_OPEN),
    _level("off_failed_ms", 1_000, "heat that goes on with everything off", T.OFF_FAILED),
    # Parts: a disturbance is mended and costs nothing.
    _level("part_samples", 3, "wrong in a row", T.PART_READ_BACK, T.REFERENCE_CHANNEL),
    _level(
        "reference_band_code", 41, "1 % of full scale: references and resistors of 0.1 to 0.2 %",
        T.REFERENCE_CHANNEL,
    ),
    # Stations.
    _level("element_judged_ma", 100, "less is not judged", *CURRENT),
    _level("element_settle_ms", 500, "after a change", *CURRENT),
    _level("element_change_ma", 20, "less is no change: a slow power ramp is steady", *ELEMENT),
    _level("element_samples", 3, "one disturbed sample costs no unit its night", *ELEMENT),
    _level("element_over_ma", 40, "beside a tenth of the set-point", S.ELEMENT_OVER),
    _level(
        "element_short_ohm", 3,
        "no heater has so little: 14 to 18 ohm (common practice, no source)", S.ELEMENT_SHORT,
    ),
    _level("hot_k_per_w", 4, "an immersed core over its bath", S.ELEMENT_HOT),
    _level("hot_margin_mk", 10_000, "beside what the power explains", S.ELEMENT_HOT),
    _level("hot_judged_ma", 250, "less heats no core, and its noise hides it", S.ELEMENT_HOT),
    _level("hot_far_ma", 100, "offsets of the channels differ between far currents", S.ELEMENT_HOT),
    _level("hot_settle_ms", 100, "a small core is hot before half a second is over", S.ELEMENT_HOT),
    _level("hot_first_ticks", 3, "of the base, for the same reason", S.ELEMENT_HOT),
    _level("hot_first_ma", 400, "less heats slowly: the base is a whole second's", S.ELEMENT_HOT),
    _level("hot_cooling_s", 40, "in which a core cools when its power falls", S.ELEMENT_HOT),
    _level("hot_leads_e5", 100, "leads and contacts, in 1e-5 of the resistance", S.ELEMENT_HOT),
    _level("hot_seconds", 3, "means of a second in a row", S.ELEMENT_HOT),
    _level("hot_base_kept_ms", 60_000, "a shorter break keeps the base", S.ELEMENT_HOT),
    _level("gauge_ms", 1_000, "outside its limits", S.GAUGE_FAULT, S.OVER_STROKE),
)  # fmt: skip


_HEAD = """\
// Generated from host/proofbath/wire/guard_levels.py by host/write_wire.py; do not edit.

// Levels and persistences of the guard rows. A name ends in its unit; scales.h turns mK, m degC
// and mA into the sums and codes of the converters.

#pragma once
#include <stdint.h>

namespace level {
"""


def levels_of(cause: Cause) -> tuple[Level, ...]:
    """Return the levels and persistences a cause is judged by, in the table's order."""
    # Numbers of different kinds may be equal: a cause is its kind and its number.
    return tuple(
        level
        for level in LEVELS
        if any(type(own) is type(cause) and own == cause for own in level.of)
    )


def value_of(name: str) -> int:
    """Return a level by its name, in the unit the name ends with; KeyError for an unknown one."""
    return {level.name: level.value for level in LEVELS}[name]


def seconds_of(name: str) -> float:
    """Return a persistence in s by its name, of ms, s or samples of one tick; KeyError."""
    return value_of(name) * {"ms": 0.001, "s": 1.0, "samples": TICK_MS / 1000}[name.split("_")[-1]]


def header_text() -> str:
    """Return the text of `guard_levels.h`."""
    rows = [
        f"// {level.meaning[0].upper()}{level.meaning[1:]}.\n"
        f"constexpr {_c_type(level.value)} {level.name} = {level.value};"
        for level in LEVELS
    ]
    return "\n".join([_HEAD, *rows, "\n}  // namespace level\n"])


def _c_type(value: int) -> str:
    if value < 0:
        return "int32_t"
    return "uint8_t" if value <= 0xFF else "uint16_t" if value <= 0xFFFF else "uint32_t"

"""Hazards by heat in the bath: the rows, with the faults that provoke them and their ends."""

from __future__ import annotations

from proofbath.wire.hazards import (
    GOES_ON,
    ByTest,
    End,
    Fault,
    Harm,
    Hazard,
    Part,
    Wired,
    trips,
)
from proofbath.wire.table import RefusedReason, StopReason, TripReason
from proofbath.wire.watches import Before, Watch

T, W = TripReason, Wired
FULL_SCALE = 1.0
AS_AT_60_C = 0.3081
"""Share of full scale of a platinum probe at 60 degC, 123.24 ohm (IEC 60751), against 400 ohm."""
MUST_ARRIVE = (Part.RISING, Part.FALLING, Part.POWER, Part.COOLING)
"""Parts with a temperature still to be reached, there or in the step behind."""
GUARD_PROBE_TELLS = dict.fromkeys(MUST_ARRIVE, trips(T.PROBES_DISAGREE, T.GUARD_OVER_LIMIT))
MIRROR_BEHIND = End(latched=T.CONTACTOR_MIRROR)
"""A contactor that sticks shows when it should open: behind the run, and bars the next one."""
NATIVE_ROWS = "tests/firmware/guard_rows.cpp::"
BENCH_FAULTS = "tests/firmware/test_bench_faults.py::"
AVR_GUARD_ROWS = "tests/system/simulator/test_guard_rows.py::"
AVR_ROWS = f"{AVR_GUARD_ROWS}test_fault_opens_every_output_within_a_tick_and_stays_latched"
AFTER_TRIP = "tests/host/run/test_after_trip.py::"
WATCHED = "tests/host/run/test_watch.py::"


def _lead(probe: str, fault: TripReason, stuck: dict[Part, End]) -> tuple[Fault, ...]:
    """Single leads of a probe broken: what is read then nobody promises.

    A probe's own size is that of 60 °C, and the top of the scale.  The resistor pulls a loose
    RTDIN+ to the top.
    """
    unsure = ("force_plus_open", "force_minus_open", "rtdin_minus_open")
    faults = []
    for lead in unsure:
        kind = f"{probe}_probe_{lead}"
        # A force lead shows by the converter's own cycle once the bench rests, behind the run.
        behind = GOES_ON if lead.startswith("rtdin") else End(latched=fault)
        faults.append(Fault(kind, behind, stuck, AS_AT_60_C))
        faults.append(Fault(kind, trips(fault), size=FULL_SCALE))
    faults.append(Fault(f"{probe}_probe_rtdin_plus_open", trips(fault), size=AS_AT_60_C))
    return tuple(faults)


HEAT = (
    Hazard(
        "heater relay stuck on", Harm.HEAT, "a solid-state relay fails shorted",
        (T.HEATER_WELDED, T.CLIMB_WHILE_OFF, W.CONTACTOR, Watch.HEATER_STILL_LIVE, W.CUT_OUT,
         W.ISOLATOR),
        (
            Fault("heater_welded", trips(T.HEATER_WELDED)),
            ByTest((T.CLIMB_WHILE_OFF,), (
                "tests/firmware/quiet_climb.cpp::climb_of_more_than_half_a_kelvin_while_off",
                AVR_ROWS)),
            ByTest((Watch.HEATER_STILL_LIVE,), (
                f"{AFTER_TRIP}test_what_still_draws_current_is_said_once_after_a_second",)),
        ),
        "with K1 welded too, only a hand at Q1",
    ),
    Hazard(
        "contactor stuck", Harm.HEAT, "contacts welded, coil dead, mirror contact wrong, no mains",
        (T.CONTACTOR_MIRROR, Before.AT_REST, Watch.CONTACTOR_STILL_CLOSED, W.ISOLATOR),
        (
            Fault("contactor_welded", MIRROR_BEHIND, seems_closed=True),
            Fault("contactor_dead", trips(T.CONTACTOR_MIRROR)),
            Fault("mirror_stuck_open", trips(T.CONTACTOR_MIRROR)),
            Fault("mirror_stuck_closed", MIRROR_BEHIND, seems_closed=True),
            Fault("mains_lost", trips(T.CONTACTOR_MIRROR)),
            ByTest((Before.AT_REST,), (
                "tests/host/bench/test_commission.py"
                "::test_a_bench_that_is_not_in_order_is_not_commissioned",)),
            ByTest((Watch.CONTACTOR_STILL_CLOSED,), (
                f"{AFTER_TRIP}test_what_still_draws_current_is_said_once_after_a_second",)),
        ),
        "welded, it is not seen before it should open; the relay K2 alone keeps the heat off then;"
        " the cut-out opens the coil in vain",
    ),
    Hazard(
        "heat goes on after a trip", Harm.HEAT, "two contacts welded at once, by one short",
        (T.OFF_FAILED, Watch.HEATER_STILL_LIVE, Watch.OUTPUTS_STILL_ON, Watch.BATH_STILL_CLIMBS,
         W.ISOLATOR),
        (
            ByTest((T.OFF_FAILED,), (
                "tests/firmware/test_bench_faults.py"
                "::test_heat_that_goes_on_after_a_trip_escalates",
                "tests/system/simulator/test_guard_rows.py"
                "::test_heat_that_goes_on_after_a_trip_escalates")),
            ByTest((Watch.OUTPUTS_STILL_ON,), (
                f"{AFTER_TRIP}test_outputs_of_a_run_that_has_ended_are_given_the_lease_to_go_off",
            )),
            ByTest((Watch.BATH_STILL_CLIMBS,), (
                f"{AFTER_TRIP}test_a_bath_that_climbs_by_more_than_half_a_kelvin_behind_two"
                "_minutes",)),
        ),
        "no output can switch it off: a person, called by the alarm, at Q1",
    ),
    Hazard(
        "bath beyond its limit", Harm.HEAT,
        "heat that nobody asked for, a limit set too high, a coolant with too little glycol",
        (T.BATH_OVER_LIMIT, T.GUARD_OVER_LIMIT, T.CLIMB_TOO_FAST, Watch.BATH_BEYOND_PLAN,
         Before.PLAN, Before.REFERENCE, W.CUT_OUT),
        (
            Fault("extra_heat", trips(T.BATH_OVER_LIMIT, T.GUARD_OVER_LIMIT), size=4000.0),
            Fault("extra_heat", trips(T.CLIMB_TOO_FAST, T.BATH_OVER_LIMIT), size=15000.0),
            ByTest((Before.REFERENCE,), (
                "tests/host/bench/test_start.py"
                "::test_reference_resistor_may_be_a_hundredth_off_the_firmwares",)),
            ByTest((T.GUARD_OVER_LIMIT,), (
                f"{NATIVE_ROWS}guard_over_limit_by_one_count", AVR_ROWS)),
            ByTest((Watch.BATH_BEYOND_PLAN,), (
                f"{WATCHED}test_a_bath_heated_beyond_the_plan_ends_the_run",)),
            ByTest((Before.PLAN,), (
                "tests/host/run/test_check.py"
                "::test_a_profile_fixedly_above_the_bath_limit_is_refused",)),
        ),
        "heat past every switch goes on until the coolant boils: Q1 by hand",
    ),
    Hazard(
        "heater on too long", Harm.HEAT, "lid off, cooling stuck open, a night longer than planned",
        (T.HEATER_ON_LIMIT, Watch.STEP_NOT_OVER, Watch.RUN_LATE),
        (
            ByTest((T.HEATER_ON_LIMIT,), (
                f"{NATIVE_ROWS}heater_on_limit_counts_on_time_since_the_contactor_closed",
                "tests/system/simulator/test_hazards.py::test_heater_on_longer_than_allowed")),
            ByTest((Watch.STEP_NOT_OVER,), (
                "tests/host/run/test_sequencer.py::test_a_step_that_never_ends_ends_the_run",)),
            ByTest((Watch.RUN_LATE,), (
                f"{WATCHED}test_a_run_that_takes_much_longer_than_planned_is_told_once",)),
        ),
        "the bath's own limits",
    ),
    Hazard(
        "probe open, shorted or not believable", Harm.HEAT, "plug, cable, coolant in the sheath",
        (T.BATH_PROBE_FAULT, T.GUARD_PROBE_FAULT, W.CUT_OUT),
        (
            Fault("bath_probe_open", trips(T.BATH_PROBE_FAULT)),
            Fault("bath_probe_short", trips(T.BATH_PROBE_FAULT)),
            Fault("guard_probe_open", trips(T.GUARD_PROBE_FAULT)),
            Fault("guard_probe_short", trips(T.GUARD_PROBE_FAULT)),
        ),
        "the cut-out",
    ),
    Hazard(
        "one lead of a probe broken", Harm.HEAT,
        "what is read then is promised for RTDIN+ alone, by its resistor to BIAS",
        (T.BATH_PROBE_FAULT, T.GUARD_PROBE_FAULT, T.PROBES_DISAGREE, StopReason.HEAT_UNSEEN,
         W.CUT_OUT),
        _lead("bath", T.BATH_PROBE_FAULT, GUARD_PROBE_TELLS)
        + _lead("guard", T.GUARD_PROBE_FAULT, {}),
        "a lead that breaks and leaves a plausible reading shows only as a probe that is stuck",
    ),
    Hazard(
        "one probe stuck, drifting or out of the bath", Harm.HEAT,
        "a probe pulled out, a sheath dry inside, a converter that drifts",
        (T.PROBES_DISAGREE, StopReason.HEAT_UNSEEN, Watch.PROBES_CHANGED, W.CUT_OUT),
        (
            # A level bath hides it; one that must arrive somewhere never does.
            Fault("bath_probe_stuck", GOES_ON, GUARD_PROBE_TELLS),
            Fault("bath_probe_offset", trips(T.PROBES_DISAGREE), size=-6.0),
            Fault("bath_probe_drift", GOES_ON, size=0.5),
            Fault("guard_probe_stuck", GOES_ON),
            Fault("guard_probe_offset", trips(T.PROBES_DISAGREE), size=-6.0),
            Fault("guard_probe_drift", GOES_ON, size=0.5),
            ByTest((Watch.PROBES_CHANGED,), (
                f"{WATCHED}test_probes_that_drift_apart_slowly_are_told_once",)),
        ),
        "the guard probe's limit, then the cut-out",
    ),
    Hazard(
        "heat does not reach the bath, or both probes do not see it", Harm.HEAT,
        "heater dead, lid open, bath boiling; both probes on one holder out of the bath, or stuck",
        (T.HEATER_OPEN, StopReason.HEAT_UNSEEN, RefusedReason.HEAT_STOPPED, Watch.HEAT_UNSEEN,
         Watch.HEAT_MISSING, W.CUT_OUT),
        (
            # Also in a fall: the heater trims what the cooling valve takes.
            Fault("heater_open", trips(T.HEATER_OPEN)),
            # Heat that is missing is judged over five minutes; the short plans are over before.
            Fault("lid_off", GOES_ON),
            ByTest((StopReason.HEAT_UNSEEN, RefusedReason.HEAT_STOPPED), (
                f"{BENCH_FAULTS}test_heat_that_a_probe_does_not_show_stops",
                f"{AVR_GUARD_ROWS}test_heat_that_no_probe_shows_stops")),
            ByTest((Watch.HEAT_UNSEEN,), (
                "tests/host/run/test_elements.py"
                "::test_heat_that_no_probe_sees_ends_the_run_without_a_trip",)),
            ByTest((Watch.HEAT_MISSING,), (
                f"{WATCHED}test_heat_that_does_not_arrive_ends_the_run",)),
        ),
        "the cut-out; a bath that climbs slower than 1 K/min at full heat is left to the host",
    ),
    Hazard(
        "two probes become one", Harm.HEAT, "a select line, the answer line or the clock breaks",
        (T.PART_READ_BACK, T.REFERENCE_CHANNEL, W.CUT_OUT),
        (
            # Each part is known from the others: by its threshold, or by its reference channel.
            Fault("select_a_low", trips(T.PART_READ_BACK)),
            Fault("select_a_high", trips(T.PART_READ_BACK)),
            Fault("select_b_low", trips(T.REFERENCE_CHANNEL)),
            Fault("select_b_high", trips(T.PART_READ_BACK)),
            Fault("select_c_low", trips(T.REFERENCE_CHANNEL)),
            Fault("select_c_high", trips(T.PART_READ_BACK)),
            Fault("miso_low", trips(T.PART_READ_BACK)),
            Fault("miso_high", trips(T.PART_READ_BACK)),
            Fault("spi_clock_dead", trips(T.PART_READ_BACK)),
        ),
        "the cut-out",
    ),
    Hazard(
        "bath dry", Harm.HEAT, "evaporation, a leak, too small a fill",
        (T.LEVEL_LOW, W.LEVEL_RELAY, Before.FILL, Before.FLOAT, Watch.CAPACITY_CHANGED,
         Watch.HEAT_MISSING, W.CUT_OUT),
        (
            Fault("coolant_lost", trips(T.LEVEL_LOW), size=6.0),
            Fault("level_low", trips(T.LEVEL_LOW)),
            # Alone a barrier that fails shows nothing: what then remains is for pairs of faults.
            Fault("level_stuck", GOES_ON),
            Fault("level_relay_stuck", GOES_ON),
            ByTest((Watch.CAPACITY_CHANGED,), (
                f"{WATCHED}test_a_level_that_sank_between_two_rises_is_seen_in_the_heat_capacity",
            )),
            ByTest((Before.FILL,), (
                "tests/host/run/test_check.py"
                "::test_evaporation_must_be_covered_twice_above_the_level_switch",)),
            ByTest((Before.FLOAT,), (
                "tests/host/bench/test_release.py"
                "::test_a_bath_whose_float_was_not_seen_low_is_not_left_alone",)),
        ),
        "one float serves controller and relay: stuck, it is seen by its proofs only",
    ),
    Hazard(
        "bath not stirred", Harm.HEAT, "coupling, drive, a hand at the switch",
        (T.STIRRER_STOPPED, T.STIRRER_SENSE, RefusedReason.UNSTIRRED, Watch.STIRRER_STANDS,
         T.BATH_OVER_LIMIT, W.DRIVE),
        (
            Fault("stirrer_stopped", trips(T.STIRRER_STOPPED)),
            # It shows five seconds after the stirrer was switched off, behind the run.
            Fault("stirrer_turning_stuck", End(latched=T.STIRRER_SENSE)),
            # The bath probe hangs in the upper, warmer layers.
            Fault("stratified", trips(T.BATH_OVER_LIMIT, T.PROBES_DISAGREE), size=40.0),
            ByTest((Watch.STIRRER_STANDS,), (
                "tests/host/run/test_sequencer.py"
                "::test_a_stirrer_that_never_turns_ends_the_run_before_heat",)),
        ),
        "both probes, each with its limit",
    ),
    Hazard(
        "cut-out dead", Harm.HEAT, "its contact welded, its setting moved, its sensor elsewhere",
        (T.BATH_OVER_LIMIT, T.GUARD_OVER_LIMIT),
        (Fault("cut_out_dead", GOES_ON),),
        "seen by its proof only: nothing else tells while both probes are right",
    ),
)  # fmt: skip

"""Hazards of elements, controller and people, and what spoils values only: the rows."""

from __future__ import annotations

from proofbath.wire.hazards import (
    GOES_ON,
    Between,
    ByTest,
    End,
    Fault,
    Harm,
    Hazard,
    Link,
    Part,
    Proof,
    Wired,
    costs_the_station,
    ends,
    trips,
)
from proofbath.wire.heat_hazards import AFTER_TRIP, AVR_GUARD_ROWS, BENCH_FAULTS, WATCHED
from proofbath.wire.table import RefusedReason, StationFlag, StopReason, TripReason
from proofbath.wire.watches import Before, Watch

T, S, W, R = TripReason, StationFlag, Wired, RefusedReason
STATION_ROWS = "tests/firmware/station_rows.cpp::"
SELF_TESTS = "tests/firmware/self_tests.cpp::"
MEMORY = "tests/firmware/memory_cuts.cpp::"
AVR_SELF_TESTS = "tests/system/simulator/test_self_tests.py::"
AVR_LINE = "tests/system/simulator/test_line.py::"
AVR_BOOT = "tests/system/simulator/test_boot.py::"
START = "tests/host/bench/test_start.py::"
ELEMENTS = "tests/host/run/test_elements.py::"
SEQUENCER = "tests/host/run/test_sequencer.py::"

REFUSAL = "test_what_is_not_to_be_done_is_refused_with_its_reason"
REFUSED = (
    R.OUT_OF_RANGE, R.WRONG_BOOT, R.NOT_NEWER, R.TOO_OLD, R.BEYOND_CEILING, R.WRONG_STATE,
    R.CONTACTOR_CLOSED, R.WRONG_TRIP, R.CAUSE_PRESENT, R.WRONG_PROTOCOL, R.UNSTIRRED,
)  # fmt: skip


def _fed(flag: StationFlag) -> dict[Part, End]:
    """An element's own faults show only while it is fed."""
    return {Part.POWER: costs_the_station(flag)}


ELEMENT = (
    Hazard(
        "element open, shorted or over-driven", Harm.ELEMENT, "plug, leads, driver, bypass",
        (S.ELEMENT_OPEN, S.ELEMENT_SHORT, S.ELEMENT_OVER, Watch.CURRENT_OVER, Watch.CURRENT_SHORT,
         Before.PLAN, W.FUSE, W.FEED_CONTACTOR),
        (
            Fault("element_over", GOES_ON, _fed(S.ELEMENT_OVER), 0.2),
            Fault("element_open", GOES_ON, _fed(S.ELEMENT_OPEN)),
            Fault("element_short", GOES_ON, _fed(S.ELEMENT_SHORT)),
            Fault("supply_wrong", GOES_ON, size=4.0),
            Fault("feed_contactor_welded", GOES_ON),
            ByTest((Watch.CURRENT_OVER, Watch.CURRENT_SHORT), (
                "tests/host/run/test_source_gain.py::test_it_is_told_once_from_a_fiftieth_on",)),
        ),
        "below 0.2 A nothing is judged; a reading that is wrong itself shows no wrong current",
    ),
    Hazard(
        "element in air, or its wax gone", Harm.ELEMENT,
        "a unit not immersed, a unit that leaked: its core runs hot within minutes",
        (Watch.ELEMENT_DRY, S.ELEMENT_HOT, Watch.ELEMENT_SUFFERED, Watch.ELEMENT_ALONE,
         Watch.ELEMENT_ATTENDED, Watch.GUARD_NOT_TAKEN, S.OVER_STROKE, S.ELEMENT_TIME,
         Before.GUIDE),
        (
            # A little air is a slow unit, not a dry one; the waxless one is seen by its check.
            Fault("air_round_element", GOES_ON, size=3.0),
            Fault("waxless", GOES_ON, size=8.0),
            ByTest((S.ELEMENT_HOT,), (
                f"{BENCH_FAULTS}test_core_far_hotter_than_its_bath_is_switched_off",
                f"{AVR_GUARD_ROWS}test_dry_core_is_switched_off")),
            ByTest((Watch.ELEMENT_DRY,), (
                f"{ELEMENTS}test_an_element_in_air_or_without_wax_is_not_fed_and_the_other_is",)),
            ByTest((Watch.ELEMENT_ALONE, Watch.ELEMENT_ATTENDED), (
                f"{ELEMENTS}test_what_cannot_be_guarded_is_fed_only_while_somebody_stays",)),
            ByTest((Watch.ELEMENT_SUFFERED,), (
                f"{ELEMENTS}test_an_element_above_150_degrees_is_noted_once",)),
            ByTest((Watch.GUARD_NOT_TAKEN,), (
                f"{ELEMENTS}test_a_controller_that_takes_no_limits_ends_the_run",)),
        ),
        "an element whose resistance tells nothing is watched by a person only",
    ),
    Hazard(
        "element current that nobody asked for", Harm.ELEMENT,
        "a station switch, the feed contactor or the bench supply does not open",
        (T.ELEMENT_FEED_STUCK, T.OFF_FAILED, Watch.ELEMENT_STILL_FED, Watch.SUPPLY_STUCK,
         W.FEED_CONTACTOR, W.FUSE, W.ISOLATOR),
        (
            # It flows while other stations are fed and is then taken for the station's own current.
            Fault("element_feed_stuck", GOES_ON, size=0.3),
            # A bypass joins the supply ahead of the feed contactor, so a trip does not end it.
            Fault("bypass_closed", End((T.ELEMENT_FEED_STUCK,), latched=T.OFF_FAILED), size=0.3),
            ByTest((Watch.ELEMENT_STILL_FED,), (
                f"{AFTER_TRIP}test_what_still_draws_current_is_said_once_after_a_second",)),
            ByTest((Watch.SUPPLY_STUCK,), (
                "tests/host/run/test_one_at_a_time.py"
                "::test_current_that_does_not_fall_keeps_the_switch_and_ends_the_run",)),
        ),
        "below 100 mA nobody judges it: 0.15 W at most",
    ),
    Hazard(
        "element fed too long", Harm.ELEMENT, "a plan that asks too long, a host that forgets",
        (S.ELEMENT_TIME,),
        (
            ByTest((S.ELEMENT_TIME,), (
                f"{STATION_ROWS}element_on_longer_than_allowed",
                "tests/system/simulator/test_hazards.py::test_element_on_longer_than_allowed")),
        ),
        "the lease: a host that is gone feeds nothing",
    ),
    Hazard(
        "over-stroke", Harm.ELEMENT, "an over-filled element, a bath above the unit's stroke",
        (S.OVER_STROKE, Watch.RISE_ENDED, Before.PLAN),
        (
            Fault("over_stroke", costs_the_station(S.OVER_STROKE), size=15.0),
            ByTest((Watch.RISE_ENDED,), (
                f"{WATCHED}test_over_stroke_ends_the_rise_and_the_night_goes_on_to_the_fall",)),
        ),
        "hot wax may leave the element: lid on",
    ),
    Hazard(
        "gauge lies", Harm.ELEMENT, "plug, cable, rod off the unit, a plunger that sticks",
        (S.GAUGE_FAULT, Watch.STATION_FLAGGED, Watch.GAUGE_STANDS_STILL, Watch.ZERO_MOVED),
        (
            Fault("gauge_open", costs_the_station(S.GAUGE_FAULT)),
            Fault("gauge_short", costs_the_station(S.GAUGE_FAULT)),
            Fault("gauge_sticking", GOES_ON, size=0.3),
            ByTest((Watch.STATION_FLAGGED,), (
                f"{WATCHED}test_a_gauge_out_of_range_costs_its_own_station_one_alarm",)),
            ByTest((Watch.GAUGE_STANDS_STILL,), (
                f"{WATCHED}test_a_gauge_that_stands_where_its_unit_must_move_is_named_once",)),
            ByTest((Watch.ZERO_MOVED,), (
                f"{WATCHED}test_a_zero_that_does_not_return_is_told_for_its_station",)),
        ),
        "over-stroke is blind at that station; its element is off where the gauge is flagged",
    ),
)  # fmt: skip

RESTARTED = ends(Watch.CONTROLLER_RESTARTED)
CONTROL = (
    Hazard(
        "host dead, cable pulled", Harm.CONTROL, "computer, program, cable, a suspended PC",
        (StopReason.LEASE_OVER, Watch.NO_SAMPLES, Watch.LINK_LOST, W.CUT_OUT),
        (
            Link(Between.PLUG, ends(Watch.LINK_LOST)),
            Link(Between.MUTE, ends(Watch.NO_SAMPLES)),
            ByTest((StopReason.LEASE_OVER,), (
                "tests/firmware/lease.cpp"
                "::lease_over_switches_heat_off_at_once_and_the_contactor_a_second_later",
                f"{AVR_LINE}test_silence_ends_the_lease_on_the_pins")),
            ByTest((StopReason.RELEASED,), (
                "tests/firmware/lease.cpp::lease_of_zero_gives_everything_back",
                f"{AVR_LINE}test_a_lease_given_back_switches_off_at_once")),
        ),
        "the controller guards on alone",
    ),
    Hazard(
        "noise, old lines, a host that lies", Harm.CONTROL,
        "a bad cable, two hosts, a wrong plan, a program that is wrong",
        (*REFUSED, R.STATION_ABSENT, Before.REFERENCE, Watch.DEMANDS_NOT_TAKEN),
        (
            # A garbled line costs its sample, and the lease outlives many.
            Link(Between.NOISE, GOES_ON),
            ByTest((*REFUSED, R.LIMITS_MISSING), (
                "tests/firmware/test_bench_faults.py::" + REFUSAL,
                "tests/system/simulator/test_hazards.py::" + REFUSAL)),
            # The native build has all six stations.
            ByTest((R.STATION_ABSENT,), (f"{AVR_LINE}test_small_board_has_two_stations",)),
            ByTest((Watch.DEMANDS_NOT_TAKEN,), (
                f"{SEQUENCER}test_a_controller_that_takes_no_demand_ends_the_run",)),
        ),
        "the ceilings compiled in",
    ),
    Hazard(
        "controller hangs", Harm.CONTROL, "disturbance, a fault of its program",
        (T.WATCHDOG, T.PROGRAM_FLOW, Watch.NO_SAMPLES, W.PULL_DOWNS, W.CUT_OUT),
        (
            Link(Between.WATCHDOG, ends(Watch.CONTROLLER_RESTARTED, T.WATCHDOG)),
            ByTest((T.WATCHDOG,), (
                f"{SELF_TESTS}tick_with_one_duty_left_out_does_not_feed_the_watchdog",
                f"{AVR_BOOT}test_hang_is_ended_by_the_watchdog_and_latched")),
            ByTest((T.PROGRAM_FLOW,), (
                f"{SELF_TESTS}scan_left_out_by_a_spoiled_counter_trips_and_starves_the_watchdog",
                f"{AVR_SELF_TESTS}test_skipped_duty_trips_and_then_starves_the_watchdog")),
        ),
        "the wired chain",
    ),
    Hazard(
        "power fails and comes back", Harm.CONTROL, "mains, supply, a reset by the port",
        (T.POWER_ON, T.BROWN_OUT, T.UNKNOWN_BOOT, Watch.CONTROLLER_RESTARTED, Before.WORD,
         W.CUT_OUT),
        (
            # So early the limits are still being burned: without them nothing heats.
            Link(Between.RESET, RESTARTED,
                 {Part.STIRRING: ends(Watch.CONTROLLER_RESTARTED, T.LIMITS_MISSING)}),
            Link(Between.POWER_ON, ends(Watch.CONTROLLER_RESTARTED, T.POWER_ON)),
            Link(Between.BROWN_OUT, ends(Watch.CONTROLLER_RESTARTED, T.BROWN_OUT)),
            ByTest((T.UNKNOWN_BOOT,), (
                f"{MEMORY}boot_causes_that_are_trips",
                f"{AVR_BOOT}test_boot_cause_decides_and_every_reset_switches_off")),
            ByTest((Before.WORD,), (f"{START}test_a_trip_is_shown_and_never_cleared_unasked",)),
        ),
        "nothing heats by itself: a person looks first",
    ),
    Hazard(
        "limits lost", Harm.CONTROL, "a new or worn EEPROM",
        (T.LIMITS_MISSING, R.LIMITS_MISSING),
        (
            ByTest((T.LIMITS_MISSING,), (
                f"{MEMORY}limits_with_both_copies_spoiled_cannot_be_cleared",
                f"{AVR_BOOT}test_limits_lost_in_both_copies_refuse_to_leave_tripped")),
        ),
        "it does not heat without",
    ),
    Hazard(
        "controller wrong in itself", Harm.CONTROL, "flash, memory, clock or a converter damaged",
        (T.PROGRAM_MEMORY, T.CLOCKS_DISAGREE, T.STACK_OVERRUN, T.REFERENCE_CHANNEL,
         T.PART_READ_BACK, Watch.CONTROLLER_DOES_NOT_TRIP, W.CUT_OUT),
        (
            # The controller's own reference channels tell a converter that has lost its scale.
            Fault("gauge_converter_off", trips(T.REFERENCE_CHANNEL), size=0.1),
            Fault("current_converter_off", trips(T.REFERENCE_CHANNEL), size=0.1),
            Fault("voltage_converter_off", trips(T.REFERENCE_CHANNEL), size=0.1),
            ByTest((T.PROGRAM_MEMORY,), (
                f"{SELF_TESTS}one_flipped_bit_of_program_memory_trips_at_boot",
                f"{AVR_SELF_TESTS}test_flipped_bit_of_program_memory")),
            ByTest((T.CLOCKS_DISAGREE,), (
                f"{SELF_TESTS}clocks_may_be_a_fifth_apart_and_no_more",
                f"{AVR_SELF_TESTS}test_clocks_that_disagree")),
            ByTest((T.STACK_OVERRUN,), (
                f"{SELF_TESTS}overwritten_stack_guard_trips_and_is_painted_anew_at_boot",
                f"{AVR_SELF_TESTS}test_overwritten_stack_guard")),
            ByTest((Watch.CONTROLLER_DOES_NOT_TRIP,), (
                f"{WATCHED}test_a_controller_that_does_not_trip_ends_the_run",)),
        ),
        "the wired chain; nothing here was assessed to a safety integrity level",
    ),
)  # fmt: skip

PERSON = (
    Hazard(
        "somebody must stop it now", Harm.PERSON, "anything",
        (T.EMERGENCY_STOP, W.STOP, W.ISOLATOR),
        (
            Fault("emergency_stop", trips(T.EMERGENCY_STOP)),
            # One look of two sees it, and one is none.
            Fault("estop_spike", GOES_ON, size=1.0),
        ),
        "Q1",
    ),
    Hazard(
        "touch of live parts", Harm.PERSON, "a damaged lead, a cover off, water",
        (W.SHOCK, Proof.RESIDUAL_CURRENT, Proof.WIRING), (),
        "a licensed electrician measures; no program sees it",
    ),
    Hazard(
        "scald at opening", Harm.PERSON, "a bath opened too early", (W.LID,), (),
        "the page says when it is below 45 °C; visor, gloves, habit",
    ),
    Hazard(
        "person in the bath while heat starts", Harm.PERSON, "two people, one of them far away",
        (Before.GUIDE, W.STOP),
        (
            ByTest((Before.GUIDE,), (
                "tests/host/bench/test_release.py::test_a_loading_is_left_out_only_by_a_word",)),
        ),
        "emergency stop within reach",
    ),
    Hazard(
        "fire with nobody there", Harm.PERSON, "what burns near the bench, a fault nobody sees",
        (Before.PROOF, W.CUT_OUT, Proof.LOCAL_RULES),
        (
            ByTest((Before.PROOF,), (
                "tests/host/bench/test_release.py"
                "::test_an_unattended_night_on_hardware_needs_a_proof",)),
        ),
        "nothing that burns within a metre, a smoke alarm; local rules decide",
    ),
)  # fmt: skip

VALUE = (
    Hazard(
        "a unit is faulty",
        Harm.VALUE,
        "its own wax, spring, seat or vent; air round it",
        (),
        (
            # Faults of a unit are its own: they are for the analysis, and no night ends for them.
            Fault("bubbles", GOES_ON, size=0.3),
            Fault("vent_pin", GOES_ON, size=0.1),
            Fault("unit_stuck", GOES_ON, size=1.0),
            Fault("wax_leak", GOES_ON, size=10.0),
            Fault("spring_weak", GOES_ON, size=0.3),
            Fault("overheated", GOES_ON, size=3.0),
        ),
        "the analysis of its curve, see [warnings](warnings.md#of-a-curve)",
    ),
)

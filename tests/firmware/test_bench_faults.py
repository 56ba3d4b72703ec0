"""Each guard row tripped by its fault on the plant, through the native library's C interface."""

from __future__ import annotations

import ctypes
from typing import NamedTuple

import pytest

from firmware.bench import OFF, TICK_S, USUAL, Bench, probe_sum
from firmware.refusals import REFUSALS
from proofbath.wire.table import (
    BootCause,
    Clear,
    Demand,
    Hello,
    Identity,
    Limits,
    Message,
    Output,
    Refused,
    RefusedReason,
    Sample,
    State,
    StationFlag,
    StopReason,
    Trip,
    TripReason,
)

WARM_C = 60.0
AS_AT_60_C = 0.3081
"""Share of full scale of a platinum probe at 60 degC, 123.24 ohm (IEC 60751), against 400 ohm."""


class Row(NamedTuple):
    """A fault, the demand it meets, and when which trip must follow."""

    reason: TripReason
    kind: str
    least_s: float
    most_s: float
    size: float = 0.0
    duty: int = 0
    station: int = 0
    limits: Limits = USUAL
    element_code: tuple[int, ...] = OFF
    reaches_dac: bool = True


ONE_FED = (400, *OFF[1:])
ROWS = [
    Row(TripReason.HEATER_WELDED, "heater_welded", 0.2, 0.4),
    Row(TripReason.HEATER_OPEN, "heater_open", 0.4, 0.7, duty=1000),
    Row(TripReason.HEATER_OPEN, "heater_open", 4.0, 6.0, duty=100),
    Row(TripReason.CONTACTOR_MIRROR, "contactor_dead", 0.5, 0.7),
    Row(TripReason.CONTACTOR_MIRROR, "mirror_stuck_open", 0.5, 0.7, duty=500),
    Row(TripReason.LEVEL_LOW, "level_low", 1.0, 1.2, duty=500),
    Row(TripReason.LEVEL_LOW, "coolant_lost", 10.0, 40.0, size=6.0),
    Row(TripReason.STIRRER_STOPPED, "stirrer_stopped", 2.0, 2.2, duty=500),
    Row(TripReason.EMERGENCY_STOP, "emergency_stop", 0.0, 0.1, duty=500),
    Row(TripReason.BATH_PROBE_FAULT, "bath_probe_open", 0.2, 0.4),
    Row(TripReason.BATH_PROBE_FAULT, "bath_probe_short", 0.2, 0.4),
    Row(TripReason.GUARD_PROBE_FAULT, "guard_probe_open", 0.2, 0.4),
    Row(TripReason.GUARD_PROBE_FAULT, "guard_probe_short", 0.2, 0.4),
    Row(TripReason.PROBES_DISAGREE, "guard_probe_offset", 3.0, 60.0, size=6.0),
    Row(TripReason.PROBES_DISAGREE, "stratified", 3.0, 300.0, size=20.0),
    Row(TripReason.PROBES_DISAGREE, "bath_probe_stuck", 60.0, 200.0, duty=1000),
    Row(TripReason.CLIMB_TOO_FAST, "extra_heat", 5.0, 30.0, size=15000.0),
    Row(TripReason.CLIMB_WHILE_OFF, "extra_heat", 20.0, 180.0, size=500.0),
    Row(
        TripReason.ELEMENT_FEED_STUCK, "element_feed_stuck", 0.0, 0.2, size=0.3, station=3,
        element_code=ONE_FED,
    ),
    Row(TripReason.ELEMENT_FEED_STUCK, "bypass_closed", 0.0, 0.2, size=0.3, station=3),
    Row(TripReason.BATH_PROBE_FAULT, "bath_probe_rtdin_plus_open", 0.2, 0.4),
    Row(TripReason.GUARD_PROBE_FAULT, "guard_probe_rtdin_plus_open", 0.2, 0.4),
    Row(TripReason.PART_READ_BACK, "select_a_low", 0.2, 0.4, reaches_dac=False),
    Row(TripReason.PART_READ_BACK, "select_a_high", 0.2, 0.4),
    Row(TripReason.REFERENCE_CHANNEL, "select_b_low", 0.2, 0.4, reaches_dac=False),
    Row(TripReason.PART_READ_BACK, "select_b_high", 0.2, 0.4, reaches_dac=False),
    Row(TripReason.REFERENCE_CHANNEL, "select_c_low", 0.2, 0.4, reaches_dac=False),
    Row(TripReason.PART_READ_BACK, "select_c_high", 0.2, 0.4),
    Row(TripReason.PART_READ_BACK, "miso_low", 0.2, 0.4),
    Row(TripReason.PART_READ_BACK, "miso_high", 0.2, 0.4),
    Row(TripReason.PART_READ_BACK, "spi_clock_dead", 0.2, 0.4, reaches_dac=False),
    Row(
        TripReason.BATH_OVER_LIMIT, "extra_heat", 10.0, 60.0, size=3000.0,
        limits=USUAL._replace(bath_limit_sum=probe_sum(WARM_C + 2)),
    ),
    Row(
        TripReason.GUARD_OVER_LIMIT, "extra_heat", 10.0, 60.0, size=3000.0,
        limits=USUAL._replace(guard_limit_sum=probe_sum(WARM_C + 2)),
    ),
]  # fmt: skip


@pytest.fixture
def bench(native_library: ctypes.CDLL) -> Bench:
    return Bench(native_library, bath__start_c=WARM_C)


def seconds_to_trip(
    bench: Bench, most_s: float, duty: int, element_code: tuple[int, ...] = OFF
) -> float:
    for n, sample in enumerate(bench.hold(most_s + TICK_S, duty, element_code), start=1):
        if sample.state == State.TRIPPED:
            return n * TICK_S
    raise AssertionError(f"no trip within {most_s} s")


@pytest.mark.parametrize("row", ROWS, ids=[f"{r.reason.name}-{r.kind}-{r.duty}" for r in ROWS])
def test_fault_trips_latches_and_clears(bench: Bench, row: Row) -> None:
    bench.ready(row.limits)
    for sample in bench.hold(5.0, row.duty or 100):
        assert sample.state == State.LIVE
    quiet_s = 150.0 if row.reason == TripReason.CLIMB_WHILE_OFF else 5.0
    for sample in bench.hold(quiet_s, row.duty, row.element_code):
        assert sample.state == State.LIVE

    bench.fault(row.kind, row.station, row.size, last_s=row.most_s)
    took_s = seconds_to_trip(bench, row.most_s, row.duty, row.element_code)
    assert row.least_s - 1e-6 <= took_s <= row.most_s + 1e-6
    assert bench.sample.trip_reason == row.reason
    assert bench.outputs_off()
    notice = bench.last(Trip)

    bench.tick()  # two copies of the latch take 0.1 s to burn
    bench.boot(BootCause.EXTERNAL)
    assert bench.sample.state == State.TRIPPED
    identity = bench.last(Identity)
    assert identity.trip_reason == row.reason
    assert (identity.trip_number, identity.trip_value, identity.trip_limit) == (
        notice.trip_number, notice.value, notice.limit,
    )  # fmt: skip


def test_cause_that_stands_cannot_be_cleared(bench: Bench) -> None:
    bench.ready()
    bench.fault("level_low", 0, last_s=10.0)
    while bench.tick().state != State.TRIPPED:
        pass
    number = bench.last(Trip).trip_number
    bench.tick(Clear(number))
    assert bench.last(Refused).reason == RefusedReason.CAUSE_PRESENT
    for _ in range(100):
        bench.tick()
    bench.tick(Clear(number))
    assert bench.sample.state == State.READY


def test_welded_contactor_shows_when_it_should_open(bench: Bench) -> None:
    bench.ready()
    for _ in bench.hold(5.0):
        pass
    bench.fault("contactor_welded", 0)
    for _ in range(40):
        bench.tick()
    assert bench.sample.trip_reason == TripReason.CONTACTOR_MIRROR


def escalates(bench: Bench) -> None:
    """Contactor welded, then the heater's relay: off_failed replaces what tripped first."""
    bench.ready()
    for _ in bench.hold(5.0, duty=1000):
        pass
    bench.fault("contactor_welded", 0)
    bench.fault("heater_welded", 0)
    seconds_to_trip(bench, 1.0, duty=0)
    first = bench.last(Trip)
    assert first.reason == TripReason.HEATER_WELDED
    said: list[Message] = []
    for tick in range(14):
        sample = bench.tick()
        said += bench.said
        if tick < 8:
            assert sample.trip_reason == TripReason.HEATER_WELDED
            assert bench.get("output.horn") == 0
    notice = next(m for m in said if isinstance(m, Trip) and m != first)
    assert (notice.trip_number, notice.reason) == (first.trip_number + 1, TripReason.OFF_FAILED)
    assert sample.trip_reason == TripReason.OFF_FAILED
    assert sample.causes & 1 << TripReason.OFF_FAILED
    assert sample.causes & 1 << TripReason.CONTACTOR_MIRROR
    assert sample.outputs == Output.HORN
    bench.tick()  # two copies of the latch take 0.1 s to burn
    bench.boot(BootCause.EXTERNAL)
    identity = bench.last(Identity)
    assert (identity.trip_number, identity.trip_reason) == (
        notice.trip_number, TripReason.OFF_FAILED,
    )  # fmt: skip


def test_heat_that_goes_on_after_a_trip_escalates(bench: Bench) -> None:
    escalates(bench)
    assert bench.get("output.horn") == 0
    for _ in range(11):
        bench.tick()
    assert bench.get("output.horn") == 1


def senses_rotation(bench: Bench) -> None:
    """A rotation contact that is stuck shows five seconds after the stirrer was released."""
    bench.ready()
    bench.fault("stirrer_turning_stuck", 0)
    for sample in bench.hold(5.0):
        assert sample.state == State.LIVE
    at = bench.sample
    bench.tick(Demand(at.boot_id, at.sequence, 0, 0, 0, 0, OFF))
    ticks = next(n for n in range(1, 70) if bench.tick().state == State.TRIPPED)
    assert 48 <= ticks <= 52
    assert bench.sample.trip_reason == TripReason.STIRRER_SENSE


def test_rotation_contact_that_is_stuck_trips_at_rest(bench: Bench) -> None:
    senses_rotation(bench)


def finds_broken_lead(bench: Bench, probe: str, lead: str) -> None:
    """A force lead shows within a second of READY by the converter's own cycle, not in LIVE."""
    bench.ready()
    for sample in bench.hold(5.0):
        assert sample.state == State.LIVE
    bench.fault(f"{probe}_probe_{lead}_open", 0, AS_AT_60_C)
    for sample in bench.hold(3.0):
        assert sample.state == State.LIVE
    at = bench.sample
    bench.tick(Demand(at.boot_id, at.sequence, 0, 0, 0, 0, OFF))
    ticks = next(n for n in range(1, 20) if bench.tick().state == State.TRIPPED)
    assert ticks <= 15
    assert bench.sample.trip_reason == TripReason[f"{probe}_PROBE_FAULT".upper()]
    for _ in range(20):
        assert bench.tick().causes & 1 << bench.sample.trip_reason


@pytest.mark.parametrize("probe", ["bath", "guard"])
@pytest.mark.parametrize("lead", ["force_plus", "force_minus"])
def test_broken_force_lead_is_found_at_rest(bench: Bench, probe: str, lead: str) -> None:
    finds_broken_lead(bench, probe, lead)


def test_broken_force_lead_is_found_at_boot(bench: Bench) -> None:
    bench.ready()
    for _ in range(30):  # both copies of limits and cleared trip are burnt
        bench.tick()
    bench.fault("guard_probe_force_plus_open", 0, AS_AT_60_C)
    bench.boot(BootCause.EXTERNAL)
    for _ in range(4):
        bench.tick()
    assert bench.sample.trip_reason == TripReason.GUARD_PROBE_FAULT


def test_look_at_the_leads_hides_no_sample_and_finds_nothing_in_health(bench: Bench) -> None:
    bench.ready()
    for _ in range(100):
        sample = bench.tick()
        assert sample.bath_fault == sample.guard_fault == sample.causes == 0
        assert sample.bath_sum == pytest.approx(probe_sum(WARM_C), abs=20)
    assert sample.state == State.READY


KNOWN_BATH = USUAL._replace(heat_rise_sum=590, heat_loss_duty=150, heat_delay_s=21)
"""1.5 kW in 31.9 kJ/K are 4.7 K in 100 s of 126 counts each; dead time 5, heater 10, probe 6 s."""


def first_ready(bench: Bench, most_s: float) -> tuple[int, Sample]:
    """Heat fully until LIVE ends; returns how many ticks that took and the sample."""
    held = enumerate(bench.hold(most_s, duty=1000), start=1)
    return next((n, sample) for n, sample in held if sample.state == State.READY)


def stops_unseen_heat(bench: Bench, *kinds: str) -> None:
    """Full heat that a probe does not show: released, refused, taken again after new limits."""
    bench.ready(KNOWN_BATH)
    for _ in bench.hold(5.0):
        pass
    for kind in kinds:
        bench.fault(kind, 0)
    n, sample = first_ready(bench, 130.0)
    assert 600 <= n <= 1100
    assert sample.stop_reason == StopReason.HEAT_UNSEEN
    assert sample.trip_reason == TripReason.NONE
    at = bench.sample
    bench.tick(Demand(at.boot_id, at.sequence, 2000, 0, 1, 0, OFF))
    said = list(bench.said)
    bench.tick()
    assert bench.sample.state == State.READY
    refused = [m.reason for m in (*said, *bench.said) if isinstance(m, Refused)]
    assert RefusedReason.HEAT_STOPPED in refused
    for _ in range(15):
        bench.tick()
    bench.tick(KNOWN_BATH)
    sample = list(bench.hold(1.0))[-1]
    assert sample.state == State.LIVE
    assert sample.stop_reason == StopReason.NONE


@pytest.mark.parametrize(
    "kinds",
    [("bath_probe_stuck", "guard_probe_stuck"), ("bath_probe_stuck",), ("guard_probe_stuck",)],
)
def test_heat_that_a_probe_does_not_show_stops(bench: Bench, kinds: tuple[str, ...]) -> None:
    stops_unseen_heat(bench, *kinds)
    assert bench.get("bath.temperature_c") < WARM_C + 5.0


def test_heat_that_is_seen_goes_on(bench: Bench) -> None:
    bench.ready(KNOWN_BATH)
    for duty, seconds in ((1000, 200.0), (300, 300.0), (0, 60.0), (1000, 120.0)):
        for sample in bench.hold(seconds, duty):
            assert sample.state == State.LIVE


def test_heat_is_not_judged_while_the_valve_is_open_and_six_minutes_after(bench: Bench) -> None:
    bench.ready(KNOWN_BATH)
    for _ in bench.hold(5.0, cooling=1):
        pass
    for kind in ("bath_probe_stuck", "guard_probe_stuck"):
        bench.fault(kind, 0)
    n, sample = first_ready(bench, 500.0)
    assert sample.stop_reason == StopReason.HEAT_UNSEEN
    assert 3600 + 600 <= n <= 3600 + 1100


def test_unknown_bath_is_not_judged(bench: Bench) -> None:
    bench.ready()
    for kind in ("bath_probe_stuck", "guard_probe_stuck"):
        bench.fault(kind, 0)
    for sample in bench.hold(300.0, duty=1000):
        assert sample.state == State.LIVE


def flags_hot_core(bench: Bench, kind: str, size: float) -> None:
    """At 0.5 A a core without wax or coolant is stopped, the wet ones beside it are not."""
    bench.set("unit.2.shells", 3)
    bench.ready(USUAL._replace(element_per_k=(20,) * 6))
    for _ in bench.hold(5.0):
        pass
    bench.fault(kind, 2, size)
    for sample in bench.hold(200.0, element_code=(1000,) * 6):
        assert sample.state == State.LIVE
        if any(sample.station_flags):
            break
    assert sample.station_flags == (0, StationFlag.ELEMENT_HOT, 0, 0, 0, 0)
    assert bench.get("unit.2.core_c") < 140.0
    sample = list(bench.hold(60.0, element_code=(1000,) * 6))[-1]
    assert sample.station_flags == (0, StationFlag.ELEMENT_HOT, 0, 0, 0, 0)
    assert bench.get("output.station_switch.2") == 0


@pytest.mark.parametrize(("kind", "size"), [("air_round_element", 125.0), ("waxless", 8.0)])
def test_core_far_hotter_than_its_bath_is_switched_off(
    bench: Bench, kind: str, size: float
) -> None:
    flags_hot_core(bench, kind, size)


def test_core_of_an_unknown_coefficient_is_not_judged(bench: Bench) -> None:
    bench.ready()
    for _ in bench.hold(5.0):
        pass
    bench.fault("air_round_element", 2, 125.0)
    for sample in bench.hold(200.0, element_code=(1000,) * 6):
        assert sample.station_flags == OFF


def test_spike_on_the_stop_line_does_nothing(bench: Bench) -> None:
    """The native build looks every 25 ms: one look sees it."""
    bench.ready()
    for _ in bench.hold(5.0, duty=500):
        pass
    for _ in range(5):
        bench.fault("estop_spike", 0, 1.0, last_s=0.5)
        for sample in bench.hold(1.0, duty=500):
            assert sample.state == State.LIVE


def test_heater_on_limit(bench: Bench) -> None:
    bench.ready(USUAL._replace(heater_on_limit_s=20))
    for _ in bench.hold(5.0):
        pass
    took_s = seconds_to_trip(bench, 30.0, duty=1000)
    assert bench.sample.trip_reason == TripReason.HEATER_ON_LIMIT
    assert 20.0 < took_s <= 20.4
    assert bench.outputs_off()


STATION_ROWS = [
    ("element_over", 0.2, StationFlag.ELEMENT_OVER, 0.6),
    ("element_open", 0.0, StationFlag.ELEMENT_OPEN, 0.6),
    ("element_short", 0.0, StationFlag.ELEMENT_SHORT, 0.6),
    ("gauge_open", 0.0, StationFlag.GAUGE_FAULT, 1.3),
    ("gauge_short", 0.0, StationFlag.GAUGE_FAULT, 1.3),
    ("over_stroke", 15.0, StationFlag.OVER_STROKE, 1.3),
]
"""A station's fault, its size, the flag it raises, and within how many seconds."""


@pytest.mark.parametrize(("kind", "size", "flag", "most_s"), STATION_ROWS)
def test_station_fault_costs_one_station(
    bench: Bench, kind: str, size: float, flag: StationFlag, most_s: float
) -> None:
    on = (800,) * 6
    bench.ready()
    for sample in bench.hold(5.0, element_code=on):
        assert sample.station_flags == OFF
    bench.fault(kind, 2, size)
    for _ in bench.hold(most_s, element_code=on):
        pass
    assert bench.sample.station_flags == (0, flag, 0, 0, 0, 0)
    for sample in bench.hold(20.0, element_code=on):
        assert sample.state == State.LIVE
    assert [bench.get(f"output.station_switch.{s}") for s in range(1, 7)] == [1, 0, 1, 1, 1, 1]


def test_silent_host_switches_off_by_the_lease(bench: Bench) -> None:
    bench.ready()
    for _ in bench.hold(10.0, duty=1000):
        pass
    assert bench.get("output.heater") == 1
    off_s = contactor_s = 0.0
    for n in range(1, 50):
        bench.tick()
        off_s = off_s or (0.0 if bench.get("output.heater") else n * TICK_S)
        contactor_s = contactor_s or (0.0 if bench.get("output.contactor") else n * TICK_S)
    assert 1.8 <= off_s <= 2.1
    assert contactor_s - off_s == pytest.approx(1.0, abs=0.11)
    assert bench.sample.state == State.READY


@pytest.mark.parametrize("cause", [c for c in BootCause if c != BootCause.EXTERNAL])
def test_boot_cause_is_a_trip(bench: Bench, cause: BootCause) -> None:
    bench.ready()
    bench.boot(cause)
    assert bench.sample.state == State.TRIPPED
    assert bench.last(Identity).boot_cause == cause


def test_serial_number_and_boots_are_kept(native_library: ctypes.CDLL) -> None:
    bench = Bench(native_library, seed=4711)
    first = bench.last(Identity)
    bench.boot(BootCause.EXTERNAL)
    second = bench.last(Identity)
    assert first.serial_number == second.serial_number == 4711
    assert second.boot_id == first.boot_id + 1


@pytest.mark.parametrize("room_c", [2.0, 20.0])
def test_healthy_hours_raise_no_alarm(native_library: ctypes.CDLL, room_c: float) -> None:
    bench = Bench(
        native_library, seed=3, bath__start_c=room_c, bath__ambient_c=room_c,
        bath_probe__noise_k=0.01, guard_probe__gradient_k=0.3,
    )  # fmt: skip
    bench.ready()
    top = probe_sum(92.0)
    holding = 0
    phases = [  # seconds, duty above and below the top, element code, cooling
        (3600, 1000, OFF, 0),
        (1200, 300, (900,) * 6, 0),
        (2400, 0, OFF, 0),
        (1800, 0, (900, 0, 900, 0, 900, 0), 1),
        (1200, 250, OFF, 0),
        (900, 0, OFF, 0),
    ]
    for seconds, duty, element_code, cooling in phases:
        for _ in range(seconds):
            held = duty if bench.sample.bath_sum < top else 0
            for sample in bench.hold(1.0, held, element_code, cooling):
                assert sample.state == State.LIVE, (bench.said, seconds, duty)
                assert sample.station_flags == OFF
            holding += held < duty
    assert holding > 60
    for _ in range(36000):
        bench.tick()
    assert bench.sample.state == State.READY
    bench.tick(Hello(1))
    assert bench.last(Identity).trip_number == 1


@pytest.mark.parametrize("reason", REFUSALS)
def test_what_is_not_to_be_done_is_refused_with_its_reason(
    bench: Bench, reason: RefusedReason
) -> None:
    bench.tick(REFUSALS[reason](bench))
    assert bench.last(Refused).reason == reason

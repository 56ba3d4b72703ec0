"""The contactor chain of the plant: the last barrier, its order in time, and what remains without.

Levels, delays and order are those of the drawing of the contactor chain and of the parts list;
temperatures and lags are hand calculations from the described parameters.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from proofbath.errors import BenchFaultError
from proofbath.virtual.bench import VirtualBench
from proofbath.virtual.description import VirtualSection
from proofbath.virtual.plant import STEP_S, Drive, Signals, VirtualPlant

HEAT = Drive(contactor=True, heater=True)
FEED = Drive(contactor=True, element_feed=True, element_code=(1000,) * 6)
AT_S = 5.0
LOW_LOSS = {"loss_w_per_k": 0, "surface_m2": 0, "mixing_k": 0}


def fault(kind: str, station: int = 0, size: float | None = None) -> dict[str, Any]:
    return {"kind": kind, "station": station, "at_s": AT_S, "size": size}


def plant(
    *faults: dict[str, Any], chain: dict[str, float] | None = None, **bath: Any
) -> VirtualPlant:
    unit = {"serial": "H103-1", "station": 2, "heater_per_k": 0}
    described = {"bath": bath, "chain": chain or {}, "fault": faults, "unit": [unit]}
    return VirtualPlant(VirtualSection.model_validate(described))


def steps_until(bench: VirtualPlant, drive: Drive, key: str, value: float, most: int = 400) -> int:
    """Steps of 25 ms until a true value is what is awaited."""
    for n in range(most + 1):
        if bench.get(key) == value:
            return n
        bench.advance(STEP_S, drive)
    raise AssertionError(f"{key} is not {value} within {most} steps")


def contactor_opens_s(bench: VirtualPlant, drive: Drive = HEAT) -> float:
    """Seconds from the fault's time on until the main contactor opens."""
    bench.advance(AT_S, drive)
    assert bench.get("chain.contactor_closed") == 1
    return steps_until(bench, drive, "chain.contactor_closed", 0) * STEP_S


def test_stop_opens_both_contactors_and_stops_the_stirrer_with_everything_asked_for() -> None:
    bench = plant(fault("emergency_stop"))
    asked = HEAT._replace(element_feed=True, element_code=(1000,) * 6)
    before = bench.advance(AT_S, asked)
    assert before.heater_live
    assert before.stirrer_turning
    after = bench.advance(0.6, asked)  # the stirrer runs down in half a second
    assert (after.heater_live, after.stirrer_turning, after.contactor_open) == (False, False, True)
    assert bench.get("chain.feed_closed") == 0
    assert bench.get("station.2.element_a") == 0


@pytest.mark.parametrize(("open_s", "steps"), [(0.0, 1), (0.03, 2), (0.1, 4), (1.0, 40)])
def test_contactor_drops_out_after_its_time_in_whole_steps(open_s: float, steps: int) -> None:
    bench = plant(fault("contactor_dead"), chain={"contactor_open_s": open_s})
    assert contactor_opens_s(bench) == pytest.approx(steps * STEP_S, abs=STEP_S + 1e-9)


def test_level_relay_gives_the_controller_two_seconds_to_name_the_cause() -> None:
    """The controller's contact opens at once, the chain's 2 s later, the contactor 30 ms after."""
    bench = plant(fault("level_low"))
    bench.advance(AT_S, HEAT)
    assert not bench.advance(2 * STEP_S, HEAT).level_ok
    opens_s = steps_until(bench, HEAT, "chain.contactor_closed", 0) * STEP_S
    assert opens_s == pytest.approx(2.0 + 0.03, abs=0.06)


def test_level_relay_drops_out_with_its_supply_and_so_tells_of_lost_mains() -> None:
    bench = plant(fault("mains_lost"))
    bench.advance(AT_S, HEAT)
    signals = bench.advance(0.1, HEAT)
    assert not signals.level_ok
    assert signals.emergency_stop_closed
    assert bench.get("chain.contactor_closed") == 0


def test_cut_out_reads_late_by_its_lag() -> None:
    """A first-order lag on a ramp reads rate times lag too little: 1500 W into 33.8 kJ/K."""
    bench = plant(start_c=40, glycol_percent=0, chain={"cut_out_lag_s": 20.0}, **LOW_LOSS)
    bench.advance(200.0, HEAT)
    store = 8 * 0.998 * (4180 + 0.3 * 25) + 400
    late_k = bench.get("bath.temperature_c") - bench.get("chain.cut_out_sensor_c")
    assert late_k == pytest.approx(1500 / store * 20.0, rel=0.02)


def test_cut_out_stops_a_dead_controller_with_a_welded_relay_and_stays_open() -> None:
    """Everything stays switched on; the run-on is sheath and dead time: P / C (d + s) at most."""
    bench = plant(
        start_c=90, fill_l=5, glycol_percent=0, chain={"cut_out_c": 95, "cut_out_lag_s": 10}
    )
    bench.advance(1000.0, HEAT)
    rate = 1500 / (5 * 0.998 * 4200 + 400)
    assert bench.get("chain.cut_out_closed") == 0
    assert bench.get("chain.contactor_closed") == 0
    hottest_c = 95 + rate * (10 + 5 + 10)
    bench_again = plant(
        start_c=90, fill_l=5, glycol_percent=0, chain={"cut_out_c": 95, "cut_out_lag_s": 10}
    )
    seen_c = max(_bath_c(bench_again, HEAT) for _ in range(1000))
    assert 95 < seen_c <= hottest_c
    bench.advance(7200.0, Drive())
    assert bench.get("bath.temperature_c") < 80
    assert bench.advance(1.0, HEAT).contactor_open


def _bath_c(bench: VirtualPlant, drive: Drive) -> float:
    bench.advance(1.0, drive)
    return bench.get("bath.temperature_c")


def test_only_a_hand_closes_the_cut_out_and_only_on_a_colder_sensor() -> None:
    section = VirtualSection.model_validate(
        {"bath": {"start_c": 60}, "chain": {"cut_out_c": 55, "cut_out_reset_k": 10}}
    )
    bench = VirtualBench(section)
    bench.advance(b"")
    assert bench.get("chain.cut_out_closed") == 0
    bench.put("chain.cut_out_reset", 1)
    assert bench.get("chain.cut_out_closed") == 0
    bench.put("chain.cut_out_c", 71)
    bench.advance(b"")
    assert bench.get("chain.cut_out_closed") == 0
    bench.put("chain.cut_out_reset", 1)
    assert bench.get("chain.cut_out_closed") == 1
    with pytest.raises(BenchFaultError, match=r"cut_out_rest"):
        bench.put("chain.cut_out_rest", 1)


@pytest.mark.parametrize(
    ("faults", "heats"),
    [
        ((), False),
        (("contactor_welded",), False),  # the chain also takes the control of the heater's relay
        (("heater_welded",), False),
        (("contactor_welded", "heater_welded"), True),  # only Q1 is left
        (("cut_out_dead",), True),
    ],
    ids=lambda faults: "+".join(faults) if isinstance(faults, tuple) else "",
)
def test_what_still_heats_above_the_cut_out(faults: tuple[str, ...], heats: bool) -> None:
    bench = plant(*map(fault, faults), start_c=80, chain={"cut_out_c": 81, "cut_out_lag_s": 0})
    bench.advance(300.0, HEAT)
    assert bench.advance(1.0, HEAT).heater_live == heats
    assert (bench.get("bath.temperature_c") > 84) == heats


@pytest.mark.parametrize(
    ("faults", "heats", "seen"),
    [
        (("level_low",), False, True),
        (("level_low", "level_relay_stuck"), True, True),  # the controller alone is left
        (("level_low", "level_stuck"), True, False),  # one float serves both
    ],
    ids=lambda faults: "+".join(faults) if isinstance(faults, tuple) else "",
)
def test_what_remains_of_the_level(faults: tuple[str, ...], heats: bool, seen: bool) -> None:
    bench = plant(*map(fault, faults))
    bench.advance(AT_S, HEAT)
    signals = bench.advance(3.0, HEAT)
    assert signals.heater_live == heats
    assert (not signals.level_ok) == seen


@pytest.mark.parametrize(
    ("faults", "drive", "amps"),
    [
        (("element_feed_stuck",), FEED._replace(element_feed=False), 0.0),
        (("element_feed_stuck",), FEED, 0.4),
        (("feed_contactor_welded",), FEED._replace(element_feed=False), 0.5),
        (("feed_contactor_welded",), Drive(), 0.0),
        (("element_feed_stuck", "feed_contactor_welded"), Drive(), 0.4),
        (("element_feed_stuck", "feed_contactor_welded", "emergency_stop"), FEED, 0.4),
        (("element_feed_stuck", "emergency_stop"), FEED, 0.0),
        (("element_feed_stuck", "feed_contactor_welded", "mains_lost"), FEED, 0.0),
    ],
)
def test_an_element_needs_its_feed_contactor(
    faults: tuple[str, ...], drive: Drive, amps: float
) -> None:
    stuck = [fault(k, 2, 0.4) if k == "element_feed_stuck" else fault(k) for k in faults]
    bench = plant(*stuck)
    bench.advance(AT_S + 1.0, drive)
    assert bench.get("station.2.element_a") == pytest.approx(amps, abs=1e-9)


@pytest.mark.parametrize(
    ("asked_a", "element_a", "shunt_a"), [(0.0, 0.0, 0.3), (0.2, 0.0, 0.3), (0.5, 0.2, 0.5)]
)
def test_sink_gives_way_to_a_bypass_and_holds_the_sum(
    asked_a: float, element_a: float, shunt_a: float
) -> None:
    bench = plant(fault("bypass_closed", 2, 0.3))
    signals = bench.advance(AT_S + 1.0, FEED._replace(element_code=(round(asked_a / 0.0005),) * 6))
    assert bench.get("station.2.element_a") == pytest.approx(element_a, abs=1e-9)
    assert signals.current_ratio[1] * 2.0475 == pytest.approx(shunt_a, abs=0.002)


def heater_inputs(chain: dict[str, float]) -> list[bool]:
    """What the current relay says in each step after the heater's relay was switched on."""
    bench = plant(chain=chain)
    bench.advance(1.0, Drive(contactor=True))
    seen: list[Signals] = [bench.advance(STEP_S, HEAT) for _ in range(8)]
    return [s.heater_live for s in seen]


@pytest.mark.parametrize(("relay_s", "sense_s"), [(0.0, 0.0), (0.02, 0.06), (0.05, 0.1)])
def test_heater_relay_and_current_relay_answer_one_after_the_other(
    relay_s: float, sense_s: float
) -> None:
    times = {"heater_relay_close_s": relay_s, "heater_sense_close_s": sense_s}
    relay_steps, sense_steps = (max(1, math.ceil(s / STEP_S)) for s in (relay_s, sense_s))
    first = relay_steps + sense_steps - 2  # each shows in the step in which its time is over
    assert heater_inputs(times) == [n >= first for n in range(8)]


@pytest.mark.parametrize(("length_ms", "steps"), [(0.1, 1), (20.0, 1), (60.0, 3)])
def test_spike_on_the_stops_line_lasts_its_time_and_opens_no_contact(
    length_ms: float, steps: int
) -> None:
    bench = plant(fault("estop_spike", size=length_ms))
    bench.advance(AT_S - 0.1, HEAT)
    seen = [bench.advance(STEP_S, HEAT) for _ in range(20)]
    assert sum(not s.emergency_stop_closed for s in seen) == steps
    assert [s.stop_spike_s for s in seen if s.stop_spike_s] == pytest.approx(
        [length_ms / 1000 - n * STEP_S for n in range(steps)]
    )
    assert all(s.heater_live and s.stirrer_turning for s in seen)

"""Every fault of bench and unit shows in the signals, from its time on and not before."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import pytest

from proofbath.virtual.description import VirtualSection
from proofbath.virtual.native import fault_kinds
from proofbath.virtual.plant import BusWires, Drive, Leads, Signals, VirtualPlant

AT_S = 30.0
STATION = 3
PLACE = STATION - 1
HEAT = Drive(contactor=True, heater=True, element_feed=True, element_code=(1000,) * 6)
IDLE = Drive()
COOL = Drive(cooling=True)
FEED = Drive(element_feed=True)
WIRES = BusWires(0, 0, miso_low=False, miso_high=False, clock_dead=False)


class Pair(NamedTuple):
    """A healthy plant beside one with a fault, and what each shows at the end and on the way."""

    well: VirtualPlant
    sick: VirtualPlant
    w: Signals
    s: Signals
    well_mm: np.ndarray[Any, np.dtype[np.float64]]
    sick_mm: np.ndarray[Any, np.dtype[np.float64]]

    def differs(self, key: str) -> float:
        return self.sick.get(key) - self.well.get(key)


class Case(NamedTuple):
    drive: Drive
    seen: Callable[[Pair], bool]
    size: float | None = None
    for_s: float = 20.0
    beside: str = ""
    """A fault that both plants have from the same time on."""
    cut_out_c: float = 115.0


def near(value: float, expected: float, within: float) -> bool:
    return abs(value - expected) <= within


def amps(s: Signals) -> float:
    return s.current_ratio[PLACE] * 2.0475


def volts(s: Signals) -> float:
    return s.voltage_ratio[PLACE] * 20.475


def kelvins(ohm: float) -> float:
    return ohm / 0.376


def largest_step(mm: np.ndarray[Any, np.dtype[np.float64]]) -> float:
    return float(np.abs(np.diff(mm)).max())


CASES: dict[str, Case] = {
    "heater_welded": Case(HEAT._replace(heater=False), lambda p: p.s.heater_live > p.w.heater_live),
    "heater_open": Case(HEAT, lambda p: p.s.heater_live < p.w.heater_live),
    "contactor_welded": Case(
        IDLE._replace(heater=True), lambda p: not p.s.contactor_open and p.s.heater_live
    ),
    "contactor_dead": Case(HEAT, lambda p: p.s.contactor_open and not p.s.heater_live),
    "mirror_stuck_open": Case(HEAT, lambda p: p.s.contactor_open and p.s.heater_live),
    "mirror_stuck_closed": Case(IDLE, lambda p: not p.s.contactor_open and p.w.contactor_open),
    "mains_lost": Case(
        HEAT, lambda p: not (p.s.heater_live or p.s.stirrer_turning) and p.s.contactor_open
    ),
    "extra_heat": Case(IDLE, lambda p: near(p.differs("bath.temperature_c"), 1.3, 0.1), 2000),
    "coolant_lost": Case(IDLE, lambda p: p.w.level_ok and not p.s.level_ok, 12),
    "lid_off": Case(IDLE, lambda p: p.differs("bath.temperature_c") < -0.3, for_s=60),
    "level_low": Case(IDLE, lambda p: p.w.level_ok and not p.s.level_ok),
    "level_stuck": Case(IDLE, lambda p: p.s.level_ok and not p.w.level_ok, beside="level_low"),
    "stirrer_turning_stuck": Case(
        IDLE._replace(stirrer=False), lambda p: p.s.stirrer_turning and not p.w.stirrer_turning
    ),
    "stirrer_stopped": Case(IDLE, lambda p: p.w.stirrer_turning and not p.s.stirrer_turning),
    "emergency_stop": Case(HEAT, lambda p: p.s.contactor_open and not p.s.emergency_stop_closed),
    "estop_spike": Case(
        HEAT, lambda p: not p.s.emergency_stop_closed and p.s.heater_live, 60.0, for_s=0.05
    ),
    "cut_out_dead": Case(
        HEAT, lambda p: p.s.heater_live and p.w.contactor_open, for_s=30, cut_out_c=86.0
    ),
    "level_relay_stuck": Case(
        HEAT,
        lambda p: p.s.heater_live and p.w.contactor_open and not (p.s.level_ok or p.w.level_ok),
        beside="level_low",
    ),
    "stratified": Case(
        IDLE,
        lambda p: near(
            p.differs("station.6.temperature_c") - p.differs("station.1.temperature_c"), 2, 0.2
        ),
        2.0,
        for_s=200,
    ),
    "bath_probe_open": Case(IDLE, lambda p: p.s.bath_ohm > 1e6),
    "bath_probe_short": Case(IDLE, lambda p: p.s.bath_ohm == 0),
    "bath_probe_stuck": Case(HEAT, lambda p: p.s.bath_ohm < p.w.bath_ohm - 0.1),
    "bath_probe_offset": Case(
        IDLE, lambda p: near(kelvins(p.s.bath_ohm - p.w.bath_ohm), 0.5, 0.01), 0.5
    ),
    "bath_probe_drift": Case(
        IDLE, lambda p: near(kelvins(p.s.bath_ohm - p.w.bath_ohm), 0.1, 0.01), 18.0
    ),
    "bath_probe_force_plus_open": Case(
        IDLE, lambda p: p.s.bath_leads == Leads(True, False, False, 0.3), 0.3
    ),
    "bath_probe_force_minus_open": Case(
        IDLE, lambda p: p.s.bath_leads == Leads(True, False, False, 0.3), 0.3
    ),
    "bath_probe_rtdin_plus_open": Case(
        IDLE, lambda p: p.s.bath_leads == Leads(False, False, True, 0.3), 0.3
    ),
    "bath_probe_rtdin_minus_open": Case(
        IDLE, lambda p: p.s.bath_leads == Leads(False, True, False, 0.3), 0.3
    ),
    "guard_probe_open": Case(IDLE, lambda p: p.s.guard_ohm > 1e6),
    "guard_probe_short": Case(IDLE, lambda p: p.s.guard_ohm == 0),
    "guard_probe_stuck": Case(HEAT, lambda p: p.s.guard_ohm < p.w.guard_ohm - 0.1),
    "guard_probe_offset": Case(
        IDLE, lambda p: near(kelvins(p.s.guard_ohm - p.w.guard_ohm), 0.5, 0.01), 0.5
    ),
    "guard_probe_drift": Case(
        IDLE, lambda p: near(kelvins(p.s.guard_ohm - p.w.guard_ohm), 0.1, 0.01), 18.0
    ),
    "guard_probe_force_plus_open": Case(
        IDLE, lambda p: p.s.guard_leads == Leads(True, False, False, 0.3), 0.3
    ),
    "guard_probe_force_minus_open": Case(
        IDLE, lambda p: p.s.guard_leads == Leads(True, False, False, 0.3), 0.3
    ),
    "guard_probe_rtdin_plus_open": Case(
        IDLE, lambda p: p.s.guard_leads == Leads(False, False, True, 0.3), 0.3
    ),
    "guard_probe_rtdin_minus_open": Case(
        IDLE, lambda p: p.s.guard_leads == Leads(False, True, False, 0.3), 0.3
    ),
    "element_feed_stuck": Case(
        FEED, lambda p: near(amps(p.s), 0.4, 0.005) and amps(p.w) < 0.005, 0.4
    ),
    "bypass_closed": Case(
        IDLE, lambda p: near(amps(p.s) - amps(p.w), 0.4, 0.005) and volts(p.s) < 0.1, 0.4
    ),
    "feed_contactor_welded": Case(
        HEAT._replace(element_feed=False),
        lambda p: near(amps(p.s), 0.5, 0.005) and amps(p.w) < 0.005,
    ),
    "element_over": Case(HEAT, lambda p: near(amps(p.s) - amps(p.w), 0.1, 0.005), 0.1),
    "element_open": Case(HEAT, lambda p: amps(p.s) < 0.005 and near(volts(p.s), 18, 0.1)),
    "element_short": Case(HEAT, lambda p: near(amps(p.s), 0.5, 0.005) and volts(p.s) < 0.3),
    "supply_wrong": Case(HEAT, lambda p: near(amps(p.s), 6 / 15.4, 0.01), 6.0),
    "gauge_open": Case(IDLE, lambda p: p.s.gauge_ratio[PLACE] == 1),
    "gauge_short": Case(IDLE, lambda p: p.s.gauge_ratio[PLACE] == 0),
    "gauge_sticking": Case(
        HEAT, lambda p: largest_step(p.sick_mm) > 0.28 > 3 * largest_step(p.well_mm), 0.3, for_s=60
    ),
    "over_stroke": Case(IDLE, lambda p: near(p.sick_mm[-1] - p.well_mm[-1], 3, 0.02), 3.0),
    "bubbles": Case(IDLE, lambda p: 0.05 < np.ptp(p.sick_mm - p.well_mm) < 0.35, 0.3, for_s=300),
    "vent_pin": Case(IDLE, lambda p: float(np.std(p.sick_mm - p.well_mm)) > 0.03, 0.1),
    "air_round_element": Case(
        HEAT._replace(element_feed=False), lambda p: p.differs("unit.3.cup_c") < -0.3, 3.0
    ),
    "waxless": Case(HEAT, lambda p: p.differs("unit.3.core_c") > 10.0, 8.0),
    "unit_stuck": Case(HEAT, lambda p: p.differs("unit.3.lift_mm") < -0.1, 1.5),
    "wax_leak": Case(IDLE, lambda p: p.differs("unit.3.lift_mm") < -0.5, 1800.0),
    "spring_weak": Case(COOL, lambda p: p.differs("unit.3.lift_mm") > 0.5, 2.0, for_s=180),
    "overheated": Case(IDLE, lambda p: p.differs("unit.3.lift_mm") > 0.5, -2.0),
    "gauge_converter_off": Case(
        IDLE, lambda p: near(p.s.gauge_ratio[0] / p.w.gauge_ratio[0], 1.05, 1e-3), 0.05
    ),
    "current_converter_off": Case(HEAT, lambda p: near(amps(p.s) / amps(p.w), 0.95, 1e-3), -0.05),
    "voltage_converter_off": Case(HEAT, lambda p: near(volts(p.s) / volts(p.w), 1.05, 1e-3), 0.05),
    "select_a_low": Case(IDLE, lambda p: p.s.bus == WIRES._replace(select_low=1)),
    "select_a_high": Case(IDLE, lambda p: p.s.bus == WIRES._replace(select_high=1)),
    "select_b_low": Case(IDLE, lambda p: p.s.bus == WIRES._replace(select_low=2)),
    "select_b_high": Case(IDLE, lambda p: p.s.bus == WIRES._replace(select_high=2)),
    "select_c_low": Case(IDLE, lambda p: p.s.bus == WIRES._replace(select_low=4)),
    "select_c_high": Case(IDLE, lambda p: p.s.bus == WIRES._replace(select_high=4)),
    "miso_low": Case(IDLE, lambda p: p.s.bus == WIRES._replace(miso_low=True)),
    "miso_high": Case(IDLE, lambda p: p.s.bus == WIRES._replace(miso_high=True)),
    "spi_clock_dead": Case(IDLE, lambda p: p.s.bus == WIRES._replace(clock_dead=True)),
}


def section(kind: str, *, healthy: bool = False, **when: float) -> VirtualSection:
    case = CASES[kind]
    faults: list[dict[str, Any]] = [{"kind": case.beside, "at_s": AT_S}] if case.beside else []
    if not healthy:
        fault = {"kind": kind, "at_s": AT_S, "size": case.size} | when
        faults += [fault | {"station": STATION} if fault_kinds()[kind].at_station else fault]
    units = [
        {"serial": f"T82-{n}", "station": n, "heater_per_k": 0, "heater_ohm": 15.2}
        for n in range(1, 7)
    ]
    bath = {"start_c": 85, "mixing_k": 0, "coil_w_per_k": 20}
    chain = {"cut_out_c": case.cut_out_c, "cut_out_lag_s": 0}
    return VirtualSection.model_validate(
        {"bath": bath, "chain": chain, "unit": units, "fault": faults}
    )


def observe(kind: str) -> Pair:
    case = CASES[kind]
    well, sick = VirtualPlant(section(kind, healthy=True)), VirtualPlant(section(kind))
    for plant in (well, sick):
        plant.advance(AT_S, case.drive)
    seen: list[tuple[Signals, Signals]] = []
    step_s = min(case.for_s, 0.1)
    for _ in range(round(case.for_s / step_s)):
        seen.append((well.advance(step_s, case.drive), sick.advance(step_s, case.drive)))
    well_mm, sick_mm = (np.array([s[i].gauge_ratio[PLACE] for s in seen]) * 20 for i in (0, 1))
    return Pair(well, sick, *seen[-1], well_mm, sick_mm)


def test_every_kind_has_its_case() -> None:
    assert set(CASES) == set(fault_kinds())


@pytest.mark.parametrize("kind", CASES)
def test_fault_shows(kind: str) -> None:
    assert CASES[kind].seen(observe(kind))


@pytest.mark.parametrize("kind", CASES)
def test_nothing_shows_before_its_time(kind: str) -> None:
    well, sick = VirtualPlant(section(kind, healthy=True)), VirtualPlant(section(kind))
    drive = CASES[kind].drive
    assert well.advance(AT_S - 0.1, drive) == sick.advance(AT_S - 0.1, drive)


@pytest.mark.parametrize(
    "kind", ["heater_open", "mirror_stuck_open", "emergency_stop", "bath_probe_open", "gauge_open"]
)
def test_fault_goes_when_its_time_is_over(kind: str) -> None:
    well, sick = (
        VirtualPlant(section(kind, healthy=True)),
        VirtualPlant(section(kind, until_s=AT_S + 1.0)),
    )
    at_the_end = [plant.advance(AT_S + 2.0, HEAT) for plant in (well, sick)]
    assert at_the_end[0].heater_live == at_the_end[1].heater_live
    assert at_the_end[0].contactor_open == at_the_end[1].contactor_open
    assert at_the_end[0].gauge_ratio == pytest.approx(at_the_end[1].gauge_ratio, abs=0.01)
    assert at_the_end[0].bath_ohm == pytest.approx(at_the_end[1].bath_ohm, abs=0.05)


def test_harm_to_a_unit_and_a_drifted_probe_stay() -> None:
    for kind, key in [("wax_leak", "unit.3.lift_mm"), ("overheated", "unit.3.lift_mm")]:
        well, sick = (
            VirtualPlant(section(kind, healthy=True)),
            VirtualPlant(section(kind, until_s=AT_S + 10.0)),
        )
        for plant in (well, sick):
            plant.advance(AT_S + 20.0, IDLE)
        assert abs(sick.get(key) - well.get(key)) > 0.3
    well, sick = (
        VirtualPlant(section("bath_probe_drift", healthy=True)),
        VirtualPlant(section("bath_probe_drift", until_s=AT_S + 20.0)),
    )
    drift_ohm = sick.advance(60.0, IDLE).bath_ohm - well.advance(60.0, IDLE).bath_ohm
    assert kelvins(drift_ohm) == pytest.approx(0.1, abs=0.01)

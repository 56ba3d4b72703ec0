"""Power ramps, heater steps and the unpowered start, on the shell model and on closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from host.curve.closed_form import STEP_S, Floats, StraightUnit, ramps, record_of
from proofbath.curve.analyse import analyse
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.pool import pooled
from proofbath.curve.record import CurveRecord
from proofbath.virtual import truth
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.native import unit_response

BENCH = BenchBudget(
    probe_k=0.0,
    gradient_k=0.0,
    gauge_mm=0.0,
    gauge_relative=0.001,
    night_k=0.0,
    repeatability_k=0.1,
    repeatability_dof=40,
    power_relative=0.005,
    lead_ohm=0.3,
)
OHM = 15.0


def programme(*baths_c: float, most_w: float = 12.0) -> tuple[Floats, Floats]:
    """Bath and power: per bath, cold closed, up, then power up at 0.5 and down at 3 W/min."""
    bath, power = [np.array([60.0])], [np.array([0.0])]
    for bath_c in baths_c:
        for to_c, to_w, minutes in (
            (bath_c - 30, 0.0, 20.0),
            (bath_c, 0.0, 15.0),
            (bath_c, 0.0, 8.0),
            (bath_c, most_w, most_w / 0.5),
            (bath_c, 0.0, most_w / 3),
        ):
            count = round(minutes * 60 / STEP_S)
            bath.append(np.linspace(bath[-1][-1], to_c, count + 1)[1:])
            power.append(np.linspace(power[-1][-1], to_w, count + 1)[1:])
    return np.concatenate(bath), np.concatenate(power)


def powered(bath_c: Floats, lift_mm: Floats, power_w: Floats) -> CurveRecord:
    record = record_of(bath_c, lift_mm)
    amps = np.sqrt(power_w / OHM)
    volts = amps * (OHM + 0.3)
    return CurveRecord(record.t_s, record.bath_c, record.lift_mm, amps, volts, "Heron-103")


@pytest.mark.parametrize("beyond_k", [3.0, 7.0])
def test_the_unpowered_start_of_a_shell_unit_is_found_beyond_the_bath(beyond_k: float) -> None:
    """Three shells and a film growing 0.3 % per K: a straight line in power would be wrong."""
    unit = VirtualUnit(
        serial="H103-MODEL", station=1, melting_c=111.0, shells=3, film_growth_per_k=0.003
    )
    true_c = truth.rising_c(unit, 0.1)
    assert true_c is not None
    bath_c, power_w = programme(true_c - beyond_k, true_c - beyond_k - 8.5)
    lift_mm, _ = unit_response(unit.parameters(), bath_c, power_w, step_s=STEP_S)
    result = analyse(powered(bath_c, lift_mm, power_w), bench_budget=BENCH)
    start, shift = result.unpowered_start_to_open_c, result.shift_k_per_w
    assert start.value == pytest.approx(true_c, abs=0.3)
    assert start.expanded_uncertainty is not None
    assert abs((start.value or 0.0) - true_c) < start.expanded_uncertainty
    true_shift = truth.shift_k_per_w(unit, 0.1, truth.Power(w=shift.at["power_w"]))
    assert true_shift is not None
    assert shift.value == pytest.approx(true_shift, abs=0.1)
    assert result.heater_ohm.value == pytest.approx(OHM, abs=0.01)
    assert len(result.series["start_under_power_c"]) == 2


def test_a_long_extrapolation_and_a_short_span_are_said() -> None:
    unit = VirtualUnit(serial="H103-MODEL", station=1, melting_c=111.0)
    true_c = truth.rising_c(unit, 0.1)
    assert true_c is not None
    bath_c, power_w = programme(true_c - 9.0, true_c - 17.5)
    lift_mm, _ = unit_response(unit.parameters(), bath_c, power_w, step_s=STEP_S)
    assert analyse(powered(bath_c, lift_mm, power_w), bench_budget=BENCH).warned(
        "long_extrapolation"
    )
    bath_c, power_w = programme(true_c - 3.0, true_c - 4.0)
    lift_mm, _ = unit_response(unit.parameters(), bath_c, power_w, step_s=STEP_S)
    short = analyse(powered(bath_c, lift_mm, power_w)).unpowered_start_to_open_c
    assert short.value is None
    assert "second, colder bath" in (short.reason or "")


def test_a_cycle_run_with_the_heater_on_gives_no_unpowered_start() -> None:
    bath_c = ramps((70, 0), (95, 1), (95, 300), (70, 0.5))
    lift_mm = StraightUnit().lift_mm(bath_c)
    result = analyse(powered(bath_c, lift_mm, np.full(len(bath_c), 5.0)))
    assert result.start_to_open_c.value is None
    assert "heater" in (result.start_to_open_c.reason or "")


def test_more_wax_opens_earlier_and_less_later() -> None:
    """The order is common practice, no source; how far is the unit model's closed form."""
    starts, true_c = [], []
    for wax_mg in (1290.0, 1300.0, 1310.0):
        unit = VirtualUnit(serial="T82-MODEL", station=1, wax_mg=wax_mg)
        bath_c = ramps((70, 0), (70, 300), (99, 1), (99, 300), (70, 0.5))
        lift_mm, _ = unit_response(unit.parameters(), bath_c, step_s=STEP_S)
        starts.append(analyse(record_of(bath_c, lift_mm)).start_to_open_c.value or 0.0)
        true_c.append(truth.rising_c(unit, 0.1) or 0.0)
    assert starts[0] > starts[1] + 1.0 > starts[2] + 2.0
    assert np.diff(starts) == pytest.approx(np.diff(true_c), abs=0.3)


def test_a_valve_slightly_open_before_its_power_keeps_the_cold_zero() -> None:
    """At the hotter bath the valve stands 0.05 mm open unpowered: closed-form start of the unit."""
    unit = VirtualUnit(
        serial="H103-MODEL", station=1, melting_c=111.0, shells=3, film_growth_per_k=0.003
    )
    true_c, ajar_c = truth.rising_c(unit, 0.1), truth.rising_c(unit, 0.05)
    assert true_c is not None
    assert ajar_c is not None
    bath_c, power_w = programme(ajar_c, ajar_c - 8.5)
    lift_mm, _ = unit_response(unit.parameters(), bath_c, power_w, step_s=STEP_S)
    result = analyse(powered(bath_c, lift_mm, power_w), bench_budget=BENCH)
    hot = result.series["start_under_power_c"][0]
    true_w_c = truth.rising_c(unit, 0.1, truth.Power(w=hot.at["power_w"]))
    assert result.unpowered_start_to_open_c.value == pytest.approx(true_c, abs=0.1)
    assert hot.value == pytest.approx(true_w_c, abs=0.5)  # as read: 0.5 W/min and 25 s are 0.4 K


def test_a_valve_that_did_not_close_before_its_power_says_so() -> None:
    """Between closing and opening a valve stays open: a second rise at that bath is left out."""
    unit = VirtualUnit(serial="H103-MODEL", station=1, melting_c=111.0, play_k=4.0)
    true_c = truth.rising_c(unit, 0.1)
    assert true_c is not None
    bath_c, power_w = programme(true_c - 2.0)
    again_w = np.interp(np.arange(round(1800 / STEP_S)) * STEP_S, [0, 300, 1740], [0, 0, 12.0])
    bath_c = np.concatenate([bath_c, np.full(len(again_w), true_c - 2.0)])
    power_w = np.concatenate([power_w, again_w])
    lift_mm, _ = unit_response(unit.parameters(), bath_c, power_w, step_s=STEP_S)
    start = analyse(powered(bath_c, lift_mm, power_w), bench_budget=BENCH).unpowered_start_to_open_c
    assert start.value is None
    assert "let it close first" in (start.reason or "")


def test_a_start_met_while_the_bath_rises_needs_no_line() -> None:
    """A unit that opens below the hot bath: closed-form start, within a fast bath ramp's lag."""
    unit = VirtualUnit(serial="H103-MODEL", station=1, melting_c=111.0, shells=3)
    true_c = truth.rising_c(unit, 0.1)
    assert true_c is not None
    bath_c, power_w = programme(true_c + 2.0)
    lift_mm, _ = unit_response(unit.parameters(), bath_c, power_w, step_s=STEP_S)
    result = analyse(powered(bath_c, lift_mm, power_w), bench_budget=BENCH)
    start = result.unpowered_start_to_open_c
    assert start.value == pytest.approx(true_c, abs=start.expanded_uncertainty)
    assert start.expanded_uncertainty == pytest.approx(0.25, abs=0.06)  # one cycle of 0.1 K, lag
    assert result.shift_k_per_w.value is None


def shell_night() -> CurveRecord:
    """A healthy powered night of a shell unit 2.5 K beyond the bath."""
    unit = VirtualUnit(
        serial="H103-MODEL", station=1, melting_c=111.0, shells=3, film_growth_per_k=0.003
    )
    true_c = truth.rising_c(unit, 0.1)
    assert true_c is not None
    bath_c, power_w = programme(true_c - 2.5, true_c - 11.0)
    lift_mm, _ = unit_response(unit.parameters(), bath_c, power_w, step_s=STEP_S)
    return powered(bath_c, lift_mm, power_w)


def test_a_wrong_voltage_shows_in_the_resistance() -> None:
    """Ohm's law: a supply read at 0.75 of its volts shows 0.75 of 15 and 0.3 ohm of leads."""
    night = shell_night()
    assert night.element_v is not None
    assert analyse(night, bench_budget=BENCH, element_ohm=OHM).warnings == ()
    wrong = analyse(
        replace(night, element_v=night.element_v * 0.75), bench_budget=BENCH, element_ohm=OHM
    )
    assert [w.code for w in wrong.warnings] == ["heater_resistance"]
    shown_ohm = 0.75 * (OHM + 0.3) - 0.3
    assert wrong.heater_ohm.value == pytest.approx(shown_ohm, abs=0.01)
    assert f"reads {shown_ohm:.1f} ohm where about 15 are usual" in wrong.warnings[0].text
    assert wrong.shift_k_per_w.value is None
    assert (wrong.shift_k_per_w.reason or "").startswith("heater_resistance")


def test_a_power_that_is_not_what_it_is_said_to_be_shows_in_the_shift() -> None:
    night = shell_night()
    assert night.element_v is not None
    assert night.element_a is not None
    usual = analyse(night, bench_budget=BENCH)
    known = pooled(BENCH, [usual] * 20)
    assert known.type_shift_k_per_w == pytest.approx(usual.shift_k_per_w.value, abs=0.05)
    assert analyse(night, bench_budget=known).warnings == ()
    double = replace(night, element_a=night.element_a * 1.5, element_v=night.element_v * 1.5)
    result = analyse(double, bench_budget=known)
    assert "shift_unusual" in [w.code for w in result.warnings]
    assert result.unpowered_start_to_open_c.value is not None


def test_a_sticking_gauge_spoils_what_is_read_under_power() -> None:
    night, place = shell_night(), 0.0
    shown = []
    for lift in night.lift_mm.tolist():
        place = lift if abs(lift - place) > 0.1 else place
        shown.append(place)
    result = analyse(replace(night, lift_mm=np.array(shown)), bench_budget=BENCH)
    assert result.warned("gauge_sticking")
    assert result.unpowered_start_to_open_c.value is None
    assert result.shift_k_per_w.value is None
    assert result.series["start_under_power_c"] == ()


def test_a_gauge_that_loses_contact_spoils_the_lifts_of_heater_steps() -> None:
    unit = VirtualUnit(serial="H103-MODEL", station=1, melting_c=111.0)
    bath_c = ramps((60, 0), (90, 2), (90, 1800))
    t_s = np.arange(len(bath_c)) * STEP_S
    power_w = np.where(t_s > t_s[-1] - 600, 12.0, 0.0)
    lift_mm, _ = unit_response(unit.parameters(), bath_c, power_w, step_s=STEP_S)
    (sound,) = analyse(powered(bath_c, lift_mm, power_w), bench_budget=BENCH).heater_steps
    assert sound.steady_lift.value == pytest.approx(lift_mm[-1], abs=0.01)
    lift_mm[9500:9600] = 19.0
    result = analyse(powered(bath_c, lift_mm, power_w), bench_budget=BENCH)
    assert result.warned("gauge_jump")
    (spoiled,) = result.heater_steps
    assert spoiled.steady_lift.value is None
    assert spoiled.response_s == {}
    assert (spoiled.steady_lift.reason or "").startswith("gauge_jump")


@pytest.mark.parametrize(("core_c", "said"), [(None, False), (150.0, False), (150.1, True)])
def test_a_core_that_was_too_hot_is_kept_with_the_unit(core_c: float | None, said: bool) -> None:
    record = shell_night()
    result = analyse(replace(record, core_c=core_c), bench_budget=BENCH)
    assert result.warned("element_suffered") is said

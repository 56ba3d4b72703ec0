"""Steps and bath ramps at set currents: found is the plant's closed form, times are its own."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from host.curve.closed_form import STEP_S, Floats, record_of
from proofbath.curve.analyse import analyse
from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.content import ResultContent
from proofbath.curve.current_picture import lifts_picture, openings_picture
from proofbath.curve.current_rows import current_rows, to_csv
from proofbath.curve.overlay import overlay_label
from proofbath.curve.picture import cycles_drawn, thinned
from proofbath.curve.record import CurveRecord
from proofbath.curve.result import CurveResult
from proofbath.virtual import truth
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.native import unit_response

BENCH = BenchBudget(
    probe_k=0.05,
    gradient_k=0.05,
    gauge_mm=0.0,
    gauge_relative=0.002,
    night_k=0.0,
    repeatability_k=0.1,
    repeatability_dof=40,
    power_relative=0.005,
    lead_ohm=0.3,
)
Draw = Callable[[CurveRecord, CurveResult], bytes]
OHM = 15.0
BATH_C = 95.0
MIXED_S = 0.37
"""Currents change inside a second, as on a bench: the second holds a mixture of two."""


def heated_unit(**changed: float) -> VirtualUnit:
    kind: dict[str, float] = {"melting_c": 111.0, "film_growth_per_k": 0.003, "heater_per_k": 0.0}
    return VirtualUnit.model_validate(
        {"serial": "H103-MODEL", "station": 1, "shells": 3} | kind | changed
    )


class Programme:
    """Bath and current every 0.1 s, written as corners."""

    def __init__(self) -> None:
        self.bath: list[Floats] = [np.array([60.0])]
        self.amps: list[Floats] = [np.array([0.0])]

    def go(self, to_c: float, seconds: float, amps: float) -> None:
        count = round(seconds / STEP_S)
        self.bath.append(np.linspace(self.bath[-1][-1], to_c, count + 1)[1:])
        self.amps.append(np.full(count, amps))

    def power_down(self, from_a: float, seconds: float) -> None:
        """Lower the power evenly to none, as a bench lowers it."""
        count = round(seconds / STEP_S)
        self.bath.append(np.full(count, self.bath[-1][-1]))
        self.amps.append(from_a * np.sqrt(np.linspace(1.0, 0.0, count)))

    def record(self, unit: VirtualUnit) -> CurveRecord:
        bath_c, amps = np.concatenate(self.bath), np.concatenate(self.amps)
        lift_mm, _ = unit_response(unit.parameters(), bath_c, amps**2 * OHM, step_s=STEP_S)
        made = record_of(bath_c, lift_mm)
        noisy = amps + 0.0003 * np.random.default_rng(3).standard_normal(len(amps)) * (amps > 0)
        return CurveRecord(made.t_s, made.bath_c, made.lift_mm, noisy, noisy * (OHM + 0.3), "H1")

    def run(self, unit: VirtualUnit, rated_lift_mm: float | None = None) -> CurveResult:
        return analyse(self.record(unit), rated_lift_mm=rated_lift_mm, bench_budget=BENCH)


def heated_up(bath_c: float = BATH_C) -> Programme:
    made = Programme()
    made.go(bath_c, (bath_c - 60.0) * 30.0, 0.0)
    made.go(bath_c, 600.0 + MIXED_S, 0.0)
    return made


def true_lift_mm(unit: VirtualUnit, amps: float) -> float:
    return truth.lift_mm(unit, BATH_C, truth.Power(a=amps))


def first_s(record: CurveRecord, unit_mm: Floats, level_mm: float, from_s: float) -> float:
    """When the plant itself passed a lift, after a time."""
    behind = record.t_s >= from_s
    return float(record.t_s[behind][np.argmax(unit_mm[behind] >= level_mm)]) - from_s


def test_a_staircase_gives_a_step_for_each_current_with_its_steady_lift() -> None:
    unit, made = heated_unit(), heated_up()
    for amps in (0.25, 0.5, 0.75, 1.0):
        made.go(BATH_C, 600.0, amps)
    made.power_down(1.0, 900.0)
    steps = made.run(unit).heater_steps
    assert [round(step.settled.element_a, 3) for step in steps] == [0.25, 0.5, 0.75, 1.0]
    for step in steps:
        true_mm = true_lift_mm(unit, round(step.settled.element_a, 3))
        lift = step.steady_lift
        assert lift.value == pytest.approx(true_mm, abs=0.01)
        assert lift.expanded_uncertainty is not None
        assert lift.expanded_uncertainty < 0.3
        assert step.settled.resistance_ohm == pytest.approx(OHM, abs=0.01)
        assert step.settled.power_w == pytest.approx(step.settled.element_a**2 * OHM, rel=1e-3)
        assert step.closing_s is None
        assert step.bath_c == pytest.approx(BATH_C, abs=0.01)
    shut, first, second, _ = steps
    assert shut.response_s == {}
    assert set(first.response_s) == {0.1}
    assert set(second.response_s) == {1.0, 3.0}  # the step began above 0.1 mm: no time for it
    assert shut.closing_reason == "the valve was shut"
    assert second.closing_reason == "it was not ended by switching off"


def test_a_step_by_itself_tells_when_it_opened_settled_and_closed_as_the_plant_did() -> None:
    """Times are read off the plant's own noiseless lift, which the analysis does not see."""
    unit, made = heated_unit(), heated_up()
    made.go(BATH_C, 900.0, 0.75)
    made.go(BATH_C, 600.0, 0.0)
    record = made.record(unit)
    (step,) = made.run(unit).heater_steps
    bath_c, amps = np.concatenate(made.bath), np.concatenate(made.amps)
    lift_mm, _ = unit_response(unit.parameters(), bath_c, amps**2 * OHM, step_s=STEP_S)
    on_s = float(record.t_s[np.argmax(amps > 0)])
    assert step.t_s == pytest.approx(on_s, abs=0.3)
    for level_mm in (0.1, 1.0, 3.0):
        true_s = first_s(record, lift_mm, level_mm, on_s)
        assert step.response_s[level_mm] == pytest.approx(true_s, abs=0.5)
    nine_tenths = first_s(record, lift_mm, 0.9 * true_lift_mm(unit, 0.75), on_s)
    assert step.to_90_percent_s == pytest.approx(nine_tenths, abs=2.0)
    off = int(np.flatnonzero(amps > 0)[-1])
    closed = off + int(np.argmax(lift_mm[off:] < 0.1))
    assert step.closing_s == pytest.approx((closed - off) * STEP_S, abs=1.0)
    after = {lift.at["after_s"]: lift.value for lift in step.lifts_after}
    at_240 = lift_mm[int(np.argmax(amps > 0)) + 2400]
    assert after[240.0] == pytest.approx(at_240, abs=0.01)
    assert set(after) == {60.0, 120.0, 180.0, 240.0, 300.0, 600.0}


def test_steps_ended_by_a_power_ramp_and_by_switching_off_are_all_found() -> None:
    """A bench's two ways down; 0.5 W/min is the slowest ramp of the ready profile."""
    unit, made = heated_unit(), heated_up()
    for amps in (0.5, 0.75, 1.0):
        made.go(BATH_C, 600.0, amps)
        made.power_down(amps, amps**2 * OHM / 0.5 * 60)
        made.go(BATH_C, 300.0 + MIXED_S, 0.0)
        made.go(BATH_C, 600.0 + MIXED_S, amps)
        made.go(BATH_C, 600.0, 0.0)
    steps = made.run(unit).heater_steps
    found = [round(step.settled.element_a, 3) for step in steps]
    assert found == [0.5, 0.5, 0.75, 0.75, 1.0, 1.0]
    assert [step.closing_s is not None for step in steps] == [False, True] * 3
    for step in steps:
        true_mm = true_lift_mm(unit, round(step.settled.element_a, 3))
        assert step.steady_lift.value == pytest.approx(true_mm, abs=0.02)


def test_a_step_too_short_says_how_fast_the_lift_still_moved() -> None:
    made = heated_up()
    made.go(BATH_C, 60.0, 0.75)
    made.go(BATH_C, 300.0, 0.0)
    (step,) = made.run(heated_unit()).heater_steps
    assert step.steady_lift.value is None
    assert "not settled, still +" in (step.steady_lift.reason or "")
    assert step.to_90_percent_s is None
    assert 1.0 in step.response_s


def test_a_lift_against_its_stop_is_steady_and_hangs_on_no_bath() -> None:
    """The stop holds the pin, so neither probe nor the wax's scatter moves it: U is the gauge's."""
    unit, made = heated_unit(stop_mm=8.0), heated_up()
    made.go(BATH_C, 600.0, 1.0)
    made.go(BATH_C, 600.0, 0.0)
    (step,) = made.run(unit).heater_steps
    assert step.steady_lift.value == pytest.approx(8.0, abs=0.01)
    assert step.steady_lift.expanded_uncertainty == pytest.approx(2 * 0.002 * 8.0, abs=0.01)


def test_bath_ramps_at_set_currents_give_opening_full_opening_and_closing() -> None:
    """Against the closed form at the same current; a unit not opened by 97 °C is null."""
    unit, made = heated_unit(), Programme()
    for amps in (0.0, 0.25, 0.5, 0.75, 1.0):
        made.go(60.0, 600.0, amps)
        made.go(97.0, 37 * 60.0, amps)
        made.go(97.0, 300.0, amps)
        made.go(60.0, 37 * 75.0, amps)
        made.go(60.0, 300.0, 0.0)
    result = made.run(unit, rated_lift_mm=8.0)
    shown = {
        name: {round(q.at["element_a"], 2): q for q in result.series[name]}
        for name in ("start_at_current_c", "full_open_at_current_c", "closing_at_current_c")
    }
    assert set(shown["start_at_current_c"]) == {0.25, 0.5, 0.75, 1.0}
    assert shown["start_at_current_c"][0.25].value is None
    assert "never opened" in (shown["start_at_current_c"][0.25].reason or "")
    for amps in (0.5, 0.75, 1.0):
        power = truth.Power(a=amps)
        start, closing = shown["start_at_current_c"][amps], shown["closing_at_current_c"][amps]
        assert start.value == pytest.approx(truth.rising_c(unit, 0.1, power), abs=0.1)
        assert closing.value == pytest.approx(truth.falling_c(unit, 0.1, power), abs=0.1)
        assert start.rate == "zero"
        assert start.at["power_w"] == pytest.approx(amps**2 * OHM, rel=2e-3)
        assert 0.2 < (start.expanded_uncertainty or 0.0) < 0.5
    full = shown["full_open_at_current_c"][1.0]
    assert full.value == pytest.approx(truth.rising_c(unit, 8.0, truth.Power(a=1.0)), abs=0.1)
    rows = current_rows(result)
    assert [round(row.element_a, 2) for row in rows] == [0.0, 0.25, 0.5, 0.75, 1.0]
    assert rows[0].extrapolated
    assert not any(row.extrapolated for row in rows[1:])
    assert rows[0].opens.value == result.unpowered_start_to_open_c.value


@pytest.mark.parametrize(
    ("currents_a", "judged_a", "changed"),
    [
        # Much wax opens softly: 0.1 mm/K where 0.35 is usual, and a lag half as long.
        ((0.25,), 0.25, {"melting_c": 110.4, "wax_mg": 1309.0, "wax_w_per_k": 1.15}),
        # At 1 A it stands at its stop in the hold: only 0.5 A shows a slow wax's long lag.
        (
            (0.5, 1.0),
            1.0,
            {"melting_c": 110.2, "wax_mg": 1286.0, "wax_w_per_k": 0.51},
        ),
    ],
)
def test_a_start_at_a_current_is_corrected_by_the_units_own_lag(
    currents_a: tuple[float, ...], judged_a: float, changed: dict[str, float]
) -> None:
    unit, made = heated_unit(**changed), Programme()
    for amps in currents_a:
        made.go(50.0, 600.0, 0.0)
        made.go(50.0, 300.0, amps)
        made.go(97.0, 47 * 60.0, amps)
        made.go(97.0, 300.0, amps)
        made.go(50.0, 47 * 60.0, amps)
    starts = made.run(unit).series["start_at_current_c"]
    (start,) = [q for q in starts if round(q.at["element_a"], 2) == judged_a]
    true_c = truth.rising_c(unit, 0.1, truth.Power(a=judged_a))
    assert start.value == pytest.approx(true_c, abs=0.06)


def test_a_unit_that_opened_unpowered_on_the_way_is_reported_as_measured() -> None:
    """It opens while the bath still rises without current; steps of current follow at the top."""
    unit = heated_unit(melting_c=101.0)
    made = Programme()
    made.go(60.0, 300.0, 0.0)
    made.go(97.0, 37 * 60.0, 0.0)
    made.go(97.0, 300.0 + MIXED_S, 0.0)
    made.go(97.0, 600.0, 0.5)
    made.go(97.0, 600.0, 0.75)
    result = made.run(unit)
    start = result.start_to_open_c
    assert start.value == pytest.approx(truth.rising_c(unit, 0.1), abs=0.1)
    row = current_rows(result)[0]
    assert not row.extrapolated
    assert row.opens is start
    assert result.closing_c.value is None
    assert [round(step.settled.element_a, 2) for step in result.heater_steps] == [0.5, 0.75]


def test_the_file_of_currents_states_what_the_rows_do() -> None:
    unit, made = heated_unit(), heated_up()
    made.go(BATH_C, 600.0, 0.75)
    made.go(BATH_C, 600.0, 0.0)
    rows = current_rows(made.run(unit))
    header, _, line = to_csv([("H103-0001", rows)]).splitlines()
    told = dict(zip(header.split(","), line.split(","), strict=True))
    assert told["serial"] == "H103-0001"
    assert float(told["element_a"]) == pytest.approx(0.75, abs=0.001)
    assert float(told["steady_lift_mm"]) == pytest.approx(true_lift_mm(unit, 0.75), abs=0.02)
    assert float(told["shuts_after_s"]) > 10.0
    assert told["start_c"] == ""


def test_a_held_voltage_is_one_step_although_the_element_warms() -> None:
    """A wire of 0.04 %/K (common alloys reach that) lets the current fall while it warms."""
    made, warming_s = heated_up(), 40.0
    made.go(BATH_C, 900.0, 0.9)
    made.go(BATH_C, 300.0, 0.0)
    record = made.record(heated_unit())
    assert record.element_a is not None
    on = record.element_a > 0.02
    since = record.t_s - record.t_s[np.argmax(on)]
    factor = 1 - 0.012 * (1 - np.exp(-np.maximum(since, 0.0) / warming_s))
    amps = record.element_a * factor
    warmed = CurveRecord(
        record.t_s, record.bath_c, record.lift_mm, amps, np.where(on, 13.5, 0.0), "H1"
    )
    (step,) = analyse(warmed, bench_budget=BENCH).heater_steps
    assert step.at_start.element_a > step.settled.element_a + 0.008
    assert step.settled.element_v == pytest.approx(13.5, abs=0.001)
    assert step.until_s - step.t_s == pytest.approx(900.0, abs=2.0)


@pytest.mark.parametrize("draw", [lifts_picture, openings_picture])
def test_the_two_pictures_are_drawn_the_same_every_time(draw: Draw) -> None:
    unit, made = heated_unit(), heated_up()
    made.go(BATH_C, 600.0, 0.75)
    record = made.record(unit)
    result = analyse(record, bench_budget=BENCH)
    picture = draw(record, result)
    assert picture == draw(record, result)
    assert picture.startswith(b"<?xml")


def test_a_test_at_one_temperature_draws_no_line_straight_up() -> None:
    """What the picture draws, read back: no lift where the bath stands still under current."""
    unit, made = heated_unit(), heated_up()
    made.go(BATH_C, 600.0, 1.0)
    record = made.record(unit)
    (cycle,) = cycles_drawn(record, 0.1)
    _, lift_mm = thinned(cycle.rising, cycle.zero)
    assert float(np.nanmax(lift_mm)) < 0.5
    assert float(np.max(record.lift_mm)) > 8.0


def test_an_open_plateau_of_a_staircase_is_not_taken_for_the_shut_valve() -> None:
    """At 0.5 A the valve stands ajar and still: only the cold, shut part may be its zero."""
    unit, made = heated_unit(melting_c=110.6), heated_up()
    for amps in (0.25, 0.5, 0.75):
        made.go(BATH_C, 600.0, amps)
    made.power_down(0.75, 900.0)
    ajar = made.run(unit).heater_steps[1].steady_lift
    assert 0.1 < true_lift_mm(unit, 0.5) < 1.0
    assert ajar.value == pytest.approx(true_lift_mm(unit, 0.5), abs=0.005)


def test_the_turn_of_a_power_ramp_is_no_step() -> None:
    """Up by 0.5 W/min and down by 3 W/min: near its peak the current hardly moves for a minute."""
    unit, made = heated_unit(), heated_up()
    watts = np.concatenate([np.linspace(0, 12, 14400), np.linspace(12, 0, 2400)])
    made.bath.append(np.full(len(watts), BATH_C))
    made.amps.append(np.sqrt(watts / OHM))
    made.go(BATH_C, 300.0, 0.0)
    assert made.run(unit).heater_steps == ()


def test_steps_on_record_are_read_back_as_they_were_kept() -> None:
    """The rows of a unit's page are made of what is on record: they are those of the night."""
    made = heated_up()
    made.go(BATH_C, 600.0, 0.75)
    made.go(BATH_C, 600.0, 0.0)
    result = made.run(heated_unit())
    kept = json.loads(json.dumps(ResultContent(result).to_json()))
    again = ResultContent.from_json(kept).curve
    assert [row.cells() for row in current_rows(again)] == [r.cells() for r in current_rows(result)]


def test_a_ramp_that_stands_still_and_the_rest_before_a_bath_ramp_are_no_steps() -> None:
    """Both hold a current nobody set a bath for: one waits for its neighbours, one goes on."""
    waiting = heated_up()
    watts = np.linspace(0, 10, 12000)
    waiting.bath.append(np.full(len(watts), BATH_C))
    waiting.amps.append(np.sqrt(watts / OHM))
    waiting.go(BATH_C, 240.0, float(np.sqrt(10 / OHM)))
    waiting.power_down(float(np.sqrt(10 / OHM)), 600.0)
    assert waiting.run(heated_unit()).heater_steps == ()
    for rest_s, steps in ((20.0, 0), (120.0, 1)):
        rising = heated_up(80.0)
        rising.go(80.0, rest_s, 0.75)
        rising.go(96.0, 32 * 60.0, 0.75)
        rising.go(96.0, 300.0, 0.0)
        assert len(rising.run(heated_unit()).heater_steps) == steps


def test_a_lift_after_some_time_is_stated_only_from_a_shut_valve_without_current() -> None:
    unit, made = heated_unit(), heated_up()
    made.go(BATH_C, 290.0, 0.75)
    made.go(BATH_C, 600.0, 1.0)
    made.go(BATH_C, 20.0 + MIXED_S, 0.0)
    made.go(BATH_C, 600.0, 1.0)
    first, higher, again = made.run(unit).heater_steps
    stated = {lift.at["after_s"]: lift for lift in first.lifts_after}
    assert [s for s, lift in stated.items() if lift.value is not None] == [60, 120, 180, 240]
    assert (stated[300.0].reason or "").startswith("the current was held for 2")
    for step, why in ((higher, "another current flowed before"), (again, "let it close first")):
        assert {lift.value for lift in step.lifts_after} == {None}
        assert all(why in (lift.reason or "") for lift in step.lifts_after)


def test_a_rise_with_current_is_called_by_its_current_over_other_curves() -> None:
    """The value beside a curve is where that very curve opens, not where it would without power."""
    made = Programme()
    made.go(60.0, 600.0, 0.75)
    made.go(97.0, 37 * 60.0, 0.75)
    made.go(97.0, 300.0, 0.75)
    made.go(60.0, 37 * 75.0, 0.75)
    record, result = made.record(heated_unit()), made.run(heated_unit())
    (cycle,) = cycles_drawn(record, 0.1)
    (start,) = result.series["start_at_current_c"]
    called = overlay_label("as left", result, cycle.rising)
    assert called.startswith(f"as left at 0.75 A: {start.value:.2f} ± ")
    unfed = replace(cycle.rising, element_a=np.zeros(len(cycle.rising)))
    assert overlay_label("as left", result, unfed) == "as left"

"""Trim advice: which act, what is foretold of it, and when and why a unit is given up."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from host.proof.elements import MODEL, curve_of, free_lift, measured, start_c
from proofbath.errors import InputError
from proofbath.proof.lift_curve import Element, lift_curve
from proofbath.proof.trim_act import CLEAN, COPPER_MM3_PER_MG, OWN, Act, Donor, Fill, Part
from proofbath.proof.trim_advice import Cause, Effort, TrimAction, TrimAdvice, TrimAdviser
from proofbath.proof.trim_knowledge import TrimKnowledge, TrimRound
from proofbath.proof.trim_policy import (
    COLD_MARGIN_MM,
    MOST_SHARE,
    Means,
    Shim,
    Target,
    TrimUnit,
)
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.truth import pin_area_mm2

AREA = pin_area_mm2(MODEL)
FILL = Fill((Part(OWN, 2200.0),), AREA)
CURVE = curve_of(free_lift(MODEL))
NOW_C = start_c(MODEL, 2.0)
"""2 mm at 86.3 °C."""
DONOR = Donor("paste", -20.0, 0.5)
BY_PIN = Means(donors=(DONOR,), reads_pin=True)


def target(by_k: float, half_k: float = 1.75, **other: float) -> Target:
    return Target(NOW_C + by_k, NOW_C + by_k - half_k, NOW_C + by_k + half_k, **other)  # type: ignore[arg-type]


def advise(
    by_k: float, means: Means | None = None, effort: Effort | None = None, **unit: Any
) -> TrimAdvice:
    limits = unit.pop("limits", {})
    asked = TrimUnit("u1", unit.pop("curve", CURVE), FILL, **unit)
    adviser = TrimAdviser(TrimKnowledge(), means or Means(), target(by_k, **limits), effort)
    return adviser.advise(asked)


def exchanged(act: Act, donor_filler: float = 0.409) -> VirtualUnit:
    """The closed form after an act, nothing missed: the same paste, 20 K lower."""
    own = 900 / 2200
    kept, more = (2200 - act.mass_out_mg) * (1 - own), act.mass_in_mg * (1 - donor_filler)
    copper = (2200 - act.mass_out_mg) * own + act.mass_in_mg * donor_filler
    melting = MODEL.melting_c + (-20.0 * more / (kept + more) if act.donor else 0.0)
    return MODEL.model_copy(
        update={
            "wax_mg": kept + more,
            "melting_c": melting,
            "cavity_mm3": MODEL.cavity_mm3 - COPPER_MM3_PER_MG * (copper - 900.0),
        }
    )


def test_a_unit_inside_is_left() -> None:
    assert advise(0.0).action is TrimAction.LEAVE


@pytest.mark.parametrize("by_k", [-2.5, 2.5])
def test_a_small_change_is_made_by_wax_and_comes_out_on_the_closed_form(by_k: float) -> None:
    advice = advise(by_k)
    assert advice.act is not None
    assert advice.act.donor is None
    assert (advice.act.mass_in_mg > 0) == (by_k < 0)
    more = advice.act.mass_in_mg - advice.act.mass_out_mg
    unit = MODEL.model_copy(update={"wax_mg": 1300.0 + more})
    if by_k < 0:
        assert start_c(unit, 2.0) - NOW_C == pytest.approx(by_k, abs=0.3)
    assert advice.forecast is not None
    assert advice.forecast.at_target_c.low < NOW_C + by_k < advice.forecast.at_target_c.high


def test_ten_kelvins_are_made_by_exchange() -> None:
    """10 K by exchange moves 2 mm by 10 ± 2 K, and the start with it: the closed form anew."""
    advice = advise(-10.0, BY_PIN)
    assert advice.act is not None
    assert advice.act.donor == DONOR
    assert advice.act.pin_stick_out_mm is not None
    as_much = advice.act._replace(mass_in_mg=advice.act.mass_out_mg)
    found = start_c(exchanged(as_much), 2.0) - NOW_C
    assert found == pytest.approx(-10.0, abs=2.0)
    assert start_c(exchanged(as_much), 0.1) - start_c(MODEL, 0.1) == pytest.approx(found, abs=1.0)


def test_wax_added_for_the_same_start_moves_two_mm_by_less_than_half() -> None:
    """The dose that lowers the start by 10 K lowers 2 mm by under 5 K: the closed form."""
    start = Target(*(start_c(MODEL, 0.1) - 10.0 + x for x in (0.0, -4.0, 4.0)), lift_mm=0.1)
    asked = TrimUnit("u1", CURVE, FILL)
    act = TrimAdviser(TrimKnowledge(), Means(), start).advise(asked).rounds
    more = sum(x.mass_in_mg for x in act)
    unit = MODEL.model_copy(update={"wax_mg": 1300.0 + more})
    assert start_c(unit, 0.1) - start_c(MODEL, 0.1) == pytest.approx(-10.0, abs=2.5)
    assert -5.0 < start_c(unit, 2.0) - NOW_C < -2.0


def test_a_start_can_be_ordered() -> None:
    """Start-to-open lowered by 3 K: 10 to 11 mg on the closed form."""
    start = start_c(MODEL, 0.1)
    order = Target(start - 3.0, start - 5.0, start - 1.0, lift_mm=0.1)
    advice = TrimAdviser(TrimKnowledge(), Means(), order).advise(TrimUnit("u1", CURVE, FILL))
    assert advice.act is not None
    assert 8.0 < advice.act.mass_in_mg < 12.5


@pytest.mark.parametrize("levels", [(0.1,), (0.1, 2.0)])
def test_a_unit_measured_by_hand_gets_advice(levels: tuple[float, ...]) -> None:
    curve = lift_curve(measured(free_lift(MODEL), levels), Element(MODEL.pin_mm, 1300.0))
    at_c = float(curve.weights @ curve.temperature_c(2.0))
    order = Target(at_c - 4.0, at_c - 6.0, at_c - 2.0)
    advice = TrimAdviser(TrimKnowledge(), BY_PIN, order).advise(TrimUnit("u1", curve, FILL))
    assert advice.act is not None
    assert advice.forecast is not None
    told = advice.forecast.at_target_c
    assert told.low >= order.lower_c


def test_a_unit_measured_under_power_gets_advice_with_more_doubt() -> None:
    opening = measured(free_lift(MODEL))._replace(power_w=8.0, unpowered_k=0.0)
    element = Element(MODEL.pin_mm, MODEL.wax_mg)
    powered, plain = (
        advise(-8.0, BY_PIN, curve=lift_curve(x, element), limits={"half_k": 3.0})
        for x in (opening, measured(free_lift(MODEL)))
    )
    assert powered.forecast is not None
    assert plain.forecast is not None
    widths = [x.forecast.at_target_c for x in (powered, plain) if x.forecast]
    assert widths[0].high - widths[0].low > 1.05 * (widths[1].high - widths[1].low)


def test_an_over_filled_unit_is_brought_back() -> None:
    """25 mg too many: open from 70 °C; what is taken out brings 2 mm back on the closed form."""
    filled = MODEL.model_copy(update={"wax_mg": 1325.0})
    advice = advise(0.0, curve=curve_of(free_lift(filled)))
    assert advice.act is not None
    back = filled.model_copy(update={"wax_mg": 1325.0 - 1300 / 2200 * advice.act.mass_out_mg})
    assert advice.act.mass_out_mg > 20.0
    assert start_c(back, 2.0) == pytest.approx(NOW_C, abs=1.0)


def test_the_forecast_shows_the_whole_curve() -> None:
    advice = advise(-2.5, limits={"full_at_c": 97.0, "lower_lift_mm": 7.0})
    assert advice.act is not None
    forecast = advice.forecast
    assert forecast is not None
    after = MODEL.model_copy(update={"wax_mg": 1300.0 + advice.act.mass_in_mg})
    assert [mm for mm, _ in forecast.temperature_c] == [0.1, 2.0, 4.0, 8.0]
    for mm, told in forecast.temperature_c:
        assert told is not None
        assert told.low < start_c(after, mm) < told.high
    cold = forecast.cold_mm
    assert cold.low < free_lift(after)(20.0) < cold.high < -COLD_MARGIN_MM
    assert forecast.full_lift_mm is not None
    assert forecast.full_lift_mm.low < free_lift(after)(97.0) < forecast.full_lift_mm.high
    assert forecast.closing_c.mean < forecast.temperature_c[0][1].mean  # type: ignore[union-attr]
    assert forecast.pin_stick_out_mm is not None


def test_a_fall_stays_above_the_lower_limit() -> None:
    """Whatever is advised, its 95 % end is inside; so narrow limits make a smaller step."""
    for by_k, half_k in ((-2.5, 1.75), (-2.5, 0.7), (-8.0, 1.75), (-8.0, 1.2)):
        advice = advise(by_k, BY_PIN, limits={"half_k": half_k})
        assert advice.forecast is not None
        assert advice.forecast.at_target_c.low >= NOW_C + by_k - half_k - 0.05
    wide, narrow = advise(-2.5), advise(-2.5, limits={"half_k": 0.7})
    assert wide.act is not None
    assert narrow.act is not None
    assert narrow.act.mass_in_mg < wide.act.mass_in_mg
    assert narrow.action is TrimAction.CHANGE_AND_MEASURE
    assert len(narrow.rounds) > 1


def test_without_the_pin_and_history_an_exchange_begins_with_a_small_step() -> None:
    """Nobody knows the powder in either paste: a step to learn from, not a refusal."""
    by_balance = advise(-10.0, Means(donors=(DONOR,)))
    by_pin = advise(-10.0, BY_PIN)
    assert by_balance.act is not None
    assert by_pin.act is not None
    assert 0 < by_balance.act.mass_out_mg < 0.25 * by_pin.act.mass_out_mg
    assert len(by_balance.rounds) > 1


@pytest.mark.parametrize("limits", [{}, {"full_at_c": 97.0, "lower_lift_mm": 7.0}])
def test_a_shim_is_used_where_it_does(limits: dict[str, float]) -> None:
    """1 mm of shim lifts 1 mm: 2 mm is then where 1 mm was, at 84.3 °C."""
    means = Means(donors=(DONOR,), shim=Shim(-1.0, 1.0))
    advice = advise(start_c(MODEL, 1.0) - NOW_C, means, limits=limits)
    assert advice.act is not None
    assert not advice.act.opened
    assert advice.act.shim_mm == pytest.approx(1.0, abs=0.051)
    assert advice.forecast is not None
    assert advice.forecast.pin_stick_out_mm is None


def test_exchange_and_shim_are_made_in_one_round_where_neither_does_alone() -> None:
    """All of the wax that can be exchanged moves some 16.7 K; 1 mm of shim does the rest."""
    means = BY_PIN._replace(shim=Shim(-1.0, 1.0), sources=(), removes=False)
    advice = advise(-20.5, means, limits={"half_k": 2.5})
    assert advice.act is not None
    assert advice.act.donor == DONOR
    assert advice.act.shim_mm > 0.5
    assert advice.act.opened


def test_a_closing_height_is_a_means_too() -> None:
    means = Means(sources=(), removes=False, most_closing_mm=0.5)
    advice = advise(-2.0, means)
    assert advice.act is not None
    lifted = advice.act.closing_mm * 78.5 / AREA
    assert lifted == pytest.approx(2.0 - free_lift(MODEL)(NOW_C - 2.0), abs=0.06)


GIVEN_UP: dict[str, tuple[float, Means, dict[str, Any], Cause, float]] = {
    "sealed": (-3.0, Means((), False), {}, Cause.SEALED, 0.0),
    "no opening": (-3.0, BY_PIN, {"openings_left": 0}, Cause.NO_OPENING_LEFT, 0.0),
    "shim too thin": (
        -10.0,
        Means((), False, shim=Shim(-1.0, 1.0)),
        {},
        Cause.WRONG_WAX,
        10.0 - 1.75 - (NOW_C - start_c(MODEL, 1.0)),
    ),
    "wax far too hot": (-30.0, BY_PIN, {}, Cause.WRONG_WAX, 28.25 - 0.9 * 20 * 0.93 - 1.9),
    "too little lift": (
        3.0,
        Means(),
        {"limits": {"full_at_c": 92.0, "lower_lift_mm": 6.0}},
        Cause.LIFT_LIMIT,
        4.6,
    ),
}


@pytest.mark.parametrize("name", GIVEN_UP)
def test_what_cannot_be_mended_is_given_up_for_its_true_cause(name: str) -> None:
    """The figure beside the cause is from the closed form, or plain."""
    by_k, means, unit, cause, figure = GIVEN_UP[name]
    advice = advise(by_k, means, **unit)
    assert advice.action is TrimAction.GIVE_UP
    assert advice.cause is cause
    assert advice.figure == pytest.approx(figure, abs=0.7)
    assert advice.act is None


def test_a_unit_held_by_its_stop_is_not_offered_wax() -> None:
    opening = measured(free_lift(MODEL))._replace(stop_mm=6.6)
    curve = lift_curve(opening, Element(MODEL.pin_mm, MODEL.wax_mg))
    for by_k in (0.0, -3.0):
        advice = advise(by_k, BY_PIN, curve=curve, limits={"full_at_c": 97.0, "lower_lift_mm": 8.0})
        assert advice.action is TrimAction.GIVE_UP
        assert (advice.cause, advice.figure) == (Cause.MECHANICAL_STOP, 6.6)


def test_a_price_above_a_new_unit_gives_up_and_says_so() -> None:
    cheap, dear = Effort(), Effort(opening_min=400.0, measuring_min=200.0)
    assert advise(-2.5, effort=cheap).action is not TrimAction.GIVE_UP
    advice = advise(-2.5, effort=dear)
    assert advice.cause is Cause.PRICE
    assert advice.figure is not None
    assert advice.figure >= 600.0


def test_wax_that_would_leave_it_open_cold_is_not_advised() -> None:
    """60 mg would move 2 mm far enough, but the valve then leaks cold: it is the wrong wax."""
    advice = advise(-25.0)
    assert advice.cause is Cause.WRONG_WAX
    after = MODEL.model_copy(update={"wax_mg": 1300.0 + 60.0})
    assert free_lift(after)(20.0) > -COLD_MARGIN_MM


def test_openings_left_limit_the_rounds() -> None:
    for left in (1, 2, 3):
        advice = advise(-10.0, Means(donors=(DONOR,)), openings_left=left)
        assert len(advice.rounds) <= left


def test_a_well_known_shop_goes_the_whole_way_at_once() -> None:
    """What ten exchanges taught of both pastes lets a balance do what the pin did before."""
    knowledge = TrimKnowledge()
    adviser = TrimAdviser(knowledge, Means(donors=(DONOR,)), target(-10.0))
    unit = TrimUnit("u1", CURVE, FILL)
    first = adviser.advise(unit).act
    assert first is not None
    rng = np.random.default_rng(4)
    act = Act(500.0, 500.0, "paste", DONOR)
    for n in range(10):
        true = exchanged(act).model_copy(update={"setting_mm": 0.2 * rng.normal()})
        knowledge.add([TrimRound(f"k{n}", CURVE, curve_of(free_lift(true)), act, FILL)])
    then = adviser.advise(unit)
    assert then.act is not None
    assert then.act.mass_out_mg > 5 * first.mass_out_mg
    assert start_c(exchanged(then.act), 2.0) - NOW_C == pytest.approx(-10.0, abs=1.5)


def test_limits_without_room_are_refused() -> None:
    with pytest.raises(InputError, match="guard band is too wide"):
        TrimAdviser(TrimKnowledge(), Means(), Target(80.0, 80.5, 79.5))


def test_the_same_question_gets_the_same_answer() -> None:
    assert advise(-8.0, BY_PIN) == advise(-8.0, BY_PIN)
    assert MOST_SHARE < 1.0
    assert CLEAN != OWN

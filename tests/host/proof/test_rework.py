"""Rework advice against the element's closed form, closed-form regression and simulated units."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from proofbath.errors import InputError
from proofbath.proof.knowledge import Knowledge, Round
from proofbath.proof.prior import PRIORS, UNIT_SD, Effect
from proofbath.proof.rework import Acceptance, Action, Advice, Adviser, Unit
from proofbath.proof.rework_kind import Refillable, Sealed, Setting
from proofbath.proof.rework_policy import Costs
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.truth import rising_c

NOMINAL_C = 82.0
LIMITS = Acceptance(80.5, 83.5)
MODEL = VirtualUnit(serial="T82-MODEL", station=1, heater_ohm=0.0)
ONE = np.array([1.0])


def opens_c(**changed: float) -> float:
    found = rising_c(MODEL.model_copy(update=changed), 0.1)
    assert found is not None
    return found


def known(units: int, k_per_mg: float = -0.23, seed: int = 1) -> Knowledge:
    """Return knowledge from small changes near nominal on so many units."""
    rng, knowledge = np.random.default_rng(seed), Knowledge("mg", NOMINAL_C, 1.0)
    for n in range(units):
        change = float(rng.choice([-4.0, 4.0]))
        shift = k_per_mg * (change + rng.normal()) + rng.normal(0, 0.15)
        before = NOMINAL_C - k_per_mg * change / 2
        knowledge.add([Round(f"k{n}", before, change, before + shift, 0.15)])
    return knowledge


def advise(start_c: float, knowledge: Knowledge | None = None, **unit: float) -> Advice:
    adviser = Adviser(Refillable(), knowledge or Knowledge("mg", NOMINAL_C, 1.0), LIMITS)
    return adviser.advise(Unit("u1", start_c, 0.15, **unit))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("change", "shift"), [(5, -1.3), (10, -2.9), (20, -8.5), (-10, 2.0), (-20, 3.6)]
)
def test_the_effect_bends_as_the_model_element(change: float, shift: float) -> None:
    """The wax element's equations solved for the start by the virtual bench, and by hand."""
    base = opens_c()
    scale = (opens_c(wax_mg=1301.0) - opens_c(wax_mg=1299.0)) / 2 / PRIORS["mg"].shift_k
    found = float(Effect(PRIORS["mg"], 1.0).after(0 * ONE, change * ONE, scale)[0])
    assert found == pytest.approx(opens_c(wax_mg=1300.0 + change) - base, rel=0.02)
    assert found == pytest.approx(shift, abs=0.25)


@pytest.mark.parametrize("change", [-1.0, -0.5, 0.5, 1.0])
def test_a_setting_acts_as_in_the_model_element(change: float) -> None:
    found = float(Effect(PRIORS["mm"], 1.0).after(0 * ONE, change * ONE, 1.0)[0])
    assert found == pytest.approx(opens_c(setting_mm=change) - opens_c(), rel=0.06)


@given(
    start=st.floats(-15, 10),
    change=st.floats(-15, 15),
    scale=st.floats(0.5, 1.8),
    bend=st.sampled_from([0.25, 1.0, 1.75]),
)
def test_more_wax_opens_colder_and_taking_it_out_again_undoes_it(
    start: float, change: float, scale: float, bend: float
) -> None:
    effect = Effect(PRIORS["mg"], bend)
    after = effect.after(start * ONE, change * ONE, scale)
    if -40 < after[0] < 25:
        assert (after[0] - start) * change <= 1e-9
        assert effect.after(after, -change * ONE, scale)[0] == pytest.approx(start, abs=1e-3)
        needed = effect.needed(start * ONE, after, scale)
        assert needed[0] == pytest.approx(change, abs=1e-3)


def test_over_filling_is_steeper_than_under_filling() -> None:
    effect = Effect(PRIORS["mg"], 1.0)
    more, less = (float(effect.after(0 * ONE, x * ONE, 1.0)[0]) for x in (10.0, -10.0))
    assert -more > 1.3 * less


def test_the_prior_is_what_physics_says() -> None:
    """Minus 0.27 K per mg and 0.29 K per 0.1 mm near nominal, each within 30 %."""
    mean, sd = Knowledge("mg", NOMINAL_C, 1.0).slope()
    assert (mean, sd) == (pytest.approx(-0.27, rel=0.01), pytest.approx(0.081, rel=0.02))
    mean, sd = Knowledge("mm", NOMINAL_C, 0.02).slope()
    assert (mean / 10, sd / 10) == (pytest.approx(-0.29, rel=0.01), pytest.approx(0.087, rel=0.02))


def test_many_rounds_agree_with_weighted_least_squares() -> None:
    """Closed form for small changes, where the curve is straight: mean and sd of the slope."""
    rng, knowledge = np.random.default_rng(4), Knowledge("mg", NOMINAL_C, 1.0)
    weights, products = 0.0, 0.0
    for n in range(60):
        change = float(rng.choice([-3.0, 3.0]))
        shift = -0.25 * (change + rng.normal()) + rng.normal(0, 0.1)
        knowledge.add(
            [
                Round(f"k{n}", NOMINAL_C + 0.12 * change, change, 0.0, 0.1)._replace(
                    start_after_c=NOMINAL_C + 0.12 * change + shift
                )
            ]
        )
        variance = 0.1**2 + 0.25**2 + (UNIT_SD * 0.25 * 3) ** 2
        weights += change**2 / variance
        products += change * shift / variance
    prior = 1 / 0.081**2
    mean, sd = knowledge.slope()
    assert mean == pytest.approx((products - 0.27 * prior) / (weights + prior), abs=0.012)
    assert sd == pytest.approx(1 / math.sqrt(weights + prior), rel=0.15)


def test_errors_of_the_dose_do_not_bias_what_is_learnt() -> None:
    """Units of the virtual bench, dosed with an error of 3 mg: the true slope lies in 2.6 sd."""
    rng, knowledge = np.random.default_rng(5), Knowledge("mg", opens_c(), 3.0)
    true = (opens_c(wax_mg=1301.0) - opens_c(wax_mg=1299.0)) / 2
    for n in range(150):
        wax, change = 1300.0 + rng.normal(0, 6), float(rng.choice([-8.0, -4.0, 4.0, 8.0]))
        before = opens_c(wax_mg=wax)
        after = opens_c(wax_mg=wax + change + rng.normal(0, 3.0))
        knowledge.add([Round(f"k{n}", before, change, after, 0.02)])
    mean, sd = knowledge.slope()
    assert abs(mean - true) < 2.6 * sd
    assert sd < 0.015


def test_an_error_that_both_runs_share_cancels() -> None:
    shared, plain = Knowledge("mg", NOMINAL_C, 1.0), Knowledge("mg", NOMINAL_C, 1.0)
    for n in range(40):
        change = 5.0 * (-1) ** n
        plain.add([Round(f"k{n}", 82 + 0.12 * change, change, 82 - 0.12 * change, 0.15)])
        shared.add([Round(f"k{n}", 82.2 + 0.12 * change, change, 82.2 - 0.12 * change, 0.15)])
    assert shared.slope()[0] == pytest.approx(plain.slope()[0], rel=0.04)


def test_a_units_own_round_says_more_of_it_than_the_type() -> None:
    knowledge = known(12)
    at, by = np.array([2.0]), np.array([6.0])

    def spread(serial: str) -> float:
        after, _, weights = knowledge.nodes(serial).landings(at, by)
        return float(np.sqrt((after**2 @ weights - (after @ weights) ** 2)[0]))

    before = spread("u1")
    knowledge.add([Round("u1", 86.0, 10.0, 83.9, 0.1)])
    assert spread("u1") < 0.95 * before
    assert len(knowledge.serials) == 13


def test_lifts_teach_the_effect_on_lift() -> None:
    knowledge = Knowledge("mg", NOMINAL_C, 0.0)
    assert knowledge.lift_effect() == pytest.approx((0.085, 0.017))
    for n in range(20):
        knowledge.add([Round(f"k{n}", 84.0, 8.0, 82.0, 0.15, 8.0, 8.8)])
    mean, sd = knowledge.lift_effect()
    assert mean == pytest.approx(0.1, abs=0.002)
    assert sd == pytest.approx(0.05 / 8 / math.sqrt(20), rel=0.05)  # least squares by hand


def test_a_unit_inside_its_limits_is_left_alone() -> None:
    assert advise(83.4).action is Action.LEAVE
    assert advise(80.6).action is Action.LEAVE


def test_a_sealed_unit_is_measured_only() -> None:
    adviser = Adviser(Sealed(), None, LIMITS)
    assert adviser.advise(Unit("u1", 82.0, 0.15)).action is Action.LEAVE
    sealed = adviser.advise(Unit("u1", 86.0, 0.15))
    assert (sealed.action, sealed.expected_cost) == (Action.GIVE_UP, 45.0)


def test_a_small_correction_is_made_at_once() -> None:
    """1.9 K too warm at -0.23 K per mg in the learnt type: 8 mg, less at the flat warm side."""
    advice = advise(83.9, known(30))
    assert advice.action is Action.CHANGE
    assert 6.0 <= advice.change <= 11.0
    assert advice.change % 0.5 == 0.0
    assert advice.start_c is not None
    assert advice.start_c.low < 82.3 < advice.start_c.high
    assert advice.chance_inside is not None
    assert advice.chance_inside > 0.95


@settings(deadline=None, max_examples=8)
@given(start=st.floats(60, 92), units=st.sampled_from([0, 9, 10, 25]))
def test_steps_are_held_until_ten_units_are_known(start: float, units: int) -> None:
    advice = advise(start, known(units))
    assert abs(advice.change) <= (20.0 if units >= 10 else 10.0)


def test_a_larger_increase_is_announced_as_rounds_the_first_at_most_seventy_percent() -> None:
    """Retargeting by 4 K with a known type: about 24 mg at the warm side's 0.17 K per mg."""
    advice = advise(86.0, known(30))
    assert advice.action is Action.CHANGE_AND_MEASURE
    assert len(advice.planned) >= 2
    assert advice.planned[0] == advice.change
    needed = float(advice.reason.split()[1])
    assert 0 < advice.change <= 0.7 * needed + 0.5
    assert all(step % 0.5 == 0 for step in advice.planned)


def test_a_small_shift_of_a_known_type_is_made_at_once_though_it_takes_much_wax() -> None:
    """2.4 K where 1 mg shifts by 0.15 K: more than 10 mg, and yet no larger shift."""
    limits, flat = Acceptance(81.3, 82.7), known(30, k_per_mg=-0.18)
    advice = Adviser(Refillable(), flat, limits).advise(Unit("u1", 84.4, 0.1))
    needed = float(advice.reason.split()[1])
    assert needed > 10.0
    assert advice.change > 0.85 * needed
    new = Adviser(Refillable(), known(9, k_per_mg=-0.18), limits).advise(Unit("u1", 84.4, 0.1))
    assert new.change <= 0.7 * float(new.reason.split()[1]) + 0.5


@pytest.mark.parametrize("start", [84.0, 85.0, 86.0])
@pytest.mark.parametrize("units", [0, 20])
def test_an_increase_does_not_risk_the_cap(start: float, units: int) -> None:
    """Drawing scale, bend and dose from the prior again: at most 1 in 1000 beyond 4 K low."""
    knowledge = known(units)
    advice = advise(start, knowledge)
    rng, beyond, count = np.random.default_rng(6), 0, 4000
    mean, sd = knowledge.slope()
    spread = math.sqrt(math.log(1 + (sd / mean) ** 2 + UNIT_SD**2))
    effects = {n: Effect(PRIORS["mg"], n / 10) for n in range(2, 19)}
    for _ in range(count):
        scale = mean / -0.27 * math.exp(rng.normal(-(spread**2) / 2, spread))
        effect = effects[int(np.clip(round(10 * rng.normal(1.0, 0.3)), 2, 18))]
        dosed = (advice.change + rng.normal()) * ONE
        beyond += bool(effect.after((start - NOMINAL_C) * ONE, dosed, scale)[0] < -4.0)
    assert beyond / count <= 0.003


def test_one_round_left_maximises_the_chance_to_land() -> None:
    """With a single round the cost is 16 + 45 (1 - chance): counted over drawn landings."""
    knowledge = known(30)
    adviser = Adviser(Refillable(), knowledge, LIMITS, Costs(most_rounds=1))
    advice = adviser.advise(Unit("u1", 84.5, 0.15))
    assert advice.chance_inside is not None
    assert advice.expected_cost == pytest.approx(16 + 45 * (1 - advice.chance_inside), abs=0.2)
    rng, mean, sd = np.random.default_rng(7), *knowledge.slope()
    effect, spread = Effect(PRIORS["mg"], 1.0), math.hypot(sd / mean, UNIT_SD)

    def chance(change: float) -> float:
        scales = mean / -0.27 * np.exp(rng.normal(0, spread, 20_000))
        dosed = change + rng.normal(0, 1.0, 20_000)
        after = effect.after(np.full(20_000, 2.5), dosed * scales, 1.0)
        return float(np.mean(np.abs(after + rng.normal(0, 0.15, 20_000)) <= 1.5))

    best = max(np.arange(4.0, 16.0, 1.0), key=chance)
    assert chance(advice.change) >= chance(float(best)) - 0.02
    assert advice.chance_inside == pytest.approx(chance(advice.change), abs=0.03)


def test_it_is_given_up_where_it_is_not_worth_it() -> None:
    knowledge = known(12)
    cheap = Adviser(Refillable(), knowledge, LIMITS, Costs(give_up_cost=10.0))
    advice = cheap.advise(Unit("u1", 85.0, 0.15))
    assert (advice.action, advice.expected_cost) == (Action.GIVE_UP, 10.0)
    done = Adviser(Refillable(), knowledge, LIMITS).advise(Unit("u1", 85.0, 0.15, rounds_done=3))
    assert "3 rounds done" in done.reason
    far = Adviser(Refillable(), knowledge, LIMITS).advise(Unit("u1", 45.0, 0.15))
    assert "beyond what can be foretold" in far.reason
    early = advise(91.0)
    assert early.action is Action.GIVE_UP
    assert "ask again" in early.reason


def test_a_lift_that_cannot_come_right_with_the_start_is_not_promised() -> None:
    """Too cold and too low in lift: taking wax out mends one and worsens the other."""
    limits = Acceptance(80.5, 83.5, lower_lift_mm=8.0)
    adviser = Adviser(Refillable(), known(20), limits)
    bad = adviser.advise(Unit("u1", 79.0, 0.15, lift_mm=7.8))
    assert bad.action is Action.GIVE_UP
    good = adviser.advise(Unit("u2", 79.0, 0.15, lift_mm=9.5))
    assert good.action is Action.CHANGE
    assert good.lift_mm is not None
    assert good.lift_mm.mean == pytest.approx(9.5 + 0.085 * good.change)


def test_a_setting_moves_in_shims() -> None:
    """0.29 K per 0.1 mm: 2 K too warm needs about 0.7 to 0.9 mm more."""
    adviser = Adviser(Setting(step_mm=0.25), Knowledge("mm", NOMINAL_C, 0.02), LIMITS)
    advice = adviser.advise(Unit("u1", 84.0, 0.15))
    assert advice.action is Action.CHANGE
    assert advice.change in (0.5, 0.75, 1.0)


def test_limits_without_room_are_refused() -> None:
    with pytest.raises(InputError, match="leave no room"):
        Adviser(Refillable(), Knowledge("mg", NOMINAL_C, 1.0), Acceptance(82.5, 81.5))

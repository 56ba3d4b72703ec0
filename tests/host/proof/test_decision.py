"""Decisions against JCGM 106:2012, ILAC-G8:09/2019 and ISO 14253-1."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from host.proof.reference import figures, rows
from host.proof.stated import changed, stated
from proofbath.proof.decision import (
    GUARD_BAND_PER_U,
    Outcome,
    acceptance_limits,
    decide,
    global_risks,
    probability_in_words,
    probability_of_conformity,
    risk_at_acceptance_limit,
)
from proofbath.proof.specification import Limit
from proofbath.quantity.quantity import Quantity

START = Limit(quantity="start_to_open_c", nominal=82.0, tolerance=2.0, threshold_mm=0.1)


def start(value: float | None, u: float = 0.25, dof: float = math.inf) -> Quantity:
    return stated(
        "start_to_open_c", value, u, 2 * u, dof=dof, rate="zero", threshold_mm=0.1, reason="stuck"
    )


@pytest.mark.parametrize(
    ("value", "guard_band_u", "iso_14253_1", "simple"),
    [
        (82.0, Outcome.PASS, Outcome.PASS, Outcome.PASS),
        (83.5, Outcome.PASS, Outcome.PASS, Outcome.PASS),
        (83.55, Outcome.CONDITIONAL_PASS, Outcome.PASS, Outcome.PASS),
        (83.6, Outcome.CONDITIONAL_PASS, Outcome.CONDITIONAL_PASS, Outcome.PASS),
        (84.0, Outcome.CONDITIONAL_PASS, Outcome.CONDITIONAL_PASS, Outcome.PASS),
        (84.01, Outcome.CONDITIONAL_FAIL, Outcome.CONDITIONAL_FAIL, Outcome.FAIL),
        (84.45, Outcome.CONDITIONAL_FAIL, Outcome.FAIL, Outcome.FAIL),
        (84.51, Outcome.FAIL, Outcome.FAIL, Outcome.FAIL),
        (79.49, Outcome.FAIL, Outcome.FAIL, Outcome.FAIL),
        (80.49, Outcome.CONDITIONAL_PASS, Outcome.PASS, Outcome.PASS),
    ],
)
def test_the_four_outcomes_by_rule(
    value: float, guard_band_u: Outcome, iso_14253_1: Outcome, simple: Outcome
) -> None:
    """ILAC-G8:09/2019 4.2.3 for w = U, U 0.5 K; ISO 14253-1:2017 with 0.83 U [from memory]."""
    assert decide(START, start(value), "guard_band_u").outcome is guard_band_u
    assert decide(START, start(value), "iso_14253_1").outcome is iso_14253_1
    assert decide(START, start(value), "simple").outcome is simple


@pytest.mark.parametrize(
    ("rule", "named"),
    [
        ("guard_band_u", "guarded acceptance, w=U"),
        ("iso_14253_1", "ISO 14253-1:2017 default"),
        ("simple", "simple acceptance (w=0, shared risk)"),
    ],
)
def test_guard_bands_are_those_of_the_named_rules(rule: str, named: str) -> None:
    """ILAC-G8:09/2019 4.2 and table 1; ISO 14253-1:2017 [from memory]."""
    stated = figures("decision_rules", "name", "guard_band_w")[named]
    assert float(stated.split()[0]) == GUARD_BAND_PER_U[rule]  # type: ignore[index]


@pytest.mark.parametrize("row", [r for r in rows("jcgm106_ilac_g8") if "w=" in r["quantity"]])
def test_worst_risk_at_the_acceptance_limit(row: dict[str, str]) -> None:
    """ILAC-G8:09/2019 table 1 [percentages from memory; w = U and w = 0 read]."""
    w = float(row["quantity"].split("w=")[1].split("U")[0])
    risk = risk_at_acceptance_limit(abs(w))
    assert risk == pytest.approx(float(row["recomputed"]), rel=2e-3)
    percentages = {"1 ppm": 1e-6, "0.16 %": 0.0016, "2.5 %": 0.025, "5 %": 0.05, "50 %": 0.5}
    assert risk <= percentages[row["stated"].split("<")[1]]


def test_probability_of_conformity_of_a_zener_diode() -> None:
    """JCGM 106:2012 7.3.3 [figures from memory]: 0.92 for -5.47 V, u 0.05 V, limit -5.40 V."""
    limit = Limit(quantity="breakdown_ohm", upper=-5.40, largest_u=1.0)
    measured = stated("breakdown_ohm", -5.47, 0.05, 0.1)
    assert probability_of_conformity(measured, limit) == pytest.approx(0.919, abs=5e-4)


def test_acceptance_limit_of_a_speed_check() -> None:
    """JCGM 106:2012 8.3.3.2 [from memory]: 99.9 % sure to exceed 100 km/h from 107 km/h, 2 %."""
    limit = Limit(quantity="speed_min", lower=100.0, largest_u=10.0)

    def sure(v: float) -> float:
        return probability_of_conformity(stated("speed_min", v, 0.02 * v, 0.04 * v), limit)

    assert sure(106.5) < 0.999 < sure(107.0)


def test_risks_of_a_production_of_ball_bearings() -> None:
    """JCGM 106:2012 9.5.4 [second hand]: outside 4.2 %, consumer's risk 0.8 %, 0.1 % at 1.67."""
    prior = stats.gamma(4.0, scale=0.25)  # mean 1 um, sd 0.5 um
    limit = Limit(quantity="error_mm", upper=2.0, largest_u=1.0)
    assert prior.sf(2.0) == pytest.approx(0.042, abs=5e-4)
    consumer, producer = global_risks(prior.pdf, limit, 0.25, (None, 2.0), (0.0, 8.0))
    assert consumer == pytest.approx(0.008, abs=5e-4)
    guarded, refused = global_risks(prior.pdf, limit, 0.25, (None, 1.67), (0.0, 8.0))
    assert guarded == pytest.approx(0.001, abs=5e-5)
    assert refused > producer


def test_a_two_sided_production_risk_agrees_with_simulated_units() -> None:
    """Counting units whose true and measured values were drawn: an independent way."""
    rng = np.random.default_rng(5)
    true = rng.normal(82.3, 1.0, 400_000)
    read = true + rng.normal(0.0, 0.3, true.size)
    outside = (true < 80) | (true > 84)
    taken = (read > 80.6) & (read < 83.4)
    consumer, producer = global_risks(
        stats.norm(82.3, 1.0).pdf, START, 0.3, (80.6, 83.4), (74.0, 92.0)
    )
    assert consumer == pytest.approx((outside & taken).mean(), abs=2e-4)
    assert producer == pytest.approx((~outside & ~taken).mean(), abs=2e-3)


def test_few_degrees_of_freedom_leave_more_doubt() -> None:
    """At the limit less U = t u the one-sided risk is 2.5 % for any degrees of freedom."""
    for dof, factor in ((4.0, 2.776), (10.0, 2.228), (math.inf, 1.960)):  # GUM table G.2
        measured = start(84.0 - 0.2 * factor, 0.2, dof)
        assert probability_of_conformity(measured, START) == pytest.approx(0.975, abs=1e-4)


def test_a_bench_that_is_not_good_enough_is_refused() -> None:
    """U at most half the tolerance; 1.0 K for ± 2 K."""
    good = decide(START, start(82.0, 0.5), "guard_band_u")
    assert good.outcome is Outcome.PASS
    for rule in GUARD_BAND_PER_U:
        bad = decide(START, start(82.0, 0.51), rule)
        assert bad.outcome is Outcome.INVALID
        assert "bench not good enough for this specification" in bad.reason


def test_what_has_no_value_or_no_uncertainty_never_passes() -> None:
    assert decide(START, None, "simple").outcome is Outcome.UNSET
    stuck = decide(START, start(None), "simple")
    assert (stuck.outcome, stuck.reason) == (Outcome.UNSET, "stuck")
    formless = changed(start(None), rate=None, threshold_mm=None)
    assert decide(START, formless, "simple").outcome is Outcome.UNSET
    bare = changed(start(82.0), expanded_uncertainty=None)
    assert decide(START, bare, "simple").outcome is Outcome.INVALID
    exact = changed(start(82.0), expanded_uncertainty=0.0)
    assert decide(START, exact, "simple").outcome is Outcome.INVALID
    at_a_rate = decide(START, changed(start(82.0), rate=1.0), "simple")
    assert at_a_rate.outcome is Outcome.INVALID
    assert at_a_rate.probability is None


@given(
    value=st.floats(70, 95),
    u=st.floats(0.01, 0.49),
    rule=st.sampled_from(sorted(GUARD_BAND_PER_U)),
)
def test_a_pass_lies_between_its_acceptance_limits_and_keeps_its_risk(
    value: float, u: float, rule: str
) -> None:
    decision = decide(START, start(value, u), rule)  # type: ignore[arg-type]
    low, high = acceptance_limits(START, 2 * u, rule)  # type: ignore[arg-type]
    assert low is not None
    assert high is not None
    assert (decision.outcome is Outcome.PASS) == (low - 1e-9 <= value <= high + 1e-9)
    assert decision.probability is not None
    if decision.outcome is Outcome.PASS:
        both_sides = 2 * risk_at_acceptance_limit(GUARD_BAND_PER_U[rule])  # type: ignore[index]
        assert decision.probability >= 1 - both_sides - 1e-9
    if decision.outcome in (Outcome.CONDITIONAL_FAIL, Outcome.FAIL):
        assert decision.probability <= 0.5 + 1e-6


def test_a_probability_is_said_in_words_and_never_rounded_up() -> None:
    assert "about 84 in 100" in probability_in_words(0.8499)
    assert "better than 99 in 100" in probability_in_words(0.9991)
    assert "less than 1 in 100" in probability_in_words(0.004)

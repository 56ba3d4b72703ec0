"""Rework advice at its boundaries: caution, over-filling, acceptance limits, rounds and costs."""

from __future__ import annotations

import numpy as np
import pytest

from proofbath.proof.knowledge import Knowledge, Round
from proofbath.proof.rework import Acceptance, Action, Adviser, Unit
from proofbath.proof.rework_kind import Refillable, Sealed
from proofbath.proof.rework_policy import Policy, bin_masses, largest_step, step_limits

NOMINAL_C = 82.0
LIMITS = Acceptance(80.5, 83.5, 7.5, 9.5)
NOTHING_KNOWN = Knowledge("mg", NOMINAL_C, 1.0)


@pytest.fixture(scope="module")
def policy() -> Policy:
    return Policy(Refillable(), NOTHING_KNOWN, (-1.5, 1.5), 0.15)


@pytest.mark.parametrize(("units", "largest"), [(9, 10.0), (10, 20.0)])
def test_a_step_is_doubled_from_ten_known_units_on(units: int, largest: float) -> None:
    """10 mg at first, and twice that: common practice, no source."""
    knowledge = Knowledge("mg", NOMINAL_C, 1.0)
    for n in range(units):
        knowledge.add([Round(f"k{n}", NOMINAL_C, 1.0, NOMINAL_C - 0.23, 0.15)])
    assert largest_step(knowledge, "mg") == largest
    assert largest_step(knowledge, "mm") == largest / 10.0


@pytest.mark.parametrize(
    ("needed", "shift_k", "largest", "most"),
    [
        (10.0, 3.0, 10.0, 10.0),
        (10.1, 1.0, 10.0, 7.07),
        (16.0, 3.0, 10.0, 10.0),
        (12.0, 2.5, 20.0, 20.0),
        (12.0, -2.51, 20.0, 8.4),
        (12.0, 2.51, 20.0, 8.4),
        (-12.0, 3.0, 20.0, 20.0),
    ],
)
def test_a_larger_increase_begins_with_seven_tenths(
    needed: float, shift_k: float, largest: float, most: float
) -> None:
    """By hand: 0.7 * 10.1 and 0.7 * 12; a known type makes 2.5 K at once."""
    least, found = step_limits(np.array([needed]), np.array([shift_k]), largest, 10.0)
    assert found[0] == pytest.approx(most)
    assert least[0] == -largest


@pytest.mark.parametrize(
    ("start_k", "change", "beyond", "refused"),
    [
        (-2.0, 1.0, 0.000999, False),
        (-2.0, 1.0, 0.001001, True),
        (-3.999, 1.0, 0.0, False),
        (-4.001, 1.0, 0.0, True),
        (-4.001, -1.0, 0.5, False),
        (-2.0, 0.0, 0.5, False),
    ],
)
def test_an_increase_risks_the_cap_once_in_a_thousand(
    policy: Policy, start_k: float, change: float, beyond: float, refused: bool
) -> None:
    """The cap lies 4 K below nominal; taking out never over-fills."""
    found = policy.overfills(np.array([start_k]), np.array([change]), np.array([beyond]))
    assert bool(found[0]) is refused


@pytest.mark.parametrize(
    ("change", "refused"),
    [(10.0, False), (10.01, True), (-10.0, False), (-10.01, True), (0.0, True), (0.5, False)],
)
def test_a_change_is_held_to_the_cautious_step(
    policy: Policy, change: float, refused: bool
) -> None:
    assert bool(policy.refused(np.array([2.0]), np.array([change]), np.array([8.0]))[0]) is refused


def test_landings_fill_their_bins_as_the_normal_distribution_says() -> None:
    """Φ(1) - Φ(0) = 0.34134 in the four bins of a quarter kelvin above the mean."""
    masses = bin_masses(np.array([0.0]), np.array([1.0]))[0]
    assert masses.sum() == pytest.approx(1.0)
    assert masses[120:124].sum() == pytest.approx(0.34134, abs=1e-5)
    assert len(masses) == 180  # -30 to 15 K


@pytest.mark.parametrize(
    ("start_c", "lift_mm", "left"),
    [
        (80.5, 8.0, True),
        (83.5, 8.0, True),
        (80.49, 8.0, False),
        (83.51, 8.0, False),
        (82.0, 7.5, True),
        (82.0, 9.5, True),
        (82.0, 7.49, False),
        (82.0, 9.51, False),
        (82.0, None, True),
    ],
)
def test_a_unit_is_left_within_its_acceptance_limits_ends_included(
    start_c: float, lift_mm: float | None, left: bool
) -> None:
    adviser = Adviser(Sealed(), None, LIMITS)
    advice = adviser.advise(Unit("u", start_c, 0.15, lift_mm=lift_mm))
    assert advice.action is (Action.LEAVE if left else Action.GIVE_UP)
    assert advice.expected_cost == (0.0 if left else 45.0)


@pytest.mark.parametrize(
    ("start_c", "rounds_done", "said"),
    [
        (85.0, 3, "3 rounds done, at most 3"),
        (85.0, 2, ""),
        (97.0, 0, "opens +15.0 K from nominal: beyond what can be foretold"),
        (52.0, 0, "opens -30.0 K from nominal: beyond what can be foretold"),
        (96.9, 0, ""),
    ],
)
def test_rounds_and_what_can_be_foretold_have_an_end(
    start_c: float, rounds_done: int, said: str
) -> None:
    adviser = Adviser(Refillable(), NOTHING_KNOWN, Acceptance(80.5, 83.5))
    advice = adviser.advise(Unit("u", start_c, 0.15, rounds_done))
    assert (advice.reason == said) is bool(said)

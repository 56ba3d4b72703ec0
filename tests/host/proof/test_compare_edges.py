"""Comparisons of unequal groups, worked out beside the library by the textbook's formulas."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from proofbath.proof.compare import Group, adjusted_p, compare, plural

GROUPS = {
    "1": [82.0, 82.2, 82.4],
    "2": [82.1, 82.5],
    "3": [82.9, 83.1, 83.0, 83.2, 82.8],
}


def test_a_groups_half_width_is_bonferronis() -> None:
    """e-Handbook 7.4.7.3: Student's t at 5 % shared by three groups, both sides; by hand:
    squares 0.08 + 0.08 + 0.1 over 7 degrees of freedom."""
    found = compare(GROUPS)
    assert found is not None
    sd = math.sqrt(0.26 / 7)
    assert (found.between_dof, found.within_dof) == (2, 7)
    assert found.within_sd == pytest.approx(sd)
    t = stats.t.ppf(1 - 0.05 / 6, 7)
    first, second, third = found.groups
    near = pytest.approx
    assert first == Group(
        "1", 3, near(82.2), near(82.2 - 579.6 / 7), near(t * sd * math.sqrt(1 / 3 + 1 / 7))
    )
    assert second == Group(
        "2", 2, near(82.3), near(82.3 - 661.6 / 8), near(t * sd * math.sqrt(1 / 2 + 1 / 8))
    )
    assert (third.units, third.mean) == (5, near(83.0))
    assert third.half_width == near(t * sd * math.sqrt(1 / 5 + 1 / 5))
    assert [group.stands_out for group in found.groups] == [True, False, True]


def test_what_is_visible_in_unequal_groups_is_found_in_four_of_five_cases() -> None:
    """Random effects: F / (1 + n0 r²) with n0 = (N - sum n² / N) / (k - 1) = (10 - 3.8) / 2."""
    found = compare(GROUPS)
    assert found is not None
    ratio = found.visible / found.within_sd
    limit = stats.f.ppf(0.95, 2, 7)
    assert stats.f.sf(limit / (1 + 3.1 * ratio**2), 2, 7) == pytest.approx(0.8, abs=1e-6)


def test_two_groups_of_two_are_the_least_that_is_compared() -> None:
    found = compare({"1": [1.0, 2.0], "2": [3.0, 4.0], "3": [9.0]})
    assert found is not None
    assert [group.name for group in found.groups] == ["1", "2"]
    # By hand: sd² 0.5, difference 2, so F = 4 / 0.5.
    assert found.f == pytest.approx(8.0)
    assert compare({"1": [1.0, 2.0], "3": [9.0]}) is None
    assert compare({"1": [1.0, 1.0], "2": [3.0, 3.0]}) is None
    assert compare({"1": [-1.0, 1.0], "2": [2.0, 2.0]}) is not None


def test_holms_p_never_passes_one() -> None:
    """By hand: 2 * 0.6 is cut to 1."""
    assert adjusted_p({"a": 0.6, "b": 0.7}) == {"a": 1.0, "b": 1.0}


def test_words_say_which_stand_out_and_when_none_does() -> None:
    found = compare(GROUPS)
    assert found is not None
    assert found.in_words("station", "K", 0.0501).startswith("no difference between stations shown")
    assert found.in_words("batch", "K", 0.0499).startswith("batches differ (p 0.05): 1 by -0.6 K")
    level = compare({"1": [82.0, 82.4], "2": [82.1, 82.5]})
    assert level is not None
    assert level.in_words("lot", "K", 0.01) == "lots differ (p 0.01); none stands out alone"
    assert (plural("batch"), plural("person")) == ("batches", "persons")

"""Comparisons of groups and trends against NIST reference data and the GUM."""

from __future__ import annotations

import numpy as np
import pytest

from host.proof.reference import rows
from proofbath.proof.compare import adjusted_p, compare, trend


def certified(dataset: str, quantity: str) -> float:
    row = next(
        r for r in rows("strd_certified") if r["dataset"] == dataset and r["quantity"] == quantity
    )
    return float(row["certified"])


@pytest.mark.parametrize(("dataset", "digits"), [("SmLs01", 1e-12), ("SmLs07", 1e-4)])
def test_analysis_of_variance_of_reference_data(dataset: str, digits: float) -> None:
    """NIST StRD SmLs01 and SmLs07 (one-way ANOVA); the latter has 13 constant leading digits."""
    groups: dict[str, list[float]] = {}
    for row in rows(f"strd_{dataset.lower()}_data"):
        groups.setdefault(row["treatment"], []).append(float(row["y"]))
    found = compare(groups)
    assert found is not None
    assert found.f == pytest.approx(certified(dataset, "F"), rel=digits)
    assert found.between_dof == certified(dataset, "df_between")
    assert found.within_dof == certified(dataset, "df_within")
    assert found.within_sd**2 == pytest.approx(certified(dataset, "MS_within"), rel=digits)


def test_analysis_of_variance_of_the_gum() -> None:
    """JCGM 100:2008 H.5: ten days of five readings, F = 2.25 (2.26 unrounded), p below 0.05."""
    pattern = np.array([-2.0, -1.0, 0.0, 1.0, 2.0]) / np.sqrt(2.5)  # mean 0, sd 1
    days = {
        row["day"]: list(1e6 * float(row["mean_V"]) + float(row["s_uV"]) * pattern)
        for row in rows("gum_h5_data")
    }
    found = compare(days)
    assert found is not None
    assert found.f == pytest.approx(2.25, abs=0.02)
    assert found.within_sd == pytest.approx(85, abs=0.5)
    assert (found.between_dof, found.within_dof) == (9, 40)
    assert 0.025 < found.p < 0.05  # F exceeds 2.12 (5 %) and not 2.45 (2.5 %), table G of H.5


def stations(rng: np.random.Generator, spread: float, count: int = 8) -> dict[str, list[float]]:
    return {str(n): list(rng.normal(82 + rng.normal(0, spread), 0.3, count)) for n in range(1, 7)}


def test_equal_stations_differ_in_one_of_twenty_comparisons() -> None:
    rng = np.random.default_rng(2)
    found = [compare(stations(rng, 0.0)) for _ in range(500)]
    share = np.mean([c.p < 0.05 for c in found if c is not None])
    assert share == pytest.approx(0.05, abs=0.039)  # 4 sd of the binomial
    out = np.mean([any(g.stands_out for g in c.groups) for c in found if c is not None])
    assert out < 0.09


def test_the_stated_power_is_what_simulated_stations_show() -> None:
    rng = np.random.default_rng(3)
    first = compare(stations(rng, 0.0))
    assert first is not None
    ratio = first.visible / first.within_sd
    found = [compare(stations(rng, 0.3 * ratio)) for _ in range(500)]
    share = np.mean([c.p < 0.05 for c in found if c is not None])
    assert share == pytest.approx(0.8, abs=0.072)


def test_a_station_that_stands_out_is_named_and_silence_states_its_power() -> None:
    rng = np.random.default_rng(4)
    values = stations(rng, 0.0)
    equal = compare(values)
    assert equal is not None
    assert "no difference between stations shown" in equal.in_words("station", "K")
    assert "would be found in 4 of 5 cases" in equal.in_words("station", "K")
    values["3"] = [v + 1.0 for v in values["3"]]
    found = compare(values)
    assert found is not None
    assert [g.name for g in found.groups if g.stands_out] == ["3"]
    assert "3 by +" in found.in_words("station", "K")
    assert "no difference" in found.in_words("station", "K", adjusted_p=0.2)


def test_too_few_values_compare_nothing() -> None:
    assert compare({"1": [82.0, 82.1]}) is None
    assert compare({"1": [82.0], "2": [82.1], "3": [82.0, 82.2]}) is None
    assert trend([1, 2, 3], [82.0, 82.1, 82.2]) is None


def test_many_factors_looked_at_raise_each_p() -> None:
    """Holm's step-down by hand: 0.01 x 4, 0.02 x 3, 0.03 x 2 raised to 0.06, 0.5."""
    p = {"station": 0.02, "person": 0.5, "lot": 0.01, "type": 0.03}
    expected = {"lot": 0.04, "station": 0.06, "type": 0.06, "person": 0.5}
    assert adjusted_p(p) == pytest.approx(expected)


def test_trend_of_reference_data() -> None:
    """NIST StRD Norris: slope, its sd and the residual sd are certified."""
    data = rows("strd_norris_data")
    found = trend([float(r["x"]) for r in data], [float(r["y"]) for r in data])
    assert found is not None
    assert found.slope == pytest.approx(certified("Norris", "B1"), rel=1e-10)
    assert found.slope_sd == pytest.approx(certified("Norris", "sd_B1"), rel=1e-8)
    assert found.residual_sd == pytest.approx(certified("Norris", "resid_sd"), rel=1e-8)
    assert found.half_width == pytest.approx(2.0322 * found.slope_sd, rel=1e-4)  # t 34 dof

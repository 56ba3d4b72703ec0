"""The band over power: it holds the plant's own openings, and says how little is known between."""

from __future__ import annotations

import numpy as np
import pytest

from proofbath.curve.film_band import Band, OpeningAt, band_of
from proofbath.virtual import truth
from proofbath.virtual.description import VirtualUnit

POWERS_W = np.linspace(0.0, 10.0, 21)
U_K = 0.3
Laws = dict[str, float]


def unit(**changed: float) -> VirtualUnit:
    kind: Laws = {"melting_c": 114.0, "film_growth_per_k": 0.003, "heater_per_k": 0.0}
    return VirtualUnit.model_validate(
        {"serial": "H103-MODEL", "station": 1, "shells": 3} | kind | changed
    )


def opens_c(of: VirtualUnit, power_w: float) -> float:
    found = truth.rising_c(of, 0.1, truth.Power(w=power_w))
    assert found is not None
    return found


def met(of: VirtualUnit, *powers_w: float) -> list[OpeningAt]:
    return [OpeningAt(w, (w / 15.0) ** 0.5, opens_c(of, w), U_K) for w in powers_w]


def beyond(of: VirtualUnit, band: Band) -> float:
    """How far the plant leaves the band at worst, in K."""
    true_c = np.array([opens_c(of, float(w)) for w in band.power_w])
    return float(np.max(np.abs(true_c - band.bath_c) - band.half_k))


@pytest.mark.parametrize(
    "law",
    [{}, {"film_exponent": 0.25}, {"film_excess_per_k": 0.05}, {"wax_w_per_k": 0.6}],
    ids=["constant", "convected", "boiling", "badly conducting wax"],
)
def test_the_plants_openings_lie_within_the_band_under_every_film_law(law: Laws) -> None:
    """Against the plant's closed form at powers that were not measured."""
    plant = unit(**law)
    assert beyond(plant, band_of(met(plant, 0.0, 4.0, 10.0), POWERS_W)) < 0.0


def test_the_band_is_as_wide_as_an_opening_where_many_were_met_and_wider_beyond_them() -> None:
    plant = unit()
    near = band_of(met(plant, 3.0, 5.0, 7.0, 9.0), POWERS_W)
    at = {float(w): float(half) for w, half in zip(near.power_w, near.half_k, strict=True)}
    assert U_K < at[5.0] < 2.0**0.5 * U_K
    assert at[0.0] > at[5.0] + 0.1
    assert beyond(plant, near) < 0.0


def test_an_opening_read_while_the_power_rose_hangs_behind_by_its_lag() -> None:
    """1 W/min moves the start by 2 K/W times the wax's lag of 23 s: 0.77 K, by hand."""
    plant = unit()
    k_per_w, lag_s = 2.0, 23.0
    late = [
        at._replace(bath_c=at.bath_c + k_per_w * lag_s / 60.0, rate_w_per_s=1 / 60.0)
        for at in met(plant, 3.0, 5.0, 7.0)
    ]
    band = band_of(late, POWERS_W)
    assert beyond(plant, band) < 0.0
    true_c = opens_c(plant, 5.0)
    assert float(band.bath_c[10]) == pytest.approx(true_c, abs=0.25)


def test_one_power_makes_no_line() -> None:
    with pytest.raises(ValueError, match="two powers"):
        band_of(met(unit(), 5.0, 5.0), POWERS_W)

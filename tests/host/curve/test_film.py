"""The mixture of film laws on events made from closed forms of each law."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy import stats

from proofbath.curve.bench_budget import BenchBudget
from proofbath.curve.drive import PoweredEvent
from proofbath.curve.film import FilmLaw, Known, central, fit_laws
from proofbath.curve.result import Quantity, Warned
from proofbath.curve.unpowered import unpowered_quantities

START_C, WAX, FILM = 104.0, 1.25, 0.67
BENCH = BenchBudget(
    probe_k=0.0, gradient_k=0.0, gauge_mm=0.0, night_k=0.0, repeatability_k=0.13,
    repeatability_dof=60, power_relative=0.0, lead_ohm=0.0,
)  # fmt: skip
FORMS: dict[str, Callable[[float], float]] = {
    # Excess of the cup over the bath at a power, by hand.
    "constant": lambda w: FILM * w,
    "grows 5 % a kelvin": lambda w: (math.sqrt(1 + 0.2 * FILM * w) - 1) / 0.1,
    "falls 5 % a kelvin": lambda w: FILM * w / (1 - 0.05 * FILM * w),
    "excess to the 0.25": lambda w: 5 * (FILM * w / 5) ** 0.8,
}


def event(bath_c: float, power_w: float) -> PoweredEvent:
    return PoweredEvent(bath_c, power_w, 0.0, 0.0, 0.37, 0.02, 0.002)


def starts(
    excess_k: Callable[[float], float], powers_w: list[float], bend_k_per_w2: float = 0.008
) -> list[PoweredEvent]:
    """Events without scatter; the core bends by the element model's 0.0022 of 3.7 (K/W)^2."""
    return [
        event(START_C - WAX * w - excess_k(w) - bend_k_per_w2 * w**2, w)
        for w in powers_w
        for _ in range(2)
    ]


def measured(events: list[PoweredEvent]) -> tuple[Quantity, Quantity, list[Warned]]:
    return unpowered_quantities(events, [], BENCH, 0.1)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("nearest_w", [1.0, 2.0, 4.5])
def test_the_start_lies_within_its_u_whatever_the_law(form: str, nearest_w: float) -> None:
    events = starts(FORMS[form], [nearest_w + n * 2.1 for n in range(4)])
    start, _, warned = measured(events)
    assert start.value is not None
    assert start.expanded_uncertainty is not None
    assert abs(start.value - START_C) < start.expanded_uncertainty
    assert warned == []


def test_two_baths_answer_with_a_larger_u_than_four() -> None:
    four = measured(starts(FORMS["constant"], [3.0, 5.0, 7.0, 9.0]))[0]
    two = measured(starts(FORMS["constant"], [3.0, 7.0]))[0]
    assert four.expanded_uncertainty is not None
    assert two.expanded_uncertainty is not None
    assert two.expanded_uncertainty > 1.15 * four.expanded_uncertainty


def test_a_line_that_no_law_explains_is_said_to_be_bent() -> None:
    """Above 8 W the film doubles at once, as where the surface begins to boil."""
    powers_w = [3.0, 5.0, 7.0, 11.0, 13.0]
    sound = measured(starts(FORMS["constant"], powers_w))[2]
    boiling = measured(starts(lambda w: FILM * w * (1.0 if w < 8 else 0.5), powers_w))[2]
    assert [w.code for w in sound] == []
    assert "power_line_bent" in [w.code for w in boiling]


def test_one_bath_of_four_that_was_misread_is_said_to_be_bent() -> None:
    events = starts(FORMS["constant"], [2.0, 4.0, 6.0, 8.0])
    off = [event(e.bath_c + (1.2 if e.power_w == 6.0 else 0.0), e.power_w) for e in events]
    assert "power_line_bent" in [w.code for w in measured(off)[2]]


@pytest.mark.parametrize(
    ("powers_w", "blocks"),
    [
        ([1.3, 3.4, 5.5, 7.6], False),  # 2.5 K beyond, four baths over 12.2 K
        ([4.0, 6.1, 8.2, 10.3], False),  # 7.8 K beyond
        ([5.6, 7.7, 9.8, 11.9], True),  # 11 K beyond
        ([1.3, 5.5], False),  # two baths, 2.5 K beyond
        ([1.9, 5.5], True),  # two baths, 3.7 K beyond
        ([1.9, 3.4, 5.0, 6.6], True),  # four baths over 9 K, 3.7 K beyond
    ],
)
def test_a_certificate_goes_as_far_beyond_the_bath_as_the_baths_carry(
    powers_w: list[float], blocks: bool
) -> None:
    codes = [w.code for w in measured(starts(FORMS["constant"], powers_w))[2]]
    assert ("long_extrapolation" in codes) == blocks


def excess_to_the(exponent: float) -> Callable[[float], float]:
    """Return the cup's excess by hand: film (excess / 5 K)^exponent times excess is the power."""
    return lambda w: 5 * (FILM * w / 5) ** (1 / (1 + exponent))


@pytest.mark.parametrize("exponent", [0.0, 0.1, 0.25])
def test_a_film_of_free_convection_is_held_and_not_said_to_be_bent(exponent: float) -> None:
    """Laminar free convection goes with the excess to the 1/4 (handbook value from memory)."""
    start, _, warned = measured(starts(excess_to_the(exponent), [0.6, 3.0, 5.4, 7.8, 10.2]) * 8)
    assert start.value is not None
    assert start.expanded_uncertainty is not None
    assert abs(start.value - START_C) < start.expanded_uncertainty
    assert warned == []


def test_starts_that_show_a_film_steeper_than_free_convection_are_said_to_be_bent() -> None:
    """The film goes with the excess itself, as none without boiling; 40 starts over 16 K."""
    (said,) = measured(starts(excess_to_the(1.0), [0.6, 3.0, 5.4, 7.8, 10.2]) * 4)[2]
    assert said.code == "power_line_bent"
    assert "faster than free convection" in said.text


def test_starts_that_lean_to_a_steep_film_carry_a_certificate_to_3_k_only() -> None:
    powers_w = [2.4, 4.8, 7.2, 9.6]
    (said,) = measured(starts(excess_to_the(0.5), powers_w) * 2)[2]
    assert said.code == "long_extrapolation"
    assert "steeper than free convection" in said.text
    assert "to 3 K" in said.text
    assert measured(starts(excess_to_the(0.1), powers_w) * 2)[2] == []


def test_the_budget_names_the_law_and_its_share_grows_with_the_distance() -> None:
    shares = []
    for nearest_w in (1.0, 3.0, 6.0):
        start, _, _ = measured(starts(FORMS["constant"], [nearest_w + n * 2.1 for n in range(4)]))
        shares += [c.share for c in start.contributions if c.name == "film law"]
    assert shares == sorted(shares)
    assert shares[-1] > 2 * shares[0] > 0


def test_a_mixture_of_one_normal_has_its_quantile_as_half_width() -> None:
    """Normal distribution: 1.960 sd hold 95 % (JCGM 100:2008, table G.1)."""
    middle, half = central(np.full(2, 3.0), np.full(2, 0.5), np.array([0.3, 0.7]))
    assert (middle, half) == (pytest.approx(3.0, abs=1e-6), pytest.approx(0.97998, abs=1e-4))
    _, apart = central(np.array([-1.0, 1.0]), np.full(2, 0.01), np.array([0.5, 0.5]))
    assert apart == pytest.approx(1 + 0.01 * stats.norm.ppf(0.95), abs=1e-3)


def test_a_law_far_to_one_side_widens_the_interval_to_that_side() -> None:
    """A tenth of the weight lies at +2: 2.5 % above 2 + 0.1 * 0.674, 2.5 % below -0.1 * 1.915."""
    middle, half = central(np.array([0.0, 2.0]), np.full(2, 0.1), np.array([0.9, 0.1]))
    assert middle + half == pytest.approx(2 + 0.1 * stats.norm.ppf(0.75), abs=1e-3)
    assert middle - half == pytest.approx(0.1 * stats.norm.ppf(0.025 / 0.9), abs=1e-3)


@pytest.mark.parametrize(
    "law",
    [FilmLaw("exponent", 0.25, 1.0), FilmLaw("linear", 0.05, 1.0), FilmLaw("linear", -0.05, 1.0)],
)
def test_a_law_knows_its_own_derivative(law: FilmLaw) -> None:
    power_w = np.array([2.0, 6.0, 9.0])
    _, by_film = law.excess_k(FILM, power_w)
    more, less = law.excess_k(FILM + 1e-5, power_w)[0], law.excess_k(FILM - 1e-5, power_w)[0]
    assert by_film == pytest.approx((more - less) / 2e-5, rel=1e-5)


def test_no_event_is_no_fit() -> None:
    with pytest.raises(ValueError, match="no event"):
        fit_laws([], Known(lambda _: (20.0, 2.0), 0.1, 20.0))


@pytest.mark.parametrize("kind_number", [("exponent", 0.25), ("linear", 0.05), ("linear", -0.05)])
def test_a_law_knows_its_local_slope_and_that_of_no_power(kind_number: tuple[str, float]) -> None:
    kind, number = kind_number
    law = FilmLaw("exponent" if kind == "exponent" else "linear", number, 1.0)
    power_w = np.array([2.0, 6.0, 9.0])
    more, less = law.excess_k(FILM, power_w + 1e-5)[0], law.excess_k(FILM, power_w - 1e-5)[0]
    assert law.local_k_per_w(FILM, power_w) == pytest.approx((more - less) / 2e-5, rel=1e-5)
    constant = FilmLaw("linear", 1e-9, 1.0).local_k_per_w(FILM, np.zeros(1))
    assert constant == pytest.approx([FILM], rel=1e-6)

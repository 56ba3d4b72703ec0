"""Where a plan's units open: profiles, baths and the highest temperature follow it, not the type.

The figures of types and offsets are those of the files; sums are done by hand beside each check.
"""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from host.run.test_profile import NIGHT
from host.run.workshop import HERON_103, TEAL_82
from host.simple_bath import WORKSHOP
from proofbath.errors import InputError
from proofbath.run.check import check_plan
from proofbath.run.faults import BenchFacts
from proofbath.run.heated_profiles import power_baths_c, unpowered_rise
from proofbath.run.plan import LoadedStation, NightPlan
from proofbath.run.power_reach import reach_faults, reach_warnings
from proofbath.run.profile import PowerRamp, Ramp, Soak, resolve
from proofbath.run.unit_type import Opens

FACTS = BenchFacts(6, 106.0, WORKSHOP)


def place(
    station: int, opens_c: float | None, by_c: float | None = None, full_c: float | None = None
) -> LoadedStation:
    """A unit at a station, expected to open between two temperatures; None as its type says."""
    if opens_c is None:
        return LoadedStation(station=station, serial=f"T82-{station}")
    return LoadedStation(
        station=station, serial=f"T82-{station}", opens_c=opens_c, opens_by_c=by_c, full_c=full_c
    )


def plan(*stations: LoadedStation, profile: str = "plain-as-left") -> NightPlan:
    """A night of Teal-82 (start 82 °C, full-open 95 °C, cap 104 °C) with its reference unit."""
    guard = LoadedStation(station=6, serial="T82-REF", role="reference")
    return NightPlan(
        batch="ferry 12",
        unit_type=TEAL_82,
        station=[*stations, guard],
        profile=profile,
        step=[],
    )


def turning_points(made: NightPlan) -> tuple[float, float, float, float]:
    """Return soak, begin and end of the slow part, and top of a plan's recorded cycles."""
    legs = [leg for leg in check_plan(made, FACTS).legs if leg.step.purpose == "recorded"]
    soak = {leg.to_c for leg in legs if isinstance(leg.step, Soak)}
    slow = [n for n, leg in enumerate(legs) if getattr(leg.step, "rate_k_per_min", 0) == 0.5]
    (at,) = slow
    (soak_c,) = soak
    return soak_c, legs[at - 1].to_c, legs[at].to_c, max(leg.to_c for leg in legs)


def test_a_plan_that_says_nothing_runs_by_its_type() -> None:
    assert turning_points(plan(place(1, None))) == (70.0, 76.0, 85.0, 97.0)
    assert plan(place(1, None)).limit_c(130.0) == 104.0


def test_a_plan_runs_by_the_first_and_the_last_unit() -> None:
    """First 70.0: soak 58, slow from 64. Last 74.0, full 86.0: slow to 77, top 88."""
    made = plan(place(1, 70.0, 71.0, 84.0), place(2, 72.0, 74.0, 86.0))
    assert made.opens() == Opens(70.0, 74.0, 86.0)
    assert turning_points(made) == (58.0, 64.0, 77.0, 88.0)


def test_a_unit_that_says_nothing_counts_by_its_type_beside_one_that_does() -> None:
    made = plan(place(1, 70.0, 71.0, 84.0), place(2, None))
    assert made.opens() == Opens(70.0, 82.0, 95.0)


def test_the_reference_unit_is_as_its_type_says_whatever_the_units_do() -> None:
    made = plan(place(1, 70.0, 71.0, 84.0))
    assert made.loading().open_by_c[0] == 84.0
    assert made.loading().open_by_c[5] == 95.0


@pytest.mark.parametrize(("full_c", "cap_c"), [(84.0, 93.0), (94.9, 103.9), (95.1, 104.0)])
def test_a_units_cap_lies_as_far_above_its_full_opening_as_its_types(
    full_c: float, cap_c: float
) -> None:
    """Teal-82: cap 104 °C, 9 K above full-open; never above that cap."""
    made = plan(place(1, full_c - 13.0, full_c - 12.0, full_c))
    assert made.limit_c(130.0) == pytest.approx(cap_c)


@pytest.mark.parametrize(("full_c", "cap_c"), [(103.0, 106.0), (106.9, 109.9), (107.1, 110.0)])
def test_a_bath_may_always_show_the_full_opening(full_c: float, cap_c: float) -> None:
    """Heron-103's cap, 110 °C, lies below its full-open: then 3 K above the unit's count."""
    one = place(1, 90.0, 91.0, full_c)
    assert one.cap_c(HERON_103) == pytest.approx(cap_c)


def test_a_step_above_a_units_cap_is_refused_by_its_name() -> None:
    made = plan(place(1, 70.0, 71.0, 84.0), place(2, None))
    steps = [
        Soak(cycle=1, to_c=60.0),
        Ramp(cycle=1, to_c=93.1, rate_k_per_min=0.5),
        Ramp(to_c=44.0, rate_k_per_min="attainable", purpose="cool-down"),
    ]
    with pytest.raises(InputError, match=r"93.1 °C is above the cap 93.0 °C of T82-1"):
        check_plan(made.model_copy(update={"profile": None, "step": steps}), FACTS)


def test_a_reference_unit_that_would_not_open_under_a_low_cap_is_refused() -> None:
    """A unit that is fully open at 73 °C may see 82 °C: the reference opens at 82 °C."""
    with pytest.raises(InputError, match=r"T82-1 may see 82\.0 °C at most; hang a reference"):
        check_plan(plan(place(1, 60.0, 61.0, 73.0)), FACTS)


@pytest.mark.parametrize(
    ("given", "why"),
    [
        ({"opens_c": 70.0}, "go together"),
        ({"opens_c": 70.0, "opens_by_c": 69.9, "full_c": 84.0}, "must rise"),
        ({"opens_c": 70.0, "opens_by_c": 84.0, "full_c": 84.0}, "must rise"),
    ],
)
def test_figures_that_make_no_sense_are_refused(given: dict[str, float], why: str) -> None:
    with pytest.raises(ValidationError, match=why):
        LoadedStation(station=1, serial="T82-1", **given)  # type: ignore[arg-type]


def test_baths_of_power_lie_below_the_last_unit_and_the_zero_below_the_first() -> None:
    """Last 90 °C: hottest bath 87. First 71.9 °C: zero at 59.9, colder than the usual 60."""
    night = NIGHT._replace(expected=Opens(71.9, 90.0, 103.0))
    assert max(power_baths_c(night)) == 87.0
    soak = unpowered_rise(night)[0]
    assert isinstance(soak, Soak)
    assert soak.to_c == 59.9
    warmer = unpowered_rise(night._replace(expected=Opens(72.1, 90.0, 103.0)))[0]
    assert isinstance(warmer, Soak)
    assert warmer.to_c == 60.0


def test_reach_is_judged_by_where_units_open() -> None:
    """12.1 W (0.9 A in 15 ohm): 1.5 K/W carry 17.2 K below the last start, 2.7 K/W 32.7 K."""
    fed = plan(place(1, None)).model_copy(update={"unit_type": HERON_103})
    steps = [
        step
        for n, bath_c in enumerate((84.0, 90.0), 1)
        for step in (
            Soak(cycle=n, to_c=bath_c),
            PowerRamp(cycle=n, to_w=12.1, rate_w_per_min=1.0),
        )
    ]
    legs = resolve(steps, HERON_103, 106.0, fed.loading())
    assert reach_warnings(legs, HERON_103, None) != [], "19 K below 103 °C"
    assert reach_warnings(legs, HERON_103, None, Opens(95.0, 101.0, 112.0)) == []
    assert reach_warnings(legs, HERON_103, None, Opens(95.0, 101.2, 112.0)) != []
    assert reach_faults(legs, HERON_103, Opens(116.6, 117.0, 130.0)) == []
    assert reach_faults(legs, HERON_103, Opens(116.8, 117.0, 130.0)) != []

"""What unit types and steps may state: each figure just inside its range and just outside."""

from __future__ import annotations

from typing import Any

import pytest
from iapws import IAPWS97
from pydantic import ValidationError

from host.run.workshop import HERON_103, TEAL_82
from proofbath.control.bath_model import BathModel
from proofbath.description import Described
from proofbath.run.forecast import forecast, seconds_until
from proofbath.run.heated_profiles import HeatedFigures
from proofbath.run.profile import (
    Drive,
    Energise,
    Hold,
    Leg,
    PowerRamp,
    Profile,
    Ramp,
    Soak,
)
from proofbath.run.unit_type import UnitType

RAMP: dict[str, Any] = {"rate_k_per_min": 1.0}
DRIVE: dict[str, Any] = {"duty": 0.5, "for_s": 60.0, "until_c": 60.0}
POWER: dict[str, Any] = {"to_w": 3.0, "rate_w_per_min": 1.0}
WIDE = TEAL_82.model_dump() | {"nominal_start_to_open_c": 25.0, "full_open_c": 30.0}
DAY_S = 24 * 60 * 60

ROWS: list[
    tuple[type[Described], dict[str, Any], str, float | None, float, float, float | None]
] = [
    # model, other figures, name, just too small, least, most, just too large
    (UnitType, WIDE, "nominal_start_to_open_c", 19.9, 20.0, 29.9, 30.0),
    (UnitType, WIDE, "cap_c", 20.0, 30.0, 110.0, 110.1),
    (UnitType, WIDE, "threshold_mm", 0.0, 0.001, 1.0, 1.001),
    (UnitType, WIDE, "full_lift_mm", 0.0, 0.001, 20.0, 20.001),
    (UnitType, WIDE, "greatest_lift_mm", 7.999, 8.0, 20.0, 20.001),
    (UnitType, WIDE | {"full_lift_mm": 0.01}, "greatest_lift_mm", 0.0, 0.01, 20.0, 20.001),
    (UnitType, HERON_103.model_dump(), "cap_c", 20.0, 20.1, 110.0, 110.1),
    (UnitType, HERON_103.model_dump(), "full_open_c", 103.0, 103.1, 130.0, 130.1),
    (UnitType, HERON_103.model_dump(), "element_max_a", 0.0, 0.001, 2.0, 2.001),
    (UnitType, HERON_103.model_dump(), "element_ohm", 0.0, 0.001, 200.0, 200.001),
    (Ramp, RAMP, "to_c", 4.9, 5.0, 130.0, 130.1),
    (Ramp, RAMP, "above_nominal_k", -100.1, -100.0, 60.0, 60.1),
    (Ramp, RAMP, "above_full_open_k", -100.1, -100.0, 60.0, 60.1),
    (Ramp, RAMP, "below_limit_k", -0.1, 0.0, 60.0, 60.1),
    (Ramp, {"to_c": 60.0}, "rate_k_per_min", 0.0, 0.001, 10.0, 10.001),
    (Soak, {"to_c": 60.0}, "rate_k_per_min", 0.0, 0.001, 5.0, 5.001),
    (Soak, {"to_c": 60.0}, "steady_k_per_min", 0.0, 0.001, 1.0, 1.001),
    (Soak, {"to_c": 60.0}, "steady_mm_per_min", 0.0, 0.001, 1.0, 1.001),
    (Soak, {"to_c": 60.0}, "at_least_s", 0.0, 0.001, 1800.0, 1800.1),
    (Soak, {"to_c": 60.0}, "at_most_s", 299.9, 300.0, DAY_S, DAY_S + 0.1),
    (Hold, {}, "for_s", 0.0, 0.001, DAY_S, DAY_S + 0.1),
    (Hold, {"for_s": 1.0}, "cycle", -1, 0, 99, 100),
    (Energise, {}, "element_a", 0.0, 0.001, 2.0, 2.001),
    (Energise, {"element_a": 0.5}, "steady_mm_per_min", 0.0, 0.001, 1.0, 1.001),
    (PowerRamp, POWER, "to_w", -0.1, 0.0, 30.0, 30.1),
    (PowerRamp, POWER, "rate_w_per_min", 0.0, 0.001, 10.0, 10.001),
    (HeatedFigures, {}, "held_s", 59.9, 60.0, 3600.0, 3600.1),
    (Drive, DRIVE, "duty", -0.001, 0.0, 1.0, 1.001),
    (Drive, DRIVE, "until_c", 4.9, 5.0, 130.0, 130.1),
]


@pytest.mark.parametrize(
    ("model", "others", "name", "too_small", "least", "most", "too_large"),
    ROWS,
    ids=[f"{row[0].__name__}.{row[2]}" for row in ROWS],
)
def test_a_figure_is_taken_within_its_range_alone(
    model: type[Described],
    others: dict[str, Any],
    name: str,
    too_small: float,
    least: float,
    most: float,
    too_large: float,
) -> None:
    """Ranges of the bench: 130 °C where its probes and hoses end, 20 mm of its gauges, 2 A of its
    element channels, a day; 110 °C for a bath and 5 and 10 K/min are common practice, no source.
    """
    for value in (least, most):
        assert getattr(model.model_validate(others | {name: value}), name) == value
    for value in (too_small, too_large):
        with pytest.raises(ValidationError):
            model.model_validate(others | {name: value})


def test_steps_that_state_no_patience_have_one() -> None:
    """What the bench does where a step leaves a figure out: common practice, no source."""
    soak = Soak(to_c=60.0)
    assert (soak.at_least_s, soak.at_most_s, soak.rate_k_per_min) == (300.0, 1800.0, 5.0)
    assert (soak.steady_k_per_min, soak.steady_mm_per_min) == (0.03, 0.01)
    assert not soak.at_most_bath_limit
    energise = Energise(element_a=0.5)
    assert (energise.at_least_s, energise.at_most_s, energise.steady_mm_per_min) == (60, 600, 0.02)
    assert not Drive(**DRIVE).cooling
    assert Leg(soak, 60.0).clipped is False


@pytest.mark.parametrize(("text", "most"), [("name", 200), ("label", 80)])
def test_names_and_labels_fit_a_line(text: str, most: int) -> None:
    for length in (most, most + 1):
        words = "x" * length
        stated = {"kind": "hold", "for_s": 1.0, "label": words if text == "label" else ""}
        profile = {"name": words if text == "name" else "night", "step": [stated]}
        if length == most:
            assert Profile.model_validate(profile).step[0].label == stated["label"]
        else:
            with pytest.raises(ValidationError):
                Profile.model_validate(profile)


def test_a_types_name_has_one_to_forty_letters_and_its_threshold_is_a_tenth() -> None:
    assert UnitType.model_validate(WIDE | {"name": "T"}).name == "T"
    assert UnitType.model_validate(WIDE | {"name": "T" * 40}).name == "T" * 40
    for name in ("", "T" * 41):
        with pytest.raises(ValidationError):
            UnitType.model_validate(WIDE | {"name": name})
    assert TEAL_82.threshold_mm == 0.1


def test_a_profile_has_at_most_two_hundred_steps() -> None:
    step = {"kind": "hold", "for_s": 1.0}
    assert len(Profile.model_validate({"name": "n", "step": [step] * 200}).step) == 200
    for count in (0, 201):
        with pytest.raises(ValidationError):
            Profile.model_validate({"name": "n", "step": [step] * count})


def test_what_evaporates_is_the_heat_of_vaporisation() -> None:
    """IAPWS-IF97 at 90 °C: 2283 kJ/kg and 965 kg/m³; 600 W for an hour at 90 °C."""
    steam, water = (IAPWS97(T=363.15, x=x) for x in (1, 0))
    kilograms = 600.0 * 3600.0 / (steam.h - water.h) / 1000.0
    model = BathModel(
        heat_capacity_j_per_k=30_000, loss_w_per_k=0, evaporation_w_at_90c=600, heater_w=1500,
        dead_time_s=0, heater_lag_s=0,
    )  # fmt: skip
    found = forecast((Leg(Hold(for_s=3600.0), 90.0),), model, 90.0)
    assert found.evaporated_l == pytest.approx(kilograms / water.rho * 1000.0, rel=0.005)
    assert (found.total_s, found.ready_s) == (3600.0, 3600.0)


def test_a_bath_is_cold_when_it_may_be_opened() -> None:
    """By hand: 100 W/K take a bath of 30 kJ/K from 50 to 45 °C in 300 ln(50 / 45) = 31.6 s."""
    cooled = BathModel(
        heat_capacity_j_per_k=30_000, loss_w_per_k=0, heater_w=1500, dead_time_s=0, heater_lag_s=0,
        cooling_w_per_k=100.0, cooling_in_c=0.0,
    )  # fmt: skip
    hot = forecast((Leg(Hold(for_s=600.0), 50.0),), cooled, 50.0)
    assert hot.cold_s - hot.total_s == pytest.approx(31.6, abs=0.1)
    stays = forecast((Leg(Hold(for_s=600.0), float("nan")),), cooled, 40.0)
    assert (stays.total_s, stays.cold_s) == (600.0, 600.0)


def test_stations_of_a_step_are_one_to_six() -> None:
    for stations in ([1], [6], [1, 6]):
        assert Energise(element_a=0.5, stations=stations).stations == stations
    for stations in ([], [0], [7]):
        with pytest.raises(ValidationError):
            Energise(element_a=0.5, stations=stations)
    assert Hold(for_s=1.0).cycle == 0


@pytest.mark.parametrize(
    ("clock", "now_s", "left_s"),
    [("06:30", 0.0, 23_400.0), ("00:10", 86_000.0, 1000.0), ("12:00", 43_200.0, 0.0)],
)
def test_a_time_of_day_is_the_next_one(clock: str, now_s: float, left_s: float) -> None:
    """A day is 86 400 s: by hand."""
    assert seconds_until(clock, now_s) == left_s

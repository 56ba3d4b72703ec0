"""What a type's file may state of its rework, and where the prices went that it stated once."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from proofbath.description import parse_toml
from proofbath.errors import InputError
from proofbath.proof.effort import Effort
from proofbath.proof.rework_kind import PRICES, Refillable, Sealed, Setting, without_prices
from proofbath.store.kinds import TypeVersion
from proofbath.workshop.intake import TypeFile

TYPE = """
[unit_type]
name = "Teal-82"
nominal_start_to_open_c = 82
full_open_c = 95
full_lift_mm = 8
cap_c = 103
[specification]
unit_type = "Teal-82"
version = 3
[[specification.limit]]
quantity = "start_to_open_c"
nominal = 82
tolerance = 2
threshold_mm = 0.1
[rework]
kind = "refillable"
"""


@pytest.mark.parametrize(
    ("model", "name", "inside", "outside"),
    [
        (Refillable, "openings", (1, 20), (0, 21)),
        (Refillable, "pin_mm", (1.0, 15.0), (0.9, 15.1)),
        (Refillable, "step_mg", (0.01, 20.0), (0.0, 20.1)),
        (Refillable, "dosing_sd_mg", (0.0, 20.0), (-0.01, 20.1)),
        (Setting, "step_mm", (0.01, 2.0), (0.0, 2.01)),
        (Setting, "setting_sd_mm", (0.0, 1.0), (-0.01, 1.01)),
    ],
)
def test_what_a_shop_may_state(
    model: Any, name: str, inside: tuple[float, ...], outside: tuple[float, ...]
) -> None:
    for value in inside:
        assert getattr(model(**{name: value}), name) == value
    for value in outside:
        with pytest.raises(ValidationError):
            model(**{name: value})


@pytest.mark.parametrize("name", PRICES)
def test_a_file_that_still_states_a_price_is_told_where_it_went(name: str) -> None:
    assert parse_toml(TYPE, TypeFile, "teal_82.toml").rework == Refillable()
    with pytest.raises(InputError) as told:
        parse_toml(f"{TYPE}{name} = 3\n", TypeFile, "teal_82.toml")
    (fault,) = told.value.faults
    assert fault.startswith(f"teal_82.toml: rework: {name}: what rework takes stands under")
    assert "[effort] of the workshop's file now, in minutes" in fault


@pytest.mark.parametrize("kind", [Refillable(), Setting(), Sealed()])
def test_what_was_frozen_with_prices_is_read_without(kind: Refillable | Setting | Sealed) -> None:
    file = parse_toml(TYPE, TypeFile, "teal_82.toml")
    version = TypeVersion.of(file.unit_type, file.specification, kind)
    frozen = version.model_dump(mode="json")
    frozen["rework_kind"] |= {"parts_cost": 4.0, "give_up_cost": 45.0, "cap_k": 4.0}
    assert TypeVersion.model_validate(frozen) == version
    assert without_prices(None) is None


def test_the_shops_efforts_are_in_minutes() -> None:
    assert {name for name in Effort.model_fields if not name.endswith("_min")} == {"most_rounds"}

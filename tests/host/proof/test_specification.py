"""A specification says enough, is frozen by its content, and compares like with like only."""

from __future__ import annotations

import math

import pytest

from host.proof.stated import changed, stated
from proofbath.curve.budget import Contribution
from proofbath.curve.result import known, unknown
from proofbath.description import parse_toml
from proofbath.errors import InputError
from proofbath.proof.specification import Limit, Specification, check_frozen, check_successor
from proofbath.quantity.quantity import Quantity

TEXT = """
unit_type = "Heron-103"
version = 2
rule = "iso_14253_1"

[[limit]]
quantity = "unpowered_start_to_open_c"
nominal = 103.0
tolerance = 2.0
threshold_mm = 0.1

[[limit]]
quantity = "powered_lift_mm"
lower = 7.0
nominal = 8.0
element_a = 0.8
bath_c = 95.0

[[limit]]
quantity = "hysteresis_k"
upper = 6.0
largest_u = 1.0
threshold_mm = 4.0
"""
START = Limit(quantity="start_to_open_c", nominal=82.0, tolerance=2.0, threshold_mm=0.1)
LIKE = stated("start_to_open_c", 82.3, 0.2, 0.4, dof=30.0, rate="zero", threshold_mm=0.1)


def test_a_description_in_toml_becomes_limits() -> None:
    spec = parse_toml(TEXT, Specification, "heron_103.toml")
    start, lift, hysteresis = spec.limit
    assert start.bounds == (101.0, 105.0)
    assert start.judged_with_u == 1.0
    assert start.form() == "unpowered_start_to_open_c at 0.1 mm at zero rate by extrapolation"
    assert lift.bounds == (7.0, None)
    assert lift.judged_with_u == 0.5
    assert lift.form() == "powered_lift_mm by reading at 0.8 A in a bath of 95 °C"
    assert hysteresis.bounds == (None, 6.0)
    assert spec.of("hysteresis_k") == (hysteresis,)


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ({"nominal": 82.0}, "state nominal and tolerance"),
        ({"tolerance": 2.0}, "goes with nominal"),
        ({"nominal": 82.0, "tolerance": 2.0, "upper": 84.0}, "goes with nominal"),
        ({"lower": 84.0, "upper": 80.0}, "must lie below"),
        ({"nominal": 90.0, "lower": 80.0, "upper": 84.0}, "inside its limits"),
        ({"upper": 84.0}, "largest_u"),
        ({"upper": 84.0, "nominal": 84.0}, "largest_u"),
    ],
)
def test_a_limit_that_says_too_little_or_contradicts_itself_is_refused(
    stated: dict[str, float], said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        Limit.model_validate({"quantity": "start_to_open_c", "threshold_mm": 0.1} | stated)


def test_a_temperature_without_its_threshold_is_refused() -> None:
    with pytest.raises(ValueError, match="needs threshold_mm"):
        Limit(quantity="closing_c", nominal=78.0, tolerance=2.0)


def test_the_same_form_must_not_be_limited_twice() -> None:
    with pytest.raises(ValueError, match="limited twice"):
        Specification(unit_type="Teal-82", version=1, limit=(START, START))


def test_like_compares_with_like() -> None:
    assert START.unlike(LIKE) is None


@pytest.mark.parametrize(
    ("other", "said"),
    [
        ({"name": "closing_c"}, "the result is closing_c"),
        ({"threshold_mm": 0.05}, "threshold of the result 0.05 mm, of the limit 0.1 mm"),
        ({"threshold_mm": None}, "threshold of the result none"),
        ({"rate": 1.0}, "rate 1.0"),
        ({"rate": None}, "rate None"),
        ({"estimator": "line"}, "by line"),
        ({"element_a": 0.5}, "element current of the result 0.5 A, of the limit none"),
    ],
)
def test_another_form_is_refused_with_its_reason(other: dict[str, object], said: str) -> None:
    said_now = START.unlike(changed(LIKE, **other))
    assert said_now is not None
    assert said in said_now


def test_a_stated_rate_and_power_match_within_what_a_bench_holds() -> None:
    limit = START.model_copy(update={"rate": 1.0, "element_a": 0.8, "bath_c": 70.0})
    result = changed(LIKE, rate=0.95, element_a=0.805, bath_c=70.3)
    assert limit.unlike(result) is None
    assert "rate" in str(limit.unlike(changed(result, rate=0.85)))
    assert "current" in str(limit.unlike(changed(result, element_a=0.82)))
    assert "bath" in str(limit.unlike(changed(result, bath_c=71.0)))
    assert "rate" in str(limit.unlike(changed(result, rate="zero")))


def test_results_arrive_in_their_fixed_json_shape() -> None:
    item = Contribution("bath probe", 0.2, 1.0, 30.0)
    shown = known(82.3, [item], "zero", {"lift_mm": 0.1}).to_json()
    result = Quantity.from_json(shown, "start_to_open_c")
    assert (result.name, result.value) == ("start_to_open_c", 82.3)
    assert result.standard_uncertainty == pytest.approx(0.2)
    assert result.expanded_uncertainty == pytest.approx(0.2 * 2.0423, rel=1e-4)  # GUM table G.2
    assert result.degrees_of_freedom == pytest.approx(30.0)
    assert START.unlike(result) is None
    line = Quantity.from_json(known(82.4, [item], "zero").to_json(), "start_by_line_c")
    assert (line.name, line.estimator) == ("start_to_open_c", "line")
    endless = Quantity.from_json(known(8.1, [Contribution("g", 0.1)]).to_json(), "full_lift_mm")
    assert endless.degrees_of_freedom == math.inf
    null = Quantity.from_json(unknown("no falling branch").to_json(), "closing_c")
    assert (null.value, null.reason) == (None, "no falling branch")


def test_a_batch_is_frozen_to_what_the_specification_states() -> None:
    spec = Specification(unit_type="Teal-82", version=1, limit=(START,))
    same = Specification.model_validate(spec.model_dump())
    check_frozen(same, spec.fingerprint())
    wider = START.model_copy(update={"tolerance": 2.5})
    changed = Specification(unit_type="Teal-82", version=1, limit=(wider,))
    with pytest.raises(InputError, match="differs from the one frozen"):
        check_frozen(changed, spec.fingerprint())
    with pytest.raises(InputError, match="raise the version"):
        check_successor(changed, spec)
    check_successor(changed.model_copy(update={"version": 2}), spec)
    with pytest.raises(InputError, match="cannot follow"):
        check_successor(changed.model_copy(update={"unit_type": "Wigeon-90"}), spec)

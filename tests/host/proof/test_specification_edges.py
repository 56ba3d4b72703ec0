"""How far a result's form may be from its limit's, and what a limit may state, at the edges."""

from __future__ import annotations

import hashlib
import math

import pytest
from pydantic import ValidationError

from host.proof.stated import changed, stated
from proofbath.curve.budget import Contribution
from proofbath.curve.result import known
from proofbath.proof.specification import Limit, Specification
from proofbath.quantity.quantity import Quantity

START = Limit(quantity="start_to_open_c", nominal=82.0, tolerance=2.0, threshold_mm=0.1)
AT_RATE = START.model_copy(update={"rate": 2.0, "element_a": 0.8, "bath_c": 70.0})
LIKE = changed(
    stated("start_to_open_c", 82.3, 0.2, 0.4, dof=30.0, rate=2.0, threshold_mm=0.1),
    element_a=0.8,
    bath_c=70.0,
)


@pytest.mark.parametrize(
    ("name", "alike", "unlike"),
    [
        ("rate", (1.81, 2.19), (1.79, 2.21)),
        ("element_a", (0.7901, 0.8099), (0.7899, 0.8101)),
        ("bath_c", (69.51, 70.49, 69.5, 70.5), (69.49, 70.51)),
        ("threshold_mm", (0.1 - 9.5e-7, 0.1 + 9.5e-7), (0.1 - 1.05e-6, 0.1 + 1.05e-6)),
    ],
)
def test_a_form_matches_to_its_last_digit(
    name: str, alike: tuple[float, ...], unlike: tuple[float, ...]
) -> None:
    """By hand: a tenth of 2 K/min, 0.01 A, 0.5 K, a nanometre.

    A lag of 25 s at 1 K/min is 25/60 K; a tenth of it is 0.04 K, less than a bench's U.
    """
    assert pytest.approx(0.042, abs=1e-3) == 25 / 60 / 10
    for value in alike:
        assert AT_RATE.unlike(changed(LIKE, **{name: value})) is None
    for value in unlike:
        assert AT_RATE.unlike(changed(LIKE, **{name: value})) is not None


@pytest.mark.parametrize(
    ("name", "inside", "outside"),
    [
        ("tolerance", (0.001, 50.0), (0.0, -1.0)),
        ("largest_u", (0.001, 50.0), (0.0, -1.0)),
        ("threshold_mm", (0.001, 20.0), (0.0, 20.01)),
        ("rate", (0.001, 20.0), (0.0, 20.01)),
        ("element_a", (0.0, 2.0), (-0.01, 2.01)),
        ("bath_c", (0.0, 130.0), (-0.01, 130.01)),
    ],
)
def test_what_a_limit_may_state_ends_where_the_bench_ends(
    name: str, inside: tuple[float, ...], outside: tuple[float, ...]
) -> None:
    """The gauge's 20 mm, an element's 2 A, a bath below 130 °C: the bench's ranges."""
    stated = START.model_dump(exclude_none=True)
    for value in inside:
        assert getattr(Limit.model_validate(stated | {name: value}), name) == value
    for value in outside:
        with pytest.raises(ValidationError):
            Limit.model_validate(stated | {name: value})


@pytest.mark.parametrize(
    ("limit", "u"),
    [
        (START, 1.0),
        (Limit(quantity="full_lift_mm", lower=8.0, upper=9.0), 0.25),
        (Limit(quantity="full_lift_mm", lower=8.0, nominal=9.0), 0.5),
        (Limit(quantity="full_lift_mm", upper=10.0, nominal=9.0), 0.5),
        (Limit(quantity="full_lift_mm", lower=8.0, upper=9.0, largest_u=0.125), 0.125),
    ],
)
def test_a_result_may_be_uncertain_by_half_the_tolerance(limit: Limit, u: float) -> None:
    """By hand: the tolerance is half of what lies between two limits, or nominal to limit."""
    assert limit.judged_with_u == u


def test_names_of_a_specification_have_one_to_forty_letters_and_versions_begin_at_one() -> None:
    for name, ok in (("", False), ("T", True), ("T" * 40, True), ("T" * 41, False)):
        if ok:
            assert Specification(unit_type=name, version=1, limit=(START,)).unit_type == name
            continue
        with pytest.raises(ValidationError):
            Specification(unit_type=name, version=1, limit=(START,))
    with pytest.raises(ValidationError):
        Specification(unit_type="Teal-82", version=0, limit=(START,))
    with pytest.raises(ValidationError):
        Specification(unit_type="Teal-82", version=1, limit=())


def test_a_form_is_said_as_a_person_reads_it() -> None:
    assert START.called() == "Start-to-open, rising, at 0.1 mm at zero rate"
    assert AT_RATE.called() == (
        "Start-to-open, rising, at 0.1 mm at 2 K/min at 0.8 A in a bath of 70 °C"
    )
    line = START.model_copy(update={"estimator": "line"})
    assert line.called() == "Start-to-open, rising, at 0.1 mm at zero rate by line"
    own = Limit(quantity="weep_hole_mm", upper=1.0, largest_u=0.1)
    assert own.called() == "Weep hole mm"


def test_a_fingerprint_is_of_what_was_stated_alone() -> None:
    """SHA-256 of the stated fields: a field that a later version adds changes no batch's limits."""
    spec = Specification(unit_type="Teal-82", version=3, limit=(START,))
    stated = (
        '{"unit_type":"Teal-82","version":3,"limit":[{"quantity":"start_to_open_c",'
        '"nominal":82.0,"tolerance":2.0,"threshold_mm":0.1}]}'
    )
    assert spec.fingerprint() == hashlib.sha256(stated.encode()).hexdigest()


def test_current_and_bath_of_a_result_are_taken_over() -> None:
    at = {"lift_mm": 0.1, "element_a": 0.8, "bath_c": 95.0}
    shown = known(8.1, [Contribution("gauge", 0.1)], None, at).to_json()
    found = Quantity.from_json(shown, "powered_lift_mm")
    assert (found.threshold_mm, found.element_a, found.bath_c) == (0.1, 0.8, 95.0)
    assert found.degrees_of_freedom == math.inf


@pytest.mark.parametrize("lift_mm", [0.5, 2.0, 12.0])
def test_an_opening_is_limited_at_a_level_of_the_curve(lift_mm: float) -> None:
    made = {"quantity": "opening_at_lift_c", "nominal": 88.0, "tolerance": 2.0}
    assert Limit.model_validate(made | {"threshold_mm": lift_mm}).stated_estimator == "crossing"


@pytest.mark.parametrize("lift_mm", [0.1, 2.01, 4.5, 13.0])
def test_an_opening_between_the_levels_is_refused(lift_mm: float) -> None:
    made = {"quantity": "opening_at_lift_c", "nominal": 88.0, "tolerance": 2.0}
    with pytest.raises(ValidationError, match="is measured at"):
        Limit.model_validate(made | {"threshold_mm": lift_mm})

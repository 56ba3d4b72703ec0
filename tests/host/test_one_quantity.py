"""One class carries a measured value with its uncertainty; its codec keeps records as they are."""

from __future__ import annotations

import ast
import json
import math
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

import proofbath
from proofbath.curve.content import ResultContent
from proofbath.curve.result import CurveResult, CycleResult, Warned, known, unknown
from proofbath.errors import RecordError
from proofbath.quantity.quantity import Contribution, Quantity
from proofbath.store.schema import canonical

HOST = Path(proofbath.__file__).parent
UNCERTAINTY = re.compile(r"(standard|expanded)_u(ncertainty)?(_|$)")
PAYLOADS = frozenset(("web/mqtt_payloads.py", "web/api_shapes.py", "workshop/value_shapes.py"))
"""Modules that only say in which JSON shape programs are told of a value."""
OTHERWISE = {
    ("quantity/quantity.py", "Contribution"): "a line of a budget: it has no value of its own",
    ("curve/budget.py", "Combined"): "what a budget comes to, before it belongs to a value",
    ("certificate/evidence.py", "MetOpening"): "a point of a signed document's picture",
    ("certificate/agreement.py", "Change"): "a signed document's difference of two quantities",
    ("curve/hand_instruments.py", "Usual"): "what a kind of instrument is usually good to",
    ("curve/hand_instruments.py", "Thermometer"): "what an instrument's certificate states",
    ("curve/hand_instruments.py", "LiftTool"): "what an instrument's certificate states",
    ("curve/hand_instruments.py", "Heater"): "what a meter's certificate states",
    ("bench/calibration_content.py", "Instrument"): "what a reference's certificate states",
    ("control/identify.py", "Identified"): "coefficients of a bath with those of their fit",
    ("bench/tuned.py", "Tuned"): "coefficients of a bath with those of their fit",
    ("proof/engine_offset.py", "Target"): "where to aim, which nobody measured",
}


def carriers() -> Iterator[tuple[str, str]]:
    """Each class of the host with a field that is named as an uncertainty."""
    for path in sorted(HOST.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                fields = [
                    part.target.id
                    for part in node.body
                    if isinstance(part, ast.AnnAssign) and isinstance(part.target, ast.Name)
                ]
                if any(UNCERTAINTY.search(name) for name in fields):
                    yield path.relative_to(HOST).as_posix(), node.name


def test_one_class_carries_a_value_with_its_uncertainty() -> None:
    found = {one for one in carriers() if one[0] not in PAYLOADS}
    assert found - OTHERWISE.keys() == {("quantity/quantity.py", "Quantity")}
    assert OTHERWISE.keys() <= found, "a class that is gone stands in the list"


def test_no_value_is_read_from_a_record_without_its_type() -> None:
    """`["start_to_open_c"]["value"]` and the like: the type checker cannot see a wrong name."""
    untyped = re.compile(r"""(\[|get\()["'](value|standard_uncertainty|expanded_uncertainty)["']""")
    found = {
        path.relative_to(HOST).as_posix()
        for path in HOST.rglob("*.py")
        if untyped.search(path.read_text(encoding="utf-8"))
    }
    assert found == SHOWN.keys()


SHOWN = {
    "web/shop_words.py": "a page shows a signed document as it stands",
    "cli/curve_tables.py": "a table of a model's coefficients",
    "certificate/view.py": "strings of a result for a printed page",
    "certificate/batch_view.py": "strings of a result for a printed page",
    "certificate/then_and_now_view.py": "strings of a result for a printed page",
    "certificate/label.py": "strings of a result for a label",
}
"""Modules that take a value's text out of what a page is made of."""
FINITE = st.floats(-1e6, 1e6)
ABOVE_ZERO = st.floats(1e-6, 1e6)
LINES = st.builds(
    Contribution,
    st.text(min_size=1),
    st.none() | ABOVE_ZERO,
    FINITE,
    ABOVE_ZERO | st.just(math.inf),
    st.sampled_from(("A", "B")),
    st.text(),
)


@given(FINITE, st.lists(LINES, min_size=1), st.sampled_from(("zero", 0.5, None)))
def test_what_a_record_says_of_a_value_is_written_again_byte_for_byte(
    value: float, lines: list[Contribution], rate: float | None
) -> None:
    kept = canonical(known(value, lines, rate, {"lift_mm": 0.1, "power_w": 7.5}).to_json())
    read = Quantity.from_json(json.loads(kept), "start_to_open_c")
    assert canonical(read.to_json()) == kept
    assert (read.unit, read.estimator, read.threshold_mm) == ("°C", "crossing", 0.1)


def test_a_row_of_a_record_reads_as_it_stands() -> None:
    """Written by hand as rows of schema 2 hold it: null for infinitely many, a line not counted."""
    row = (
        '{"at":{"lift_mm":0.1},"budget":[{"contribution":0.05,"degrees_of_freedom":null,'
        '"evaluation":"B","name":"bath probe","note":"","sensitivity":1.0,'
        '"standard_uncertainty":0.05},{"contribution":null,"degrees_of_freedom":null,'
        '"evaluation":"not supplied","name":"coolant share","note":"","sensitivity":1.0,'
        '"standard_uncertainty":null}],"coverage_factor":1.96,"degrees_of_freedom":null,'
        '"expanded_uncertainty":0.098,"rate":"zero","reason":null,"standard_uncertainty":0.05,'
        '"value":82.25}'
    )
    read = Quantity.from_json(json.loads(row), "start_to_open_c")
    assert (read.value, read.expanded_uncertainty) == (82.25, 0.098)
    assert read.degrees_of_freedom == math.inf
    assert not read.contributions[1].is_supplied
    assert read.u_of(("bath probe",)) == 0.05
    assert read.u_without(("bath probe",)) == 0.0
    assert canonical(read.to_json()) == row


@pytest.mark.parametrize(
    "broken",
    [
        {"value": "82.3"},
        {"degrees_of_freedom": "many"},
        {"rate": "slow"},
        {"budget": [{"name": "probe"}]},
        {"half_width": 0.2},
    ],
)
def test_a_broken_value_is_refused_by_its_name(broken: dict[str, object]) -> None:
    shown = known(82.3, [Contribution("probe", 0.1)], "zero").to_json() | broken
    with pytest.raises(RecordError, match="full_open_c: is no measured value"):
        Quantity.from_json(shown, "full_open_c")


def test_a_results_content_is_written_again_as_it_was_read() -> None:
    cycle = CycleResult(0.0, 82.1, 1.0, None, None, 9.5, None, None, 0.01, None, None, {"x": "y"})
    curve = CurveResult(
        "A1",
        0.1,
        {
            "start_to_open_c": known(82.3, [Contribution("probe", 0.1)], "zero", {"lift_mm": 0.1}),
            "start_by_line_c": unknown("no straight part"),
        },
        {"hysteresis_at_k": (known(3.0, [Contribution("lag", 0.1)]),), "lift_at_mm": ()},
        (cycle,),
        (Warned("gaps", "samples are missing"),),
    )
    kept = canonical(ResultContent(curve, (0.02,), "plain", "proofbath 1", "Teal-82").to_json())
    read = ResultContent.from_json(json.loads(kept))
    assert canonical(read.to_json()) == kept
    names = [(one.name, one.estimator) for one in read.each()]
    line, crossing = ("start_to_open_c", "line"), ("start_to_open_c", "crossing")
    assert names == [("hysteresis_at_k", "reading"), line, crossing]

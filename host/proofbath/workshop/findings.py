"""What results on record say, as documents print it: as a limit asks for it, and beside it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from proofbath.certificate.results import Result, result_of
from proofbath.proof.decision import Decision
from proofbath.proof.measured import Measured
from proofbath.proof.verdict import Verdict

Content = Mapping[str, Any]
USUAL = (
    "start_to_open_c",
    "unpowered_start_to_open_c",
    "shift_k_per_w",
    "full_open_c",
    "full_lift_mm",
    "closing_c",
    "hysteresis_k",
    "zero_return_mm",
    "heater_ohm",
)
"""What a customer is told of every unit, limited or not."""


def shown_in(content: Content) -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Yield each quantity of an analysis under its name, one by one where there are several."""
    for name, item in content.items():
        for shown in item if isinstance(item, list) else [item]:
            if isinstance(shown, Mapping) and "standard_uncertainty" in shown and "budget" in shown:
                yield name, shown


def results_as_left(content: Content, verdict: Verdict) -> tuple[Result, ...]:
    """Return what a certificate states: what was judged, in order, then the rest of the usual.

    A quantity judged at a rate is stated at zero rate too where that was found.  Raises
    ValueError where a judged value is not in the analysis.
    """
    judged = [_judged(content, decision) for decision in verdict.decisions]
    forms = {form_of(result) for result in judged}
    return (*judged, *(r for r in usual_results(content) if form_of(r) not in forms))


def usual_results(content: Content) -> tuple[Result, ...]:
    """Return the quantities of every unit that have a value, unjudged."""
    return tuple(
        result_of(name, shown)
        for name, shown in shown_in(content)
        if name in USUAL and not isinstance(content[name], list) and shown["value"] is not None
    )


def form_of(result: Result) -> tuple[object, ...]:
    """Return what a result is a value of, and the form it holds in."""
    return (
        result.quantity,
        result.rate,
        result.threshold_mm,
        result.element_a,
        result.bath_c,
        result.after_s,
        result.estimator,
    )


def results_like(content: Content, verdict: Verdict) -> tuple[Result, ...]:
    """Return the values of an earlier analysis in the forms of a verdict's limits, unjudged."""
    found = []
    for decision in verdict.decisions:
        for name, shown in shown_in(content):
            measured = Measured.from_result(name, shown)
            if decision.limit.unlike(measured) is None and measured.value is not None:
                found.append(result_of(name, shown))
                break
    return tuple(found)


def warnings_in(content: Content) -> tuple[str, ...]:
    """Return the sentences of warning that an analysis gave."""
    return tuple(str(item["text"]) for item in content.get("warnings", ()))


def _judged(content: Content, decision: Decision) -> Result:
    for name, shown in shown_in(content):
        if Measured.from_result(name, shown) == decision.measured:
            return result_of(name, shown, decision)
    raise ValueError(f"{decision.limit.form()}: {decision.outcome.value}: {decision.reason}")

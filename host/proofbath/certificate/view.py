"""A certificate's content as the strings its pages show: formatting only, nothing decided."""

from __future__ import annotations

from proofbath.certificate.content import Certificate, Replaces
from proofbath.certificate.current_plot import currents_view
from proofbath.certificate.evidence import Calibration, Conditions, ReferenceUnit, Stage
from proofbath.certificate.plot import plot_view
from proofbath.certificate.result_view import Strings, in_its_form, result_view
from proofbath.certificate.results import BudgetLine, Result
from proofbath.certificate.words import (
    NOTHING,
    day,
    days,
    decimals_of,
    fixed,
    short_day,
    whole_freedom,
)
from proofbath.proof.verdict import chance_in

NO_BREAK = "\N{NO-BREAK SPACE}"


def certificate_view(content: Certificate) -> Strings:
    """Return what the certificate's pages print."""
    dates, judged = content.dates, [r for r in content.results if r.judgement]
    return {
        "title": content.title,
        "number": content.number,
        "simulated": content.simulated,
        "powered_curve": content.powered_curve,
        "issued": day(dates.issued),
        "workshop": content.workshop.model_dump(),
        "customer": content.customer.model_dump(),
        "unit": content.unit.model_dump(),
        "received": day(dates.received),
        "measured": days(dates.measured_from, dates.measured_to),
        "outcome": content.conformity.outcome.value.upper(),
        "conformity": content.conformity.model_dump(mode="json"),
        "chance": _sentence(chance_in(content.conformity.statement, content.conformity.outcome)),
        "applies": "; ".join(in_its_form(result) for result in judged),
        "results": [result_view(result) for result in content.results],
        "currents": currents_view(content.at_currents),
        "plot": plot_view(content.curve, content.results),
        "history": [_stage(stage) for stage in content.history],
        "method": content.method.model_dump(),
        "conditions": _conditions(content.conditions),
        "calibrations": [_calibration(item) for item in content.calibrations],
        "reference": reference_view(content.reference_unit),
        "budget": _budget(judged[0]),
        "notes": _notes(content),
        "measured_by": content.measured_by.model_dump(),
        "authorised_by": content.authorised_by.model_dump(),
        "replaces": _replaces(content.replaces),
        "statements": content.statements,
    }


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:]}."


def _stage(stage: Stage) -> Strings:
    values = [_value_in_words(result) for result in stage.results]
    return {
        "stage": stage.stage,
        "date": short_day(stage.date),
        "text": stage.text,
        "run": stage.run or NOTHING,
        "values": values,
    }


def _value_in_words(result: Result) -> str:
    """Return a value with its name; what belongs to the number stays on its line."""
    shown = result_view(result)
    u = f" ± {shown['u']} {shown['unit']}" if shown["u"] else ""
    return f"{_called(result)} {shown['value']}{u.replace(' ', NO_BREAK)}"


def _called(result: Result) -> str:
    """Name a value; one at a current with where it was met, for there may be several."""
    stated = result.stated
    if stated.element_a is None:
        return result.words
    bath = "" if stated.bath_c is None else f", {fixed(stated.bath_c, 1)} °C"
    return f"{result.words} ({fixed(stated.element_a, 2)} A{bath})"


def _conditions(conditions: Conditions) -> list[list[str]]:
    rows = [
        ["Place", conditions.place],
        ["Bench and station", f"{conditions.bench}, station {conditions.station}"],
        ["Coolant", conditions.coolant],
        ["Station pressure", f"{fixed(conditions.station_pressure_kpa, 1)} kPa"],
        ["Profile", conditions.profile],
    ]
    if conditions.room_c is not None:
        rows.insert(4, ["Room", f"{fixed(conditions.room_c, 0)} °C"])
    return rows


def _calibration(item: Calibration) -> Strings:
    dates = {"calibrated": short_day(item.calibrated), "due": short_day(item.due)}
    return {**item.model_dump(mode="json"), **dates}


def reference_view(unit: ReferenceUnit) -> Strings:
    """Return the reference unit's value on its chart, and the state of both charts."""
    return {
        "serial": unit.serial,
        "value": f"{fixed(unit.value_c, 2)} °C",
        "centre": centre_in_words(unit.centre_c, unit.limit_k),
        "chart": unit.chart,
        "probes": unit.probes,
        "sees": unit.sees,
    }


def centre_in_words(centre_c: float, limit_k: float | None) -> str:
    """Return the centre of a reference unit's chart with its limits."""
    if limit_k is None:
        return f"{fixed(centre_c, 2)} °C, set by this first run"
    return f"{fixed(centre_c, 2)} ± {fixed(limit_k, 2)} °C"


def _budget(result: Result) -> Strings:
    u = result.stated.standard_uncertainty
    decimals = decimals_of(u or 0.01) + 1
    lines = [_budget_line(line, decimals) for line in result.budget]
    combined = fixed(u or 0.0, decimals)
    return {"of": result.words, "unit": result.stated.unit, "lines": lines, "combined": combined}


def _budget_line(line: BudgetLine, decimals: int) -> Strings:
    counted = line.contribution is not None
    return {
        "name": line.name,
        "evaluation": line.evaluation,
        "contribution": fixed(line.contribution or 0.0, decimals) if counted else NOTHING,
        "freedom": whole_freedom(line.degrees_of_freedom) if counted else NOTHING,
        "note": line.note,
    }


def _notes(content: Certificate) -> list[tuple[str, tuple[str, ...]]]:
    """Return remarks, customer's data and others' results; each said even where there is none."""
    return [
        ("Remarks", content.remarks or ("none",)),
        ("From the customer, not checked", content.supplied_by_customer or ("nothing",)),
        ("Results from others", content.from_others or ("none",)),
    ]


def _replaces(replaces: Replaces | None) -> Strings | None:
    return replaces.model_dump() if replaces else None

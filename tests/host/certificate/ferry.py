"""A river-ferry workshop's documents for the tests; people, places and figures are invented."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np

from proofbath.certificate.agreement import change_of
from proofbath.certificate.batch import BatchRow, BatchSummary, Night
from proofbath.certificate.conformity import conformity_of, limit_in_words
from proofbath.certificate.content import Certificate, Dates
from proofbath.certificate.evidence import (
    Branch,
    Calibration,
    Conditions,
    Method,
    ReferenceUnit,
    Stage,
)
from proofbath.certificate.parties import Customer, Person, Unit, Workshop
from proofbath.certificate.results import Result, result_of
from proofbath.certificate.then_and_now import Measurement, ThenAndNow
from proofbath.certificate.withdrawal import Withdrawal
from proofbath.curve.budget import Contribution
from proofbath.curve.result import Quantity, known, unknown
from proofbath.proof.specification import Limit, Rule, Specification
from proofbath.proof.verdict import Agreement, Verdict, judge
from proofbath.quantity.quantity import Rate

WORKSHOP = Workshop(
    name="Ferry Workshop Lower Ness",
    address=("Slipway 3", "Lower Ness"),
    contact="certificates@lower-ness.example, +00 555 0182",
)
CUSTOMER = Customer(
    name="Ness River Ferries",
    address=("Pier House", "Upper Ness"),
    contact="Engineering stores",
)
TEAL_82 = Specification(
    unit_type="Teal-82",
    version=3,
    limit=(
        Limit(quantity="start_to_open_c", nominal=82.0, tolerance=2.0, threshold_mm=0.1),
        Limit(quantity="full_lift_mm", nominal=9.2, lower=8.0),
        Limit(quantity="hysteresis_k", nominal=3.0, upper=6.0, threshold_mm=1.0),
    ),
)
REFERENCE = ReferenceUnit(
    serial="T82-REF",
    value_c=82.41,
    centre_c=82.36,
    limit_k=0.54,
    chart="in control, limits provisional",
    probes="in control",
    sees="A lasting shift of 0.3 K would be seen in 1 night of 8, on average within 7 nights.",
)
CALIBRATIONS = (
    Calibration(
        item="Bath probe P1",
        reference="Reference thermometer T7, certificate K-2291",
        uncertainty="0.05 K",
        calibrated=dt.date(2025, 1, 20),
        due=dt.date(2026, 1, 20),
        by="J. Aldous",
    ),
    Calibration(
        item="Lift gauge, station 2",
        reference="Gauge blocks set B, certificate K-2304",
        uncertainty="0.004 mm",
        calibrated=dt.date(2025, 1, 21),
        due=dt.date(2026, 1, 21),
        by="J. Aldous",
    ),
    Calibration(
        item="Blank, station 2, both directions",
        reference="Invar bar no. 4",
        uncertainty="0.006 mm",
        calibrated=dt.date(2025, 2, 3),
        due=dt.date(2026, 2, 3),
        by="M. Tarn",
    ),
)


def start_to_open(value_c: float, rate: Rate = "zero") -> Quantity:
    """A start-to-open with the budget of an ordinary night, u = 0.163 K."""
    budget = (
        Contribution("bath probe", 0.05, note="calibration of 20 January 2025"),
        Contribution("bath gradient", 0.07, note="six stations compared"),
        Contribution("gauge", 0.004, 2.95, note="crossing at 0.34 mm/K"),
        Contribution("lift zero", 0.006, 2.95, 30.0, "A", "9.8 K of closed curve"),
        Contribution("change between nights", 0.10, note="study of six nights"),
        Contribution(
            "cycle repeatability", 0.12, 0.577, 30.0, "A", "pooled over units of the type"
        ),
        Contribution("lag", 0.86, -0.014, note="two rates"),
        Contribution("coolant share", None),
    )
    return known(value_c, budget, rate, {"lift_mm": 0.1}).named("start_to_open_c")


def quantities(start_c: float = 82.28) -> dict[str, Quantity]:
    """What an analysis hands over for one healthy plain unit."""
    lift = (Contribution("gauge", 0.012), Contribution("repeatability", 0.035, 1.0, 12.0, "A"))
    kelvin = (Contribution("bath gradient", 0.03), Contribution("lag", 0.06))
    found = {
        "start_to_open_c": start_to_open(start_c),
        "full_lift_mm": known(9.358, lift, at={"bath_c": 97.0}),
        "hysteresis_k": known(2.96, kelvin, "zero", {"lift_mm": 1.0}),
        "closing_c": known(start_c - 2.98, kelvin, "zero", {"lift_mm": 0.1}),
        "full_open_c": unknown("no rated lift is specified for this type"),
    }
    return {name: quantity.named(name) for name, quantity in found.items()}


def verdict_of(found: dict[str, Quantity], specification: Specification = TEAL_82) -> Verdict:
    """Judge an analysis by a specification, through the fixed JSON shape."""
    measured = [Quantity.from_json(q.to_json(), name) for name, q in found.items()]
    return judge(specification, measured)


def results_of(found: dict[str, Quantity], verdict: Verdict) -> tuple[Result, ...]:
    """The certificate's results of an analysis, each with its judgement."""
    decisions = {d.limit.quantity: d for d in verdict.decisions}
    return tuple(result_of(q, decisions.get(n)) for n, q in found.items())


def curve(start_c: float = 82.28, cycles: int = 2) -> tuple[Branch, ...]:
    """Rising and falling passes of a made-up smooth curve."""
    bath_c = np.linspace(start_c - 5.0, start_c + 15.0, 150)

    def lift_mm(opens_c: float) -> np.ndarray:
        over_k = np.clip(bath_c - opens_c, 0.0, None)
        return 9.5 * (1.0 - np.exp(-((over_k / 9.0) ** 1.6)))

    passes = []
    for cycle in range(cycles):
        up, down = lift_mm(start_c - 0.4 + 0.1 * cycle), lift_mm(start_c - 3.3 + 0.1 * cycle)
        for rising, lift, c in ((True, up, bath_c), (False, down[::-1], bath_c[::-1])):
            shown = np.round(c, 3).tolist(), np.round(lift, 4).tolist()
            passes.append(Branch(rising=rising, bath_c=tuple(shown[0]), lift_mm=tuple(shown[1])))
    return tuple(passes)


def certificate(
    number: str = "LN-2025-0042", serial: str = "T82-0312", start_c: float = 82.28, **other: Any
) -> Certificate:
    """A whole certificate of a plain unit; `other` replaces fields."""
    found = quantities(start_c)
    verdict = verdict_of(found)
    rule: Rule = verdict.specification.rule
    agreement = Agreement("Ness River Ferries", "letter of 2 April 2025")
    found_c = start_to_open(start_c + 3.1)
    fields: dict[str, Any] = {
        "number": number,
        "workshop": WORKSHOP,
        "customer": CUSTOMER,
        "unit": Unit(
            description="Coolant thermostat, wax element, auxiliary diesel",
            unit_type="Teal-82",
            serial=serial,
            condition="Lime on the flange, seal hardened, no leak of wax, vent pin free",
            customer_mark="AUX 2 port",
        ),
        "dates": Dates(
            received=dt.date(2025, 3, 28),
            measured_from=dt.date(2025, 4, 1),
            measured_to=dt.date(2025, 4, 4),
            issued=dt.date(2025, 4, 7),
        ),
        "method": Method(version="1.0"),
        "conditions": Conditions(
            bench="Bench 1",
            station=2,
            place="At the workshop's own address",
            coolant="water with 40 % propylene glycol by volume, stirred",
            station_pressure_kpa=100.8,
            room_c=19.0,
            profile="soak 12 K below nominal, two cycles at 1 K/min and one at 0.5 K/min to 97 °C",
        ),
        "results": results_of(found, verdict),
        "conformity": conformity_of(verdict, rule, agreement),
        "history": (
            Stage(
                stage="as-found",
                date=dt.date(2025, 4, 1),
                text="As received, not conditioned; first cycle",
                run="2025-04-01-a",
                results=(result_of(found_c),),
            ),
            Stage(
                stage="rework",
                date=dt.date(2025, 4, 3),
                text="Flange descaled, seal renewed, setting turned in by 1.2 mm",
            ),
            Stage(
                stage="as-left",
                date=dt.date(2025, 4, 4),
                text="One conditioning, three recorded cycles",
                run="2025-04-04-a",
                results=(result_of(found["start_to_open_c"]),),
            ),
        ),
        "calibrations": CALIBRATIONS,
        "reference_unit": REFERENCE,
        "curve": curve(start_c),
        "remarks": ("The seal was renewed with the customer's own part",),
        "supplied_by_customer": ("engine and position of the unit",),
        "measured_by": Person(name="M. Tarn", role="bench operator"),
        "authorised_by": Person(name="J. Aldous", role="certifier"),
    }
    return Certificate.model_validate(fields | other)


def withdrawal(sha256: str = "ab" * 32) -> Withdrawal:
    """A withdrawal of that certificate."""
    return Withdrawal(
        number="LN-2025-0051",
        workshop=WORKSHOP,
        customer=CUSTOMER,
        unit_serial="T82-0312",
        withdraws="LN-2025-0042",
        withdraws_sha256=sha256,
        withdraws_issued=dt.date(2025, 4, 7),
        reason="The ice point of bath probe P1 was found 0.14 K off on 5 May 2025",
        what_to_do="Take the unit out at the next stop and send it in to be measured again",
        replaced_by=None,
        issued=dt.date(2025, 5, 6),
        authorised_by=Person(name="J. Aldous", role="certifier"),
    )


def batch_summary() -> BatchSummary:
    """A batch of four: certified, reworked, failed, refused at intake."""

    def start(value_c: float) -> Result:
        return result_of(start_to_open(value_c))

    return BatchSummary(
        number="LN-2025-B7",
        workshop=WORKSHOP,
        customer=CUSTOMER,
        batch="ferry-teal-82-spring",
        unit_type="Teal-82",
        specification_version=3,
        limits=tuple(limit_in_words(limit) for limit in TEAL_82.limit),
        received=dt.date(2025, 3, 28),
        issued=dt.date(2025, 4, 7),
        row=(
            BatchRow(
                serial="T82-0312",
                as_found=start(85.38),
                rework="setting turned in by 1.2 mm",
                as_left=start(82.28),
                outcome="pass",
                certificate="LN-2025-0042",
                curve=curve(82.28, cycles=1),
            ),
            BatchRow(
                serial="T82-0313",
                as_found=start(81.6),
                as_left=start(81.55),
                outcome="pass",
                certificate="LN-2025-0043",
                withdrawn_by="LN-2025-0051",
                curve=curve(81.55, cycles=1),
            ),
            BatchRow(
                serial="T82-0314",
                as_found=start(78.2),
                rework="spring renewed",
                as_left=start(79.1),
                outcome="fail",
                reason="start-to-open below its limit; see the rework advice",
            ),
            BatchRow(
                serial="T82-0315", outcome="refused at intake", reason="wax seeps past the pin"
            ),
        ),
        nights=(
            Night(
                run="run 17",
                date=dt.date(2025, 4, 1),
                bench="Bench 1",
                stage="as-found",
                serial="T82-REF",
                value_c=82.36,
                centre_c=82.36,
                limit_k=None,
                chart="in control, limits provisional",
                probes="in control",
            ),
            Night(
                run="run 19",
                date=dt.date(2025, 4, 4),
                bench="Bench 1",
                stage="as-left",
                serial="T82-REF",
                value_c=82.41,
                centre_c=82.36,
                limit_k=0.54,
                chart="in control, limits provisional",
                probes="in control",
            ),
        ),
        remarks=("Night of 4 April repeated for no unit.",),
        authorised_by=Person(name="J. Aldous", role="certifier"),
    )


def then_and_now(shifted_k: float = 0.9) -> ThenAndNow:
    """A unit that came back after three years, opening later by so much."""
    then, now = start_to_open(82.28), start_to_open(82.28 + shifted_k)
    lift = (Contribution("gauge", 0.012), Contribution("repeatability", 0.035, 1.0, 12.0, "A"))
    lifts = (known(mm, lift).named("full_lift_mm") for mm in (9.36, 9.31))
    changes = (change_of(result_of(a), result_of(b)) for a, b in ((then, now), (*lifts,)))
    return ThenAndNow(
        number="LN-2028-0007",
        workshop=WORKSHOP,
        customer=CUSTOMER,
        unit=certificate().unit,
        then=Measurement(
            stage="as-left",
            date=dt.date(2025, 4, 4),
            batch="ferry-teal-82-spring",
            run="run 19",
            bench="Bench 1",
            station=2,
            certificate="LN-2025-0042",
            curve=curve(82.28),
        ),
        now=Measurement(
            stage="as-found",
            date=dt.date(2028, 2, 8),
            batch="ferry-2028-returns",
            run="run 204",
            bench="Bench 1",
            station=4,
            curve=curve(82.28 + shifted_k),
        ),
        changes=tuple(filter(None, changes)),
        issued=dt.date(2028, 2, 9),
        authorised_by=Person(name="J. Aldous", role="certifier"),
    )

"""What a certificate must hold, and what it refuses to say.

The checklist is ISO/IEC 17025:2017 clause 7.8, items in short words of our own
(tests/data/iso17025_report_checklist.csv; its column `status` tells which items were read in the
standard and which are from memory).
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from dataclasses import replace
from operator import attrgetter
from pathlib import Path
from typing import Any

import pypdf
import pytest
from pydantic import ValidationError

from host.certificate import ferry
from proofbath.certificate.conformity import conformity_of, limit_in_words, rule_in_words
from proofbath.certificate.content import Certificate, Replaces
from proofbath.certificate.evidence import Calibration, Stage
from proofbath.certificate.issue import prepare
from proofbath.certificate.keys import open_key
from proofbath.certificate.parties import Person
from proofbath.certificate.results import judgement_of, result_of
from proofbath.curve.result import unknown
from proofbath.proof.decision import Outcome
from proofbath.proof.specification import Rule
from proofbath.proof.verdict import Agreement

CHECKLIST = Path(__file__).parents[2] / "data" / "iso17025_report_checklist.csv"

FIELDS: dict[str, tuple[str, str]] = {
    "7.8.2.1 a": ("title", "Test certificate"),
    "7.8.2.1 b": ("workshop.address", "Slipway 3, Lower Ness"),
    "7.8.2.1 c": ("conditions.place", "At the workshop's own address"),
    "7.8.2.1 d": ("number", "end of test certificate LN-2025-0042"),
    "7.8.2.1 e": ("customer.address", "Pier House, Upper Ness"),
    "7.8.2.1 f": ("method.name", "proofbath workshop method M1, version 1.0"),
    "7.8.2.1 g": ("unit.condition", "Teal-82, serial T82-0312"),
    "7.8.2.1 h": ("dates.received", "received 28 March 2025"),
    "7.8.2.1 i": ("dates.measured_to", "measured 1 April 2025 to 4 April 2025"),
    "7.8.2.1 j": ("dates.issued", "issued 7 April 2025"),
    "7.8.2.1 l": ("statements", "relate only to the unit named here"),
    "7.8.2.1 m": ("results", "82.28 ± 0.30 °C"),
    "7.8.2.1 n": ("method.deviations", "Deviations from it none"),
    "7.8.2.1 o": ("authorised_by.name", "Authorised by J. Aldous"),
    "7.8.2.1 p": ("from_others", "Results from others none"),
    "7.8.2.1 NOTE": ("statements", "reproduced only in full"),
    "7.8.2.2": (
        "supplied_by_customer",
        "From the customer, not checked engine and position",
    ),
    "7.8.3.1 a": ("conditions.coolant", "40 % propylene glycol"),
    "7.8.3.1 b": ("conformity.outcome", "PASS meets specification Teal-82, version 3"),
    "7.8.3.1 c": ("results", "± 0.079 mm"),
    "7.8.3.1 e": ("remarks", "The seal was renewed with the customer's own part"),
    "7.8.4.1 a": ("results", "± 0.30 °C"),
    "7.8.4.1 b": ("conditions.station_pressure_kpa", "100.8 kPa"),
    "7.8.4.1 c": ("calibrations", "Reference thermometer T7, certificate K-2291"),
    "7.8.4.1 d": ("history", "Start-to-open, rising 85.38 ± 0.30 °C"),
    "7.8.4.1 e": ("conformity.limits", "PASS meets specification Teal-82, version 3"),
    "7.8.6.1": ("conformity.decision_rule", "below 2.5 in 100"),
    "7.8.6.2 a": ("results", "Applies to: Start-to-open, rising (at 0.1 mm lift, zero rate"),
    "7.8.6.2 b": ("conformity.specification", "specification Teal-82, version 3"),
    "7.8.6.2 c": ("conformity.rule", "ILAC-G8:09/2019, guard band w = U"),
    "7.8.8": ("replaces", "Replaces certificate LN-2025-0017"),
}
NOT_APPLICABLE = {
    "7.8.2.1 k": "every unit of a batch is measured; nothing is sampled",
    "7.8.3.1 d": "a certificate holds no opinions; advice goes into the rework record",
    "7.8.4.1 f": "as 7.8.3.1 d",
    "7.8.4.3": "no interval until the next measurement is recommended",
    "7.8.7": "as 7.8.3.1 d",
}
REPLACES = Replaces(
    number="LN-2025-0017",
    sha256="cd" * 32,
    reason="wrong position of the unit stated",
    changes="customer's mark",
)


def clauses() -> list[str]:
    """The clause and item of every row of the checklist."""
    return [row["clause"] for row in csv.DictReader(CHECKLIST.read_text().splitlines())]


@pytest.fixture(scope="module")
def content() -> Certificate:
    return ferry.certificate(replaces=REPLACES)


@pytest.fixture(scope="module")
def paper(content: Certificate, tmp_path_factory: pytest.TempPathFactory) -> str:
    """All words on the pages, in one line."""
    pdf = prepare(content, open_key(tmp_path_factory.mktemp("keys"))).pdf
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    return " ".join(" ".join(pages).replace("’", "'").split())


def test_every_row_of_the_checklist_is_answered_once() -> None:
    assert sorted(clauses()) == sorted([*FIELDS, *NOT_APPLICABLE])


@pytest.mark.parametrize("clause", FIELDS)
def test_a_row_of_the_checklist_is_in_the_content_and_on_paper(
    clause: str, content: Certificate, paper: str
) -> None:
    field, words = FIELDS[clause]
    attrgetter(field)(content)  # raises where the content has no such field
    assert words in paper


def test_the_paper_says_what_it_is_not(paper: str) -> None:
    assert "Neither an accreditation nor conformity to a product standard is claimed" in paper
    assert "no-flow values at delivery" in paper
    assert "nothing is said about service life" in paper
    assert [f"page {number} of 2" in paper for number in (1, 2)] == [True] * 2
    assert "Whether it was withdrawn later no file can tell: ask Ferry Workshop" in paper


def test_the_probability_of_conformity_is_printed(paper: str) -> None:
    # 82.28 in 80..84 with u = 0.15 lies 11 u inside; hysteresis and lift as far
    assert "The chance that the true value lies inside the limits is better than 99 in" in paper


def test_the_acceptance_limits_are_the_limits_less_the_guard_band(paper: str) -> None:
    # ILAC-G8:09/2019 with w = U: 80 + 0.30 and 84 - 0.30
    assert "80 to 84 80.30 to 83.70 pass" in paper


def refusal(**other: Any) -> str:
    with pytest.raises(ValidationError) as caught:
        ferry.certificate(**other)
    return str(caught.value)


def test_an_overdue_calibration_is_refused() -> None:
    overdue = Calibration.model_validate(
        ferry.CALIBRATIONS[0].model_dump() | {"due": dt.date(2025, 4, 3)}
    )
    assert "calibration of Bath probe P1 was due 2025-04-03" in refusal(calibrations=(overdue,))


def test_dates_out_of_order_are_refused() -> None:
    dates = ferry.certificate().dates.model_dump() | {"issued": dt.date(2025, 4, 3)}
    assert "must follow in time" in refusal(dates=dates)


def test_a_history_starts_as_found_and_ends_as_left_after_rework() -> None:
    found, reworked, left = ferry.certificate().history
    assert "must start as-found" in refusal(history=(reworked, left))
    assert "as-left measurement last" in refusal(history=(found, reworked))
    late = Stage.model_validate(found.model_dump() | {"date": dt.date(2025, 4, 6)})
    assert "in order of its dates" in refusal(history=(late, reworked, left))


def test_a_certificate_cannot_replace_itself() -> None:
    own = REPLACES.model_dump() | {"number": "LN-2025-0042"}
    assert "cannot replace itself" in refusal(replaces=own)


@pytest.mark.parametrize("number", ["", "../evil", "a/b", "-x", "n" * 41, "LN 1", "LN\n"])
def test_a_number_that_cannot_name_a_file_is_refused(number: str) -> None:
    assert "number" in refusal(number=number)


@pytest.mark.parametrize("name", ["", "  ", "two\nlines", "tab\there", "bell\x07"])
def test_a_text_that_cannot_be_printed_is_refused(name: str) -> None:
    with pytest.raises(ValidationError):
        Person(name=name, role="certifier")


def test_a_chart_out_of_control_cannot_be_stated() -> None:
    unit = ferry.REFERENCE.model_dump() | {"chart": "out of control"}
    assert "chart" in refusal(reference_unit=unit)


def test_a_conditional_pass_needs_agreement_and_prints_its_probability() -> None:
    verdict = ferry.verdict_of(ferry.quantities(83.8))
    assert verdict.outcome is Outcome.CONDITIONAL_PASS
    with pytest.raises(ValueError, match="recorded agreement"):
        conformity_of(verdict, "guard_band_u")
    agreed = conformity_of(verdict, "guard_band_u", Agreement("Ness River Ferries", "letter"))
    assert agreed.statement.endswith("lies inside the limits is about 90 in 100")


def test_a_failed_unit_gets_no_conformity() -> None:
    verdict = ferry.verdict_of(ferry.quantities(84.9))
    with pytest.raises(ValueError, match="see the rework advice"):
        conformity_of(verdict, "guard_band_u")


def test_a_conformity_that_its_results_do_not_carry_is_refused() -> None:
    doubtful = ferry.quantities(83.8)
    results = ferry.results_of(doubtful, ferry.verdict_of(doubtful))
    assert "start_to_open_c came to conditional pass" in refusal(results=results)
    bare = tuple(r.model_copy(update={"judgement": None}) for r in results)
    assert "judged [], the specification limits" in refusal(results=bare)
    assert "judged ['start_to_open_c" in refusal(results=ferry.certificate().results[:1])


def test_a_unit_is_judged_by_its_own_types_limits() -> None:
    unit = ferry.certificate().unit.model_dump() | {"unit_type": "Heron-103"}
    assert "a Heron-103 is judged by the Teal-82's limits" in refusal(unit=unit)


def test_a_result_judged_at_a_rate_is_stated_at_zero_rate_too() -> None:
    content = ferry.certificate()
    first, *others = content.results
    at_rate = first.model_copy(update={"stated": replace(first.stated, rate=1.0)})
    assert "state it at zero rate too" in refusal(results=(at_rate, *others))
    at_zero = first.model_copy(update={"judgement": None})
    assert ferry.certificate(results=(at_rate, at_zero, *others)).results[0].stated.rate == 1.0


def test_a_null_is_stated_with_its_reason_and_never_judged() -> None:
    nothing = result_of(unknown("never opened").named("start_to_open_c"))
    assert (nothing.stated.value, nothing.reason) == (None, "never opened")
    verdict = ferry.verdict_of({"start_to_open_c": unknown("never opened")})
    with pytest.raises(ValueError, match="unset: never opened"):
        judgement_of(verdict.decisions[0])


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        # tests/data source: ILAC-G8:09/2019 4.2.1 and 4.2.2, ISO 14253-1:2017 (5 %)
        ("guard_band_u", "guard band w = U: a result passes when it lies inside its limits by its"),
        ("guard_band_u", "is below 2.5 in 100"),
        ("iso_14253_1", "by 0.83 times its U"),
        ("iso_14253_1", "is below 5 in 100"),
        ("simple", "can reach 50 in 100"),
    ],
)
def test_a_decision_rule_is_said_in_words(rule: Rule, words: str) -> None:
    assert words in rule_in_words(rule)


def test_a_limit_is_said_in_words() -> None:
    words = [limit_in_words(limit) for limit in ferry.TEAL_82.limit]
    assert words[0] == "Start-to-open, rising, at 0.1 mm at zero rate: 80 to 84 °C"
    assert words[1:] == [
        "Full lift: ≥ 8 mm",
        "Hysteresis, at 1 mm at zero rate: ≤ 6 K",
    ]

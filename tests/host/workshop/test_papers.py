"""Certifying a batch: who gets a certificate, what it says, and what becomes of it later."""

from __future__ import annotations

import datetime as dt
import io
import json
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pypdf
import pytest

from host.certificate import ferry
from host.workshop.papers_fixtures import CONDITIONAL, FAIL, PASS, measured_batch
from host.workshop.raw_shop import (
    BATCH,
    CERTIFIER,
    LEFT_ON,
    OPERATOR,
    REFERENCE,
    TODAY,
    RawUnit,
    at,
    begin_batch,
    gauge,
    raw_night,
)
from proofbath.bench.calibration_content import CheckContent, ProbePoint, RawMean
from proofbath.bench.calibration_record import calibration_entry
from proofbath.certificate.issue import ASIDE, Issued
from proofbath.certificate.keys import rotate_key, trusted_fingerprints
from proofbath.certificate.verify import Outcome, verify
from proofbath.certificate.withdrawal import Withdrawal
from proofbath.errors import InputError, RecordError
from proofbath.store.kinds import Certificate, CertificateState, Document, Findings, Handling, Unit
from proofbath.store.records import Stamp, Writer
from proofbath.workshop.desk import as_document, open_desk
from proofbath.workshop.intake import take_in
from proofbath.workshop.issued import certificates_of, doubts_of
from proofbath.workshop.judging import agree, fail_unit, judge_unit
from proofbath.workshop.papers import Certified, certify, replace, withdraw
from proofbath.workshop.recomputing import recompute_run
from proofbath.workshop.shop import Shop, open_shop

NOW = at(TODAY)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(measured_batch(tmp_path / "shop")) as opened:
        yield opened


def certified(shop: Shop, now: str = NOW, on: dt.date = TODAY) -> dict[str, Certified]:
    return {unit.serial: unit for unit in certify(shop, BATCH, shop.stamp(CERTIFIER, now))}


def document(pdf: Path | None) -> dict[str, Any]:
    """What a document's JSON copy says."""
    assert pdf is not None
    found = json.loads(pdf.with_suffix(".json").read_bytes())["document"]
    assert isinstance(found, dict)
    return found


def words_of(pdf: Path | None) -> str:
    assert pdf is not None
    pages = pypdf.PdfReader(io.BytesIO(pdf.read_bytes())).pages
    assert len(pages) <= 2
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_who_passes_is_certified_and_who_does_not_is_told_why(shop: Shop) -> None:
    units = certified(shop)
    assert [units[serial].number for serial in PASS] == ["LN-2025-0001", "LN-2025-0002"]
    failed, conditional = units[FAIL], units[CONDITIONAL]
    assert (failed.number, conditional.number) == (None, None)
    assert "Start-to-open, rising, at 0.1 mm at zero rate: fail: 85.16 °C" in failed.refusals[0]
    assert conditional.refusals == ("conditional pass: needs the customer's recorded agreement",)
    trusted = trusted_fingerprints(shop.keys)
    for serial in PASS:
        pdf = units[serial].pdf
        assert pdf is not None
        for path in (pdf, pdf.with_suffix(".json")):
            found = verify(path.read_bytes(), trusted)
            assert (found.outcome, found.number) == (Outcome.GENUINE, units[serial].number)
        kept = shop.records.find(Certificate, number=units[serial].number)
        assert kept.entry.sha256 == found.sha256


def test_a_certificate_says_what_is_on_record(shop: Shop) -> None:
    told = document(certified(shop)["T82-0101"].pdf)
    start = told["results"][0]
    # The lift line begins at 82.0 °C and rises 0.5 mm/K: 0.1 mm at 82.2 °C (closed form).
    assert start["value"] == pytest.approx(82.2, abs=start["expanded_uncertainty"])
    assert start["judgement"]["outcome"] == "pass"
    assert told["customer"]["name"] == "Ness River Ferries"
    assert [stage["stage"] for stage in told["history"]] == ["as-found", "rework", "as-left"]
    assert told["history"][1]["text"] == "setting +1.2 mm: seal renewed, setting screw turned"
    found_c = told["history"][0]["results"][0]["value"]
    assert found_c - start["value"] == pytest.approx(3.0, abs=0.05)
    items = [c["item"] for c in told["calibrations"]]
    assert items == [
        "Bath and guard probe",
        "Lift gauge, station 1",
        "Fixture (solid bar), station 1",
    ]
    assert all(c["due"] == "2026-01-20" for c in told["calibrations"])
    assert told["reference_unit"]["serial"] == REFERENCE
    assert told["reference_unit"]["chart"] == "in control, limits provisional"
    assert told["dates"]["measured_to"] == LEFT_ON.isoformat()
    assert (told["measured_by"]["name"], told["authorised_by"]["name"]) == (OPERATOR, CERTIFIER)
    assert {branch["rising"] for branch in told["curve"]} == {True, False}
    assert told["conditions"]["coolant"] == "water with 40 % propylene glycol by volume, stirred"


def test_a_simulated_bench_is_named_on_every_page(shop: Shop) -> None:
    pdf = certified(shop)["T82-0101"].pdf
    assert "SIMULATED BENCH. No real unit was measured" in words_of(pdf)
    assert words_of(pdf).count("simulated bench") == 2


def test_nothing_is_certified_twice(shop: Shop) -> None:
    first = certified(shop)
    again = certified(shop, at(TODAY, 10))
    assert [again[s].number for s in PASS] == [first[s].number for s in PASS]
    assert {s: unit.new for s, unit in first.items()}[PASS[0]]
    assert not any(unit.new for unit in again.values())
    assert len(shop.records.current(Certificate)) == 2
    shop.records.verify()


def test_the_customers_agreement_lets_a_conditional_pass_through(shop: Shop) -> None:
    stamp = shop.stamp(CERTIFIER, NOW)
    agree(shop, BATCH, CONDITIONAL, "R. Eddy, stores", "letter of 6 April", stamp)
    unit = certified(shop, at(TODAY, 10))[CONDITIONAL]
    assert document(unit.pdf)["conformity"]["agreement"] == "R. Eddy, stores: letter of 6 April"
    assert "Agreed by R. Eddy, stores: letter of 6 April" in words_of(unit.pdf)


def test_each_blocking_cause_is_a_line(shop: Shop) -> None:
    """Refused at intake, failed by a person, not measured, calibration overdue."""
    stamp = shop.stamp(CERTIFIER, NOW)
    fail_unit(shop, BATCH, "T82-0101", "stuck half open", stamp)
    for serial, accepted in (("T82-0105", True), ("T82-0106", False)):
        shop.records.add(Unit(serial=serial, unit_type="Teal-82"), stamp)
        take_in(shop, BATCH, serial, "rework", Findings(), accepted, "wax seeps", stamp)
    units = certified(shop)
    assert units["T82-0101"].refusals == (f"failed by {CERTIFIER}: stuck half open",)
    assert units["T82-0105"].refusals[0].startswith("as-found missing")
    assert units["T82-0106"].refusals == ("refused at intake: wax seeps",)
    assert units["T82-0102"].number == "LN-2025-0001", "the others are not kept from it"


def test_an_overdue_calibration_certifies_nobody(shop: Shop) -> None:
    day = dt.date(2026, 1, 21)
    units = certified(shop, at(day), day)
    assert all(unit.number is None for unit in units.values())
    line = "probes: calibration was due 2026-01-20, today is 2026-01-21; calibrate probe"
    assert line in units["T82-0101"].refusals
    assert not list(shop.certificates.glob("*.pdf"))


def test_a_chart_out_of_control_certifies_nobody(shop: Shop) -> None:
    begin_batch(shop, "second", [], dt.date(2025, 4, 5))
    guard = RawUnit(6, REFERENCE, 84.0)
    raw_night(shop, "second", "as-found", [guard], dt.date(2025, 4, 5))
    refusals = certified(shop)["T82-0101"].refusals
    assert len(refusals) == 1
    assert refusals[0].startswith(f"reference unit {REFERENCE}: out of control in run 3: +1.8")


def test_unproven_interlocks_certify_nobody(shop: Shop) -> None:
    path = shop.folder / "bench.toml"
    real = path.read_text().replace("[bench]\n", '[bench]\nport = "/dev/ttyUSB9"\n')
    path.write_text(real)
    day = dt.date(2025, 4, 8)
    begin_batch(shop, "second", ["T82-0201"], day)
    raw_night(
        shop, "second", "as-found", [RawUnit(1, "T82-0201", 82), RawUnit(6, REFERENCE, 82.1)], day
    )
    unit = certify(shop, "second", shop.stamp(CERTIFIER, at(day, 23)))[0]
    assert unit.number is None
    assert unit.refusals == (
        "run 3: interlocks unproven and nobody stayed; prove them (proofbath check --commission)"
        " and measure again",
    )


@pytest.mark.parametrize(
    ("who", "batch", "why"),
    [
        (OPERATOR, BATCH, "has not the right certifier"),
        ("nobody", BATCH, "has no person of name"),
        (CERTIFIER, "no such batch", "has no batch of name"),
    ],
)
def test_who_may_not_certify_issues_nothing(shop: Shop, who: str, batch: str, why: str) -> None:
    with pytest.raises(InputError, match=why):
        certify(shop, batch, shop.stamp(who, NOW))
    assert not shop.certificates.exists()


def test_a_locked_key_needs_its_passphrase(shop: Shop) -> None:
    certify(shop, BATCH, shop.stamp(CERTIFIER, NOW), b"ebb and flood")
    with pytest.raises(InputError, match="is locked; give its passphrase"):
        certify(shop, BATCH, shop.stamp(CERTIFIER, at(TODAY, 10)))


def test_a_withdrawn_result_is_not_certified_again(shop: Shop) -> None:
    certified(shop)
    pdf = withdraw(shop, "LN-2025-0001", "wrong unit", shop.stamp(CERTIFIER, at(TODAY, 10)))
    assert pdf.stem == "LN-2025-0003"
    told = document(pdf)
    first = shop.records.find(Certificate, number="LN-2025-0001").entry
    assert (told["withdraws"], told["withdraws_sha256"]) == (first.number, first.sha256)
    unit = certified(shop, at(TODAY, 11))["T82-0101"]
    assert unit.number is None
    assert unit.refusals[0].startswith("LN-2025-0001 of this result was withdrawn (wrong unit)")
    with pytest.raises(InputError, match="was withdrawn by LN-2025-0003 already"):
        withdraw(shop, "LN-2025-0001", "again", shop.stamp(CERTIFIER, at(TODAY, 12)))
    states = shop.records.current(CertificateState)
    assert [(s.entry.state, s.entry.document) for s in states] == [("withdrawn", "LN-2025-0003")]


def test_a_replacement_takes_the_place_of_the_earlier(shop: Shop) -> None:
    certified(shop)
    rotate_key(shop.keys)
    later = shop.stamp(CERTIFIER, at(TODAY, 10))
    new = replace(shop, "LN-2025-0002", "mark was wrong", "customer's mark", later)
    assert new.number == "LN-2025-0003"
    told = document(new.pdf)["replaces"]
    assert (told["number"], told["reason"]) == ("LN-2025-0002", "mark was wrong")
    assert "Replaces certificate LN-2025-0002, which is no longer valid" in words_of(new.pdf)
    lines = {line.number: line for line in certificates_of(shop.records, serial="T82-0102")}
    assert (lines["LN-2025-0002"].state, lines["LN-2025-0002"].document) == (
        "replaced",
        "LN-2025-0003",
    )
    assert lines["LN-2025-0003"].state == "valid"
    assert certified(shop, at(TODAY, 11))["T82-0102"].number == "LN-2025-0003"


def test_what_may_not_be_certified_replaces_nothing(shop: Shop) -> None:
    certified(shop)
    fail_day = dt.date(2026, 2, 1)
    with pytest.raises(InputError, match="replacement of LN-2025-0001: probes: calibration was"):
        replace(shop, "LN-2025-0001", "a", "b", shop.stamp(CERTIFIER, at(fail_day)))
    assert certificates_of(shop.records)[0].state == "valid"
    with pytest.raises(InputError, match="certificate LN-1: not on record"):
        replace(shop, "LN-1", "a", "b", shop.stamp(CERTIFIER, NOW))
    with pytest.raises(InputError, match="replacement of LN-2025-0001: reason"):
        replace(shop, "LN-2025-0001", "", "b", shop.stamp(CERTIFIER, NOW))


def test_a_result_computed_anew_puts_its_certificate_in_doubt(shop: Shop) -> None:
    certified(shop)
    stamp = shop.stamp(CERTIFIER, at(TODAY, 10))
    assert recompute_run(shop, 2, TODAY, "nothing new", stamp) == ((), ())
    shop.records.add(calibration_entry(gauge(1.01), "quay", TODAY, 12, 1), stamp)
    found = recompute_run(shop, 2, TODAY, "blocks swapped", stamp)
    assert [line.number for line in found.affected] == ["LN-2025-0001"]
    assert doubts_of(shop) == {"LN-2025-0001": ["result computed anew: blocks swapped"]}
    told = judge_unit(shop, BATCH, "T82-0101", TODAY).next_step.words
    assert told == "replace or withdraw LN-2025-0001: its result was computed anew"
    again = certified(shop, at(TODAY, 11))["T82-0101"]
    assert (again.number, again.new) == ("LN-2025-0001", False)
    assert "rests on an earlier computation of its result (blocks swapped)" in again.refusals[0]
    new = replace(
        shop, "LN-2025-0001", "blocks swapped", "results", shop.stamp(CERTIFIER, at(TODAY, 12))
    )
    assert document(new.pdf)["remarks"][0] == (
        "Results computed again from the same raw data: blocks swapped"
    )
    assert doubts_of(shop) == {}
    told = judge_unit(shop, BATCH, "T82-0101", TODAY).next_step.words
    assert told == f"hand over with certificate {new.number}"
    gauge_line = document(new.pdf)["calibrations"][1]
    assert (gauge_line["item"], gauge_line["calibrated"]) == ("Lift gauge, station 1", "2025-04-07")


def test_counts_of_before_a_change_are_not_read_by_a_calibration_of_after(shop: Shop) -> None:
    stamp = shop.stamp(CERTIFIER, at(TODAY, 10))
    touched = Handling(bench="quay", station=1, what="gauge", date=TODAY, text="new gauge")
    shop.records.add(touched, stamp)
    with pytest.raises(InputError, match=r"run 2: gauge was touched on 2025-04-07 \(new gauge\)"):
        recompute_run(shop, 2, TODAY, "new gauge", stamp)
    with pytest.raises(InputError, match="run 9: has no results on record"):
        recompute_run(shop, 9, TODAY, "none", stamp)


def test_a_drift_found_later_puts_certificates_in_doubt(shop: Shop) -> None:
    certified(shop)
    day = dt.date(2025, 5, 5)
    raw = RawMean(mean=32768.0, sd=0.5, count=200)
    point = ProbePoint(kind="ice", reference_c=0.0, u_k=0.03, bath=raw, guard=raw)
    check = CheckContent(point=point, bath_k=0.14, guard_k=0.01)
    shop.records.add(calibration_entry(check, "quay", day, 12), shop.stamp(CERTIFIER, at(day)))
    told = ["probes +0.140 K off on 2025-05-05"]
    assert doubts_of(shop) == {"LN-2025-0001": told, "LN-2025-0002": told}


def test_after_records_that_failed_the_number_is_given_again(shop: Shop) -> None:
    """Set aside, then the records fail: what never came on record is removed."""
    certified(shop)

    def fails(_writer: Writer, _issued: Issued) -> None:
        raise RecordError("the disk is full")

    with open_desk(shop, shop.stamp(CERTIFIER, at(TODAY, 10))) as desk:
        with pytest.raises(RecordError, match="disk is full"):
            desk.issue(withdrawal, fails)
        assert not list((shop.certificates / ASIDE).iterdir())
        made = desk.issue(withdrawal, as_document("withdrawal", "LN-2025-0009"))
        assert made.number == "LN-2025-0003"


def withdrawal(number: str) -> Withdrawal:
    return Withdrawal.model_validate(ferry.withdrawal().model_dump() | {"number": number})


def test_a_number_taken_on_another_computer_is_passed_over(shop: Shop) -> None:
    with open_desk(shop, shop.stamp(CERTIFIER, at(TODAY, 10))) as desk:
        stamp = shop.stamp(CERTIFIER, at(TODAY, 10))
        for number in ("LN-2025-0001", "LN-2025-0002"):
            elsewhere = Document(
                number=number, sha256="ab" * 32, sort="summary", about="of another computer"
            )
            shop.records.add(elsewhere, stamp)
        made = desk.issue(withdrawal, as_document("withdrawal", "LN-2025-0009"))
    assert made.number == "LN-2025-0003"
    left = sorted(path.name for path in shop.certificates.glob("LN-*"))
    assert left == ["LN-2025-0003.json", "LN-2025-0003.pdf"]


def test_two_who_certify_at_once_issue_each_certificate_once(shop: Shop) -> None:
    def one(hour: int) -> list[Certified]:
        with open_shop(shop.folder / "workshop.toml") as mine:
            return certify(mine, BATCH, mine.stamp(CERTIFIER, at(TODAY, hour)))

    with ThreadPoolExecutor(2) as pool:
        both = [found for units in pool.map(one, (9, 10)) for found in units if found.number]
    assert sorted(unit.number or "" for unit in both if unit.new) == [
        "LN-2025-0001",
        "LN-2025-0002",
    ]
    assert len(both) == 4
    assert len(shop.records.current(Certificate)) == 2
    assert len(list(shop.certificates.glob("*.pdf"))) == 2


def test_a_page_that_cannot_be_made_keeps_nobody_else_from_it(shop: Shop) -> None:
    """A customer's mark in a script that the page's fonts lack."""
    unit = shop.records.find(Unit, serial="T82-0101")
    marked = unit.entry.model_copy(update={"customer_mark": "\U00012000"})
    stamp = shop.stamp(CERTIFIER, NOW)
    shop.records.correct(unit.root, marked, "mark read off", stamp)
    units = certified(shop, at(TODAY, 10))
    assert units["T82-0101"].number is None
    assert units["T82-0102"].number == "LN-2025-0001"
    assert [path.name for path in shop.certificates.glob("*.pdf")] == ["LN-2025-0001.pdf"]


def test_the_program_itself_signs_nothing(shop: Shop) -> None:
    with pytest.raises(InputError, match="let a certifier sign"):
        certify(shop, BATCH, Stamp(NOW))


@pytest.mark.parametrize(
    ("at", "day"),
    [
        ("2026-03-01T00:00:00+00:00", dt.date(2026, 3, 1)),
        ("2026-02-28T23:59:59.999+00:00", dt.date(2026, 2, 28)),
    ],
)
def test_a_stamps_day_is_that_of_its_time(at: str, day: dt.date) -> None:
    # the day part of an ISO 8601 calendar date and time, in UTC as stamps are
    assert Stamp(at).day == day

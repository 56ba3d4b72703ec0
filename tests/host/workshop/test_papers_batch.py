"""A batch's summary and labels, and a returned unit then and now."""

from __future__ import annotations

import datetime as dt
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pypdf
import pytest
import zxingcpp
from PIL import Image

from host.workshop.papers_fixtures import CONDITIONAL, FAIL, measured_batch
from host.workshop.raw_shop import (
    BATCH,
    CERTIFIER,
    OPERATOR,
    REFERENCE,
    TODAY,
    RawUnit,
    at,
    begin_batch,
    raw_night,
)
from proofbath.certificate.keys import trusted_fingerprints
from proofbath.certificate.label import label_png
from proofbath.certificate.verify import Outcome, verify
from proofbath.errors import InputError
from proofbath.store.kinds import Document, Findings, Unit
from proofbath.workshop.batch_papers import batch_labels, batch_summary
from proofbath.workshop.comparison import then_and_now
from proofbath.workshop.documents import documents_of
from proofbath.workshop.intake import take_in
from proofbath.workshop.papers import certify, withdraw
from proofbath.workshop.shop import Shop, open_shop

RETURNED = dt.date(2025, 9, 1)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(measured_batch(tmp_path / "shop")) as opened:
        certify(opened, BATCH, opened.stamp(CERTIFIER, at(TODAY)))
        yield opened


def document(pdf: Path) -> dict[str, Any]:
    found = json.loads(pdf.with_suffix(".json").read_bytes())["document"]
    assert isinstance(found, dict)
    return found


def words_of(pdf: Path) -> str:
    pages = pypdf.PdfReader(io.BytesIO(pdf.read_bytes())).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_a_summary_tells_every_unit_and_shows_its_curve(shop: Shop) -> None:
    stamp = shop.stamp(CERTIFIER, at(TODAY, 10))
    shop.records.add(Unit(serial="T82-0109", unit_type="Teal-82"), stamp)
    take_in(shop, BATCH, "T82-0109", "rework", Findings(), False, "wax seeps", stamp)
    withdraw(shop, "LN-2025-0002", "wrong unit", shop.stamp(CERTIFIER, at(TODAY, 10)))
    pdf = batch_summary(shop, BATCH, shop.stamp(CERTIFIER, at(TODAY, 11)))
    assert pdf.stem == "LN-2025-0004"
    rows = {row["serial"]: row for row in document(pdf)["row"]}
    assert rows["T82-0101"]["certificate"] == "LN-2025-0001"
    assert rows["T82-0102"]["withdrawn_by"] == "LN-2025-0003"
    limit = "Start-to-open, rising, at 0.1 mm at zero rate: 80 to 84 °C"
    assert rows[FAIL]["reason"].startswith(f"{limit}; found 85.1")
    assert rows[CONDITIONAL]["outcome"] == "conditional pass"
    assert rows["T82-0109"]["outcome"] == "refused at intake"
    found_c, left_c = (rows["T82-0101"][stage]["value"] for stage in ("as_found", "as_left"))
    assert found_c - left_c == pytest.approx(3.0, abs=0.05)
    assert [len(row["curve"]) > 0 for row in rows.values()] == [True] * 4 + [False]
    nights = document(pdf)["nights"]
    assert [night["stage"] for night in nights] == ["as-found", "as-left"]
    assert nights[0]["limit_k"] is None
    assert len(pypdf.PdfReader(io.BytesIO(pdf.read_bytes())).pages) == 2
    assert "Opening curves as left" in words_of(pdf)
    assert verify(pdf.read_bytes(), trusted_fingerprints(shop.keys)).outcome is Outcome.GENUINE
    told = [(d.entry.number, d.entry.sort) for d in shop.records.current(Document)]
    assert told == [("LN-2025-0003", "withdrawal"), ("LN-2025-0004", "summary")]
    assert documents_of(shop.records, "summary", BATCH) == ["LN-2025-0004"]


def test_labels_are_of_certificates_that_stand(shop: Shop) -> None:
    withdraw(shop, "LN-2025-0001", "wrong unit", shop.stamp(CERTIFIER, at(TODAY, 10)))
    words = words_of(batch_labels(shop, BATCH))
    assert "T82-0102" in words
    assert "T82-0101" not in words
    assert "SIMULATED" in words
    signed = (shop.certificates / "LN-2025-0002.json").read_bytes()
    code = zxingcpp.read_barcodes(Image.open(io.BytesIO(label_png(signed))))[0].text
    assert code.startswith("certificate LN-2025-0002\nunit T82-0102\nkey 1 ")
    withdraw(shop, "LN-2025-0002", "wrong unit", shop.stamp(CERTIFIER, at(TODAY, 11)))
    with pytest.raises(InputError, match="has no certificate that stands"):
        batch_labels(shop, BATCH)


def test_a_label_of_a_lost_document_is_refused(shop: Shop) -> None:
    (shop.certificates / "LN-2025-0002.json").unlink()
    with pytest.raises(InputError, match=r"LN-2025-0002.json missing; restore it"):
        batch_labels(shop, BATCH)


@pytest.mark.parametrize(("opens_c", "verdict"), [(82.9, "has shifted"), (82.05, "agrees")])
def test_a_returned_unit_is_compared_with_how_it_left(
    shop: Shop, opens_c: float, verdict: str
) -> None:
    begin_batch(shop, "returns", ["T82-0101"], RETURNED, "returned")
    with pytest.raises(InputError, match="came back in returns and was not measured since"):
        then_and_now(shop, "T82-0101", shop.stamp(CERTIFIER, at(RETURNED, 10)))
    night = [RawUnit(4, "T82-0101", opens_c), RawUnit(6, REFERENCE, 82.1)]
    raw_night(shop, "returns", "as-found", night, RETURNED)
    pdf = then_and_now(shop, "T82-0101", shop.stamp(CERTIFIER, at(RETURNED, 23)))
    told = document(pdf)
    start = told["changes"][0]
    assert start["now"]["quantity"] == "start_to_open_c"
    # Both lift lines are straight, so their starts are as far apart as the lines (closed form).
    assert start["difference"] == pytest.approx(opens_c - 82.0, abs=0.02)
    big_u = [start[side]["expanded_uncertainty"] for side in ("then", "now")]
    # ISO/IEC 17043:2010 B.3.1.3, from memory.
    expected = abs(start["difference"]) / (big_u[0] ** 2 + big_u[1] ** 2) ** 0.5
    assert start["e_n"] == pytest.approx(expected)
    assert start["verdict"] == verdict
    assert (told["then"]["certificate"], told["then"]["run"]) == ("LN-2025-0001", "run 2")
    assert (told["now"]["batch"], told["now"]["station"]) == ("returns", 4)
    assert told["then"]["curve"]
    assert told["now"]["curve"]
    assert len(pypdf.PdfReader(io.BytesIO(pdf.read_bytes())).pages) == 1


@pytest.mark.parametrize(
    ("serial", "why"),
    [
        ("T82-0102", "was measured as found, but never left before"),
        (REFERENCE, "has no as-found result"),
        ("T82-9999", "has no unit of serial"),
    ],
)
def test_without_both_measurements_there_is_no_comparison(
    shop: Shop, serial: str, why: str
) -> None:
    with pytest.raises(InputError, match=why):
        then_and_now(shop, serial, shop.stamp(CERTIFIER, at(TODAY, 10)))


def test_an_operator_signs_no_paper(shop: Shop) -> None:
    with pytest.raises(InputError, match="has not the right certifier"):
        batch_summary(shop, BATCH, shop.stamp(OPERATOR, at(TODAY, 10)))

"""Papers of an ordered batch: marking and order stand side by side, each value by its lift.

The units' lift rises by 0.5 mm/K from where they open: 2 mm lie 4 K, 4 mm 8 K above that.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pypdf
import pytest

from host.workshop.papers_fixtures import CONDITIONAL, FAIL, OPENS_C, PASS, measured_batch
from host.workshop.raw_shop import BATCH, CERTIFIER, TODAY, at
from proofbath.certificate.keys import trusted_fingerprints
from proofbath.certificate.verify import Outcome, verify
from proofbath.errors import InputError
from proofbath.proof.ordered import Ordered
from proofbath.workshop.batch_papers import batch_summary
from proofbath.workshop.orders import put_order
from proofbath.workshop.papers import Certified, certify
from proofbath.workshop.shop import Shop, open_shop

ORDER = Ordered(wanted_c=89.5, text="order 4711 of 3 April")
"""2 mm at 89.5 °C: only the unit that its marking fails, opening at 85 °C, does that."""
IN_WORDS = "2 mm open at 89.5 ± 2 °C; order 4711 of 3 April"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with open_shop(measured_batch(tmp_path / "shop")) as opened:
        yield opened


def order(shop: Shop, said: Ordered = ORDER, serial: str | None = None) -> int:
    stamp = shop.stamp(CERTIFIER, at(TODAY))
    return put_order(shop, BATCH, said, serial=serial, stamp=stamp)


def certified(shop: Shop) -> dict[str, Certified]:
    return {one.serial: one for one in certify(shop, BATCH, shop.stamp(CERTIFIER, at(TODAY)))}


def document(pdf: Path) -> dict[str, Any]:
    found = json.loads(pdf.with_suffix(".json").read_bytes())["document"]
    assert isinstance(found, dict)
    return found


def pages_of(pdf: Path) -> list[str]:
    pages = pypdf.PdfReader(io.BytesIO(pdf.read_bytes())).pages
    return [" ".join(page.extract_text().split()) for page in pages]


def test_a_unit_is_certified_by_what_was_ordered_with_its_marking_beside(shop: Shop) -> None:
    order(shop)
    issued = certified(shop)
    assert {serial for serial, one in issued.items() if one.number} == {FAIL}
    pdf = issued[FAIL].pdf
    assert pdf is not None
    told = document(pdf)
    judged = {result["quantity"]: result for result in told["results"] if result["judgement"]}
    lift = judged["opening_at_lift_c"]
    assert lift["threshold_mm"] == 2.0
    assert lift["value"] == pytest.approx(OPENS_C[FAIL] + 4.0, abs=lift["expanded_uncertainty"])
    assert told["conformity"]["order"] == IN_WORDS
    assert told["conformity"]["not_judged_by"] == [
        "Start-to-open, rising, at 0.1 mm at zero rate: 80 to 84 °C"
    ]
    words = " ".join(pages_of(pdf))
    for phrase in (
        f"Ordered: {IN_WORDS}.",
        "Marked Teal-82, not judged by, as ordered otherwise",
        "87.5 to 91.5",
        "Start-to-open, rising at 0.1 mm lift",
        "2 mm open, rising",
    ):
        assert phrase in words, phrase
    trusted = trusted_fingerprints(shop.keys)
    assert verify(pdf.read_bytes(), trusted).outcome is Outcome.GENUINE


def test_an_ordered_certificate_is_at_most_two_pages_longer(shop: Shop) -> None:
    before = certified(shop)[PASS[0]].pdf
    assert before is not None
    lengths = [len(pages_of(before))]
    order(shop, serial=FAIL)
    after = certified(shop)[FAIL].pdf
    assert after is not None
    lengths.append(len(pages_of(after)))
    assert lengths[1] <= lengths[0] + 2


def test_the_certified_specification_is_the_one_frozen_to_the_batch(shop: Shop) -> None:
    first = certified(shop)[PASS[0]].pdf
    assert first is not None
    order(shop, serial=FAIL)
    second = certified(shop)[FAIL].pdf
    assert second is not None
    frozen = {document(pdf)["conformity"]["specification_sha256"] for pdf in (first, second)}
    assert len(frozen) == 1


def test_no_order_while_a_certificate_that_it_concerns_stands(shop: Shop) -> None:
    certified(shop)
    with pytest.raises(InputError, match="certificate LN-2025-0001 of T82-0101 stands"):
        order(shop)
    with pytest.raises(InputError, match="stands"):
        order(shop, serial=PASS[0])
    order(shop, serial=FAIL)


def test_a_summary_names_each_value_by_its_lift_and_lists_every_order(shop: Shop) -> None:
    order(shop)
    order(shop, Ordered(wanted_c=92.0, lift_mm=4.0), CONDITIONAL)
    certified(shop)
    pdf = batch_summary(shop, BATCH, shop.stamp(CERTIFIER, at(TODAY, 11)))
    told = document(pdf)
    assert told["order"] == IN_WORDS
    rows = {row["serial"]: row for row in told["row"]}
    assert rows[CONDITIONAL]["order"] == "4 mm open at 92 ± 2 °C"
    for serial, lift_mm in ((FAIL, 2.0), (CONDITIONAL, 4.0)):
        left = rows[serial]["as_left"]
        true_c = OPENS_C[serial] + 2.0 * lift_mm
        assert left["threshold_mm"] == lift_mm
        assert left["value"] == pytest.approx(true_c, abs=left["expanded_uncertainty"])
    pages = pages_of(pdf)
    assert len(pages) <= 4
    words = " ".join(pages)
    assert "As found and as left: 2 mm open, rising" in words
    assert f"{CONDITIONAL}: 4 mm open at 92 ± 2 °C" in words
    assert "°C (4 mm)" in words
    assert "Marked, not judged by Start-to-open" in words

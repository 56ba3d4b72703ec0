"""The caution of law and engine at every verb that goes with another opening temperature."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from pathlib import Path

import pypdf
import pytest

import proofbath
from host.certificate.ferry import certificate
from host.cli.conftest import Call
from host.proof.test_service import csv_of, drive
from host.workshop.measured_shop import MeasuredShop, Measurement, measured_shop
from proofbath.certificate.issue import prepare
from proofbath.certificate.keys import open_key
from proofbath.proof.cautions import COLD_ONLY, RETARGETING
from proofbath.scenario.workshop import CERTIFIER, OPERATOR

EXAMPLES = Path(proofbath.__file__).parent / "virtual" / "examples"
BOOK = Path(__file__).parents[3] / "rig_docs"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MeasuredShop]:
    with measured_shop(tmp_path) as made:
        made.units(["U1"])
        made.batch("A", ["U1"])
        made.night("A", "as-found", {"U1": Measurement(82.3)})
        yield made


def file_of(shop: MeasuredShop) -> Path:
    return shop.shop.folder / "workshop.toml"


def test_the_caution_names_law_engine_and_whom_to_ask() -> None:
    for word in ("approved", "emissions", "warranty", "insurance", "wear", "oil", "boiling"):
        assert word in RETARGETING
    assert RETARGETING.endswith("ask the authority, the class society or the engine's maker first.")


@pytest.mark.parametrize(
    "verb",
    [
        ("service", "target", "Teal-82", "86"),
        ("rework", "A"),
        ("unit", "type", EXAMPLES / "heron_103_type.toml", "--by", CERTIFIER),
    ],
    ids=lambda verb: " ".join(str(part) for part in verb[:2]),
)
def test_a_verb_says_it_in_lines_and_in_json(
    call: Call, shop: MeasuredShop, verb: tuple[object, ...]
) -> None:
    lines = call(*verb, "--shop", file_of(shop))
    assert (lines.status, lines.err) == (0, "")
    assert RETARGETING in lines.out
    if verb[0] != "unit":  # the same type cannot be put on record twice
        shown = json.loads(call(*verb, "--shop", file_of(shop), "--json").out)
        assert shown["caution"] == RETARGETING


def test_the_book_says_it_where_rework_is_described() -> None:
    lines = (BOOK / "rework.md").read_text(encoding="utf-8").splitlines()
    quoted = " ".join(line[1:].strip() for line in lines if line.startswith(">"))
    assert RETARGETING in quoted
    assert COLD_ONLY in quoted


def test_a_certificate_prints_it(tmp_path: Path) -> None:
    pdf = prepare(certificate(), open_key(tmp_path)).pdf
    pages = [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]
    assert RETARGETING in " ".join(" ".join(pages).replace("’", "'").split())


def test_a_log_is_kept_and_shown_with_the_word_that_the_system_is_opened_cold_only(
    call: Call, shop: MeasuredShop, tmp_path: Path
) -> None:
    (tmp_path / "drive.csv").write_text(csv_of(drive(1, hours=1.0)))
    said = call(
        "service", "add", "U1", tmp_path / "drive.csv", "--fitted", "2025-10-05",
        "--engine", "Kittiwake, port", "--by", OPERATOR, "--shop", file_of(shop),
    )  # fmt: skip
    assert COLD_ONLY in said.out
    assert COLD_ONLY in call("service", "show", "U1", "--shop", file_of(shop)).out

"""kill -9 in the middle of certifying: no certificate or a whole one, and it can be gone on."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from host.workshop.raw_shop import (
    BATCH,
    CERTIFIER,
    FOUND_ON,
    REFERENCE,
    TODAY,
    RawUnit,
    at,
    make_shop,
    raw_night,
)
from proofbath.certificate.keys import trusted_fingerprints
from proofbath.certificate.verify import Outcome, verify
from proofbath.store.kinds import Certificate
from proofbath.workshop.desk import open_desk
from proofbath.workshop.papers import certify
from proofbath.workshop.shop import Shop, open_shop

SERIALS = ("T82-0101", "T82-0102")
MOST_STEPS = 200


@pytest.fixture(scope="module")
def killed(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Copies of a shop in which certifying was killed after 0, 1, 2... steps."""
    base = tmp_path_factory.mktemp("base")
    make_shop(base, SERIALS)
    with open_shop(base / "workshop.toml") as shop:
        units = [RawUnit(n, serial, 82.0) for n, serial in enumerate(SERIALS, 1)]
        raw_night(shop, BATCH, "as-found", [*units, RawUnit(6, REFERENCE, 82.1)], FOUND_ON)
    out = tmp_path_factory.mktemp("killed")
    program = Path(__file__).with_name("killed_certify.py")
    made = subprocess.run(
        [sys.executable, program, base, out, str(MOST_STEPS)],
        check=False,
        capture_output=True,
        text=True,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
    )
    assert made.returncode == 0, made.stderr
    return [out / str(step) for step in range(int(made.stdout) + 1)]


def whole_or_none(shop: Shop) -> tuple[int, int]:
    """Check that files and records tell the same; return how many on record, and in the folder."""
    trusted = trusted_fingerprints(shop.keys)
    on_record = {k.entry.number: k.entry.sha256 for k in shop.records.current(Certificate)}
    pdfs = list(shop.certificates.glob("*.pdf"))
    for pdf in pdfs:
        found = verify(pdf.read_bytes(), trusted)
        assert (found.outcome, found.number) == (Outcome.GENUINE, pdf.stem)
        assert on_record[pdf.stem] == found.sha256, "nothing is in the folder without its record"
    shop.records.verify()
    return len(on_record), len(pdfs)


def test_at_every_step_there_is_a_whole_certificate_or_none(killed: list[Path]) -> None:
    seen = set()
    for folder in killed:
        with open_shop(folder / "workshop.toml") as shop:
            seen.add(whole_or_none(shop))
            with open_desk(shop, shop.stamp(CERTIFIER, at(TODAY, 10))):
                on_record, files = whole_or_none(shop)
            assert on_record == files, "what is on record was brought out"
            copies = {path.stem for path in shop.certificates.glob("*.json")}
            assert copies == {path.stem for path in shop.certificates.glob("*.pdf")}
            left = [path for path in shop.certificates.rglob("*") if path.is_file()]
            assert len(left) == 2 * files + 1, "the lock is all that stays beside"
    # none, one on record that waits to be brought out, one, a second that waits, both
    assert seen == {(0, 0), (1, 0), (1, 1), (2, 1), (2, 2)}


def test_certifying_again_comes_to_the_same_end(killed: list[Path]) -> None:
    for folder in killed[::7]:
        with open_shop(folder / "workshop.toml") as shop:
            units = certify(shop, BATCH, shop.stamp(CERTIFIER, at(TODAY, 11)))
            assert [unit.number for unit in units] == ["LN-2025-0001", "LN-2025-0002"]
            assert whole_or_none(shop) == (2, 2)

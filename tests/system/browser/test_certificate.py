"""From a measured batch to a certificate in the hand: certified, downloaded, verified."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from system.browser.conftest import PATIENCE_MS, OpenPage
from system.browser.steps import go
from system.web_shop import MEASURED, TOLD, Served

pytestmark = pytest.mark.xdist_group("browser")


def open_batch(page: Page, name: str) -> None:
    """Go to a batch by the list of batches."""
    go(page, "Batches")
    page.get_by_role("link", name=name, exact=True).click()
    expect(page.get_by_role("heading", name=name, level=1)).to_be_visible()


def verified(path: Path, workshop: Served) -> dict[str, str]:
    """Return what `proofbath verify` says of a file."""
    words = ["verify", path, "--shop", workshop.folder / "workshop.toml", "--json"]
    done = subprocess.run(
        [sys.executable, "-m", "proofbath", *map(str, words)], capture_output=True, text=True
    )
    (found,) = json.loads(done.stdout)["files"]
    return {"status": str(done.returncode), **found}


def test_a_batch_is_certified_and_its_certificate_verified(
    open_page: OpenPage, workshop: Served, tmp_path: Path
) -> None:
    page = open_page("certifier")
    open_batch(page, MEASURED)
    page.get_by_role("button", name="Certify what may be certified").click()
    expect(page.get_by_role("status")).to_contain_text("ertified", timeout=PATIENCE_MS)
    page.get_by_role("link", name="Certificates of this batch").click()
    page.get_by_role("table").get_by_role("rowheader").get_by_role("link").first.click()
    number = page.get_by_role("heading", level=1).inner_text()
    address = page.get_by_role("link", name="PDF").first.get_attribute("href")
    assert address is not None
    assert address.endswith(f"/{number}.pdf")
    paper = tmp_path / f"{number}.pdf"
    paper.write_bytes(page.request.get(address).body())  # the browser would show it
    assert verified(paper, workshop)["outcome"] == "genuine"

    altered = tmp_path / "altered.pdf"
    altered.write_bytes(paper.read_bytes().replace(b"/Type", b"/Typf", 1))
    assert verified(altered, workshop)["outcome"] != "genuine"


def test_a_certificate_is_verified_by_the_page(open_page: OpenPage, workshop: Served) -> None:
    page = open_page("viewer", 360)
    open_batch(page, TOLD)
    page.get_by_role("link", name="Certificates of this batch").click()
    paper = sorted((workshop.folder / "certificates").glob("*.pdf"))[0]
    page.get_by_label("Certificate (PDF or JSON)").set_input_files(paper)
    page.get_by_role("button", name="Verify").click()
    expect(page.get_by_role("status", name="Verification")).to_contain_text("genuine")

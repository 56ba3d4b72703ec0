"""Certificates on pages and by the API: issued, shown, given out, verified, ended."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from host.web.conftest import Browser
from host.workshop.papers_fixtures import CONDITIONAL, FAIL, PASS
from proofbath.certificate.keys import trusted_fingerprints
from proofbath.certificate.verify import Outcome, verify
from proofbath.store.kinds import Certificate, Document
from proofbath.workshop.shop import Shop

Open = Callable[..., Browser]
LIST = "/batches/certificates"


@pytest.fixture
def certified(open_browser: Open) -> Browser:
    """Return a certifier's browser after the batch was certified by the page."""
    browser = open_browser("certifier")
    answer = browser.post("/batches/1/certify")
    assert answer.headers["location"] == "/batches/1?said=certified"
    return browser


def numbers(shop: Shop) -> list[str]:
    """Return the numbers of all certificates."""
    return [kept.entry.number for kept in shop.records.current(Certificate)]


def test_who_may_have_a_certificate_gets_one(certified: Browser, shop: Shop) -> None:
    told = certified.get("/api/certificates").json()
    assert [line["serial"] for line in told] == [*PASS]
    page = certified.get("/batches/1?said=certified").text
    for number in numbers(shop):
        assert f"{LIST}/{number}" in page
    again = certified.post("/batches/1/certify")
    assert again.headers["location"].endswith("said=none")
    assert len(numbers(shop)) == 2, "nothing is certified twice"
    assert {FAIL, CONDITIONAL} & {line["serial"] for line in told} == set()


def test_a_certificate_is_shown_downloaded_and_genuine(certified: Browser, shop: Shop) -> None:
    number = numbers(shop)[0]
    page = certified.get(f"{LIST}/{number}").text
    told = certified.get(f"/api/certificates/{number}").json()
    assert (told["outcome"], told["state"]["state"]) == ("genuine", "valid")
    assert told["content"]["conformity"]["statement"] in page
    trusted = trusted_fingerprints(shop.keys)
    for kind, media in (("pdf", "application/pdf"), ("json", "application/json")):
        for folder in ("/batches/documents", "/api/documents"):
            file = certified.get(f"{folder}/{number}.{kind}")
            assert file.headers["content-type"] == media
            assert verify(file.content, trusted).outcome is Outcome.GENUINE


def test_an_uploaded_file_is_verified(certified: Browser, shop: Shop, open_browser: Open) -> None:
    number, viewer = numbers(shop)[0], open_browser("viewer")
    data = (shop.certificates / f"{number}.pdf").read_bytes()
    said = viewer.post(f"{LIST}/verify", files={"file": ("c.pdf", data, "application/pdf")})
    assert "genuine: Test certificate" in " ".join(said.text.split())
    changed = data.replace(b"%PDF-1", b"%PDF-2", 1)
    for given, outcome in ((data, "genuine"), (changed, "altered"), (b"hello", "not_ours")):
        headers = {"Content-Type": "application/octet-stream", "X-Proofbath-Token": viewer.token}
        told = viewer.ask("POST", "/api/verifications", content=given, headers=headers)
        assert told.json()["outcome"] == outcome


def test_an_altered_file_is_told_on_its_page(certified: Browser, shop: Shop) -> None:
    number = numbers(shop)[0]
    path = shop.certificates / f"{number}.json"
    data = path.read_bytes()
    path.chmod(0o600)
    path.write_bytes(data.replace(b"pass", b"paSs", 1))
    assert "Its file is altered." in certified.get(f"{LIST}/{number}").text
    path.unlink()
    assert "restore it from the backup" in certified.get(f"{LIST}/{number}").text


def test_a_certificate_is_replaced_then_withdrawn(certified: Browser, shop: Shop) -> None:
    number = numbers(shop)[0]
    form = {"reason": "customer's name <b>", "changes": "the name"}
    answer = certified.post(f"{LIST}/{number}/replace", form)
    assert answer.status_code == 303, answer.text
    newer = numbers(shop)[-1]
    assert "customer&#39;s name &lt;b&gt;" in certified.get(f"{LIST}/{number}").text
    assert certified.post(f"{LIST}/{number}/withdraw", {"reason": "twice"}).status_code == 422
    assert certified.post(f"{LIST}/{newer}/withdraw", {"reason": "leaks"}).status_code == 303
    states = {line["number"]: line["state"] for line in certified.get("/api/certificates").json()}
    assert (states[number], states[newer]) == ("replaced", "withdrawn")
    page = certified.get(f"{LIST}/{newer}").text
    assert "Withdrawn by" in page
    assert "End this certificate" not in page


def test_summary_and_labels_stand_under_documents(certified: Browser, shop: Shop) -> None:
    assert certified.post("/batches/1/summary").headers["location"].endswith("said=summary")
    assert certified.post("/batches/1/labels").headers["location"].endswith("said=labels")
    page = certified.get("/batches/1").text
    assert "/batches/documents/labels-batch-1.pdf" in page
    assert certified.get("/batches/documents/labels-batch-1.pdf").content[:5] == b"%PDF-"
    (summary,) = shop.records.current(Document, sort="summary")
    assert f"/batches/documents/{summary.entry.number}.pdf" in page


def test_a_locked_key_asks_for_its_passphrase(open_browser: Open, shop: Shop) -> None:
    browser = open_browser("certifier")
    phrase = "ferry at noon"
    assert browser.post(f"{LIST}/keys", {"passphrase": phrase}).status_code == 303
    refused = browser.post("/batches/1/certify")
    assert (refused.status_code, "passphrase" in refused.text) == (422, True)
    assert phrase not in refused.text
    assert browser.post("/batches/1/certify", {"passphrase": phrase}).status_code == 303
    assert browser.post(f"{LIST}/keys", {"passphrase": phrase}).status_code == 422, "not ticked"
    assert browser.post(f"{LIST}/keys", {"sure": "true"}).status_code == 303
    assert [key["in_use"] for key in browser.get("/api/keys").json()] == [False, True]


@pytest.mark.parametrize(
    "name",
    [
        "..%2Frecords.sqlite",
        "%2e%2e%2frecords.sqlite",
        "..%5Crecords.sqlite",
        ".hidden.pdf",
        "not-yet-issued",
        "secret.txt",
        "link.pdf",
        "%00.pdf",
    ],
)
@pytest.mark.parametrize("folder", ["/batches/documents", "/api/documents"])
def test_no_other_file_is_given(
    certified: Browser, shop: Shop, tmp_path: Path, folder: str, name: str
) -> None:
    for other in ("secret.txt", ".hidden.pdf"):
        (shop.certificates / other).write_text("secret")
    (shop.certificates / "link.pdf").symlink_to(shop.folder / "workshop.toml")
    answer = certified.get(f"{folder}/{name}")
    assert answer.status_code == 404
    assert "secret" not in answer.text


def test_only_a_certifier_signs(open_browser: Open, shop: Shop) -> None:
    for name in ("viewer", "operator", "administrator"):
        browser = open_browser(name)
        for path in ("/batches/1/certify", "/batches/1/summary", f"{LIST}/keys"):
            assert browser.post(path).status_code == 403
    assert not numbers(shop)
    assert not shop.keys.exists()

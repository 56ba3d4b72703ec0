"""`proofbath certify` and `proofbath verify` as they are called."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from host.cli.conftest import Call, Said
from host.workshop.papers_fixtures import CONDITIONAL, FAIL, measured_batch
from host.workshop.raw_shop import BATCH, CERTIFIER, OPERATOR, TODAY, at


@pytest.fixture
def utc() -> Callable[[], str]:
    """The day on which the batch is certified, each call an hour after the one before."""
    times = iter([at(TODAY, hour) for hour in range(9, 23)])
    return lambda: next(times)


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    return measured_batch(tmp_path / "shop")


def certify(call: Call, shop: Path, *words: object, by: str = CERTIFIER) -> Said:
    return call("certify", *words, "--by", by, "--shop", shop)


def test_a_batch_is_certified_and_each_refusal_told(call: Call, shop: Path) -> None:
    said = certify(call, shop, "issue", BATCH, "--json")
    told = json.loads(said.out)
    assert (said.status, told["certified"]) == (1, 2)
    units = {unit["serial"]: unit for unit in told["units"]}
    assert units["T82-0101"]["number"] == "LN-2025-0001"
    assert Path(units["T82-0101"]["pdf"]).exists()
    assert units[FAIL]["refusals"]
    shown = certify(call, shop, "issue", BATCH)
    assert "stands" in shown.out
    assert "needs the customer's recorded agreement" in " ".join(shown.out.split())


def test_what_is_settled_lets_the_rest_through(call: Call, shop: Path) -> None:
    named = ("--by", CERTIFIER, "--shop", shop)
    assert call("batch", "fail", BATCH, FAIL, "--reason", "stuck", *named).status == 0
    agreed = ("--customer", "R. Eddy", "--record", "letter of 6 April")
    assert call("batch", "agree", BATCH, CONDITIONAL, *agreed, *named).status == 0
    told = json.loads(certify(call, shop, "issue", BATCH, "--json").out)
    units = {unit["serial"]: unit for unit in told["units"]}
    assert units[CONDITIONAL]["number"] == "LN-2025-0003"
    assert units[FAIL]["refusals"][-1] == f"failed by {CERTIFIER}: stuck" or (
        units[FAIL]["refusals"][0] == f"failed by {CERTIFIER}: stuck"
    )


def test_withdraw_replace_list_summary_and_labels(call: Call, shop: Path) -> None:
    certify(call, shop, "issue", BATCH)
    gone = certify(call, shop, "withdraw", "LN-2025-0001", "--reason", "wrong unit", "--json")
    assert json.loads(gone.out)["number"] == "LN-2025-0003"
    because = ("--reason", "wrong mark", "--changes", "the mark")
    new = certify(call, shop, "replace", "LN-2025-0002", *because)
    assert (new.status, "LN-2025-0004.pdf" in new.out) == (0, True)
    listed = json.loads(call("certify", "list", "--shop", shop, "--json").out)["certificates"]
    assert [(line["number"], line["state"]) for line in listed] == [
        ("LN-2025-0001", "withdrawn"),
        ("LN-2025-0002", "replaced"),
        ("LN-2025-0004", "valid"),
    ]
    assert "LN-2025-0003: wrong unit" in call("certify", "list", "--shop", shop).out
    none = call("certify", "list", "--doubtful", "--shop", shop, "--json")
    assert json.loads(none.out)["certificates"] == []
    for name, words in (("LN-2025-0005", ("summary", BATCH)), ("labels", ("labels", BATCH))):
        by = ("--by", CERTIFIER) if words[0] == "summary" else ()
        made = json.loads(call("certify", *words, *by, "--shop", shop, "--json").out)
        assert made["number"].startswith(name)
        assert Path(made["pdf"]).exists()


def test_keys_are_shown_rotated_and_locked(call: Call, shop: Path, tmp_path: Path) -> None:
    first = json.loads(certify(call, shop, "key", "--json").out)
    secret = tmp_path / "secret"
    secret.write_text("ebb and flood\n")
    phrase = ("--passphrase-file", secret)
    assert certify(call, shop, "key", "--rotate", *phrase).status == 0
    second = json.loads(certify(call, shop, "key", *phrase, "--json").out)
    assert (first["in_use"], second["in_use"]) == (1, 2)
    assert second["fingerprints"]["1"] == first["fingerprints"]["1"]
    locked = certify(call, shop, "issue", BATCH)
    assert (locked.status, "is locked; give its passphrase" in locked.err) == (2, True)
    assert certify(call, shop, "issue", BATCH, *phrase).status == 1
    secret.write_text("\n")
    assert "its first line is empty" in certify(call, shop, "key", *phrase).err
    assert certify(call, shop, "key", by=OPERATOR).status == 2


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("issue", "no such batch"), "has no batch of name 'no such batch'"),
        (("withdraw", "LN-9", "--reason", "x"), "certificate LN-9: not on record"),
        (("summary", "no such batch"), "has no batch of name"),
        (("compare", "T82-0101"), "never left before"),
        (("recompute", "9", "--reason", "x"), "run 9: has no results on record"),
    ],
)
def test_wrong_input_is_one_line(call: Call, shop: Path, words: tuple[str, ...], why: str) -> None:
    said = certify(call, shop, *words)
    assert (said.status, said.out, len(said.err.splitlines())) == (2, "", 1)
    assert why in said.err


def test_a_run_computed_anew_names_who_is_affected(call: Call, shop: Path) -> None:
    said = certify(call, shop, "recompute", "2", "--reason", "looked at again", "--json")
    assert json.loads(said.out) == {"results": [], "affected": []}


def test_verify_tells_a_genuine_from_a_changed_document(
    call: Call, shop: Path, tmp_path: Path
) -> None:
    certify(call, shop, "issue", BATCH)
    pdf = shop.parent / "certificates/LN-2025-0001.pdf"
    for trust in (("--shop", shop), ("--keys", shop.parent / "keys")):
        said = call("verify", pdf, pdf.with_suffix(".json"), *trust)
        assert said.status == 0
        assert said.out.count("genuine: Test certificate LN-2025-0001") == 2
        assert "whether it was withdrawn later cannot be known from the file: ask" in said.out
    known = json.loads(call("verify", pdf, "--shop", shop, "--json").out)["files"][0]
    fingerprint = known["fingerprint"].replace(" ", "").upper()
    assert call("verify", pdf, "--fingerprint", fingerprint).status == 0
    strange = call("verify", pdf)
    assert (strange.status, "not trusted here" in strange.out) == (1, True)
    changed = tmp_path / "changed.pdf"
    changed.write_bytes(pdf.read_bytes().replace(b"/Lang(en)", b"/Lang(fr)"))
    said = call("verify", pdf, changed, "--shop", shop, "--json")
    told = json.loads(said.out)["files"]
    assert (said.status, [file["outcome"] for file in told]) == (1, ["genuine", "altered"])
    letter = tmp_path / "letter.txt"
    letter.write_text("hello")
    assert call("verify", letter, "--shop", shop).status == 2
    assert call("verify", pdf, letter, "--shop", shop).status == 2


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("missing.pdf",), "cannot be read: No such file"),
        ((".",), "cannot be read: Is a directory"),
        (("missing.pdf", "--fingerprint", "12"), "32 hex digits are needed"),
        (("missing.pdf", "--keys", "."), "holds no public key"),
    ],
)
def test_verify_refuses_what_it_cannot_read(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], why: str
) -> None:
    monkeypatch.chdir(tmp_path)
    said = call("verify", *words)
    assert (said.status, said.out, why in said.err) == (2, "", True)


def test_in_its_own_folder_a_workshops_certificate_is_trusted(
    call: Call, shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    certify(call, shop, "issue", BATCH)
    pdf = sorted((shop.parent / "certificates").glob("*-0001.pdf"))[0]
    assert call("verify", pdf).status == 1
    monkeypatch.chdir(shop.parent)
    assert call("verify", pdf).status == 0

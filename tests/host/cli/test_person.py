"""Loading, commissioning and the word of the person who starts a night, by the command line."""

from __future__ import annotations

import io
import json
import os
from importlib.resources import files
from pathlib import Path

import pytest

from host.cli.conftest import Call
from host.cli.test_night import SHORT
from proofbath.bench.person import Act
from proofbath.cli.person import KeyboardPerson

EXAMPLES = files("proofbath.virtual") / "examples"


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """A folder with the example's bench, its plan and a bench on a port that is not there."""
    for name in ("heron_103_batch", "heron_103_plan"):
        text = (EXAMPLES / f"{name}.toml").read_text()
        (tmp_path / f"{name}.toml").write_text(text.replace("virtual bench", f"{os.getpid()}"))
    text = (tmp_path / "heron_103_batch.toml").read_text()
    real = text[: text.index("\n[virtual]")].replace('"virtual"', '"/dev/no-such-port"')
    (tmp_path / "real.toml").write_text(real)
    return tmp_path


def test_a_virtual_bench_is_loaded_by_its_own_hands(call: Call, shop: Path) -> None:
    said = call(
        "loading", shop / "heron_103_plan.toml", "--bench", shop / "heron_103_batch.toml",
        "--out", shop / "out", "--person", "MK", "--json",
    )  # fmt: skip
    assert said.status == 0
    record = json.loads(said.out)
    assert record == json.loads((shop / "out/loading.json").read_text())
    assert record["person"] == "MK"
    # The described heater of 15.1 ohm at 25 °C; the bench file takes its lead off.
    ohm = float(record["stations"][0]["found"]["heater"].split()[0])
    assert ohm == pytest.approx(15.1, abs=0.1)
    assert set(record["stations"][5]["found"]) == {"serial", "pre-load", "pressed"}


def test_a_mismatch_is_one_line(call: Call, shop: Path) -> None:
    bench = shop / "heron_103_batch.toml"
    bench.write_text(bench.read_text().replace("gauge_zero_mm = 0.45", "gauge_zero_mm = 0.9"))
    said = call("loading", shop / "heron_103_plan.toml", "--bench", bench, "--out", shop / "out")
    assert (said.status, said.out) == (2, "")
    assert said.err.splitlines()[-1].startswith("station 3 pre-load: 0.90 mm, wanted 0.25 to 0.55")
    assert not (shop / "out").exists()


def test_unloading_lists_what_was_found(call: Call, shop: Path) -> None:
    plan = shop / "heron_103_plan.toml"
    plan.write_text(plan.read_text().replace('profile = "heater-assisted-as-left"', "") + SHORT)
    bench = shop / "heron_103_batch.toml"
    night = ("night", plan, "--bench", bench, "--out", shop / "out", "--clear-trip")
    assert call(*night).status == 0
    said = call("loading", "--unload", "--out", shop / "out", "--json")
    found = json.loads(said.out)
    assert (said.status, found["status"]) == (0, "done")
    assert [row["station"] for row in found["stations"]] == [1, 2, 3, 4, 5, 6]
    assert all(row["found"].startswith("no start-to-open") for row in found["stations"])
    shown = call("loading", "--unload", "--out", shop / "out")
    assert "only below 45 °C" in shown.out
    assert call("loading", "--unload", "--out", shop / "none").status == 2
    assert call("loading", "--out", shop / "out").status == 2


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ((), "are not proven; run: proofbath check --commission, or stay and say --attended"),
        (("--attended",), "run: proofbath loading, or say --loaded-as-planned WORD"),
        (("--attended", "--loaded-as-planned", "MK"), "/dev/no-such-port"),
    ],
)
def test_a_night_on_hardware_wants_a_proof_and_a_loading(
    options: tuple[str, ...], words: str, call: Call, shop: Path
) -> None:
    plan = shop / "heron_103_plan.toml"
    plan.write_text(plan.read_text().replace('profile = "heater-assisted-as-left"', "") + SHORT)
    night = ("night", plan, "--bench", shop / "real.toml", "--out", shop / "out")
    said = call(*night, *options)
    assert (said.status, said.out) == (2, "")
    assert words in said.err.splitlines()[-1]


def test_a_night_is_not_gone_on_with_alone_on_an_unproven_bench(call: Call, shop: Path) -> None:
    (shop / "journal.sqlite").touch()
    said = call("resume", "--bench", shop / "real.toml", "--out", shop)
    assert (said.status, len(said.err.splitlines())) == (2, 1)
    assert "are not proven" in said.err


def test_a_virtual_bench_is_commissioned_and_says_so(call: Call, shop: Path) -> None:
    bench = shop / "heron_103_batch.toml"
    assert call("check", "--bench", bench, "--commission").status == 2, "nobody named"
    said = call("check", "--bench", bench, "--commission", "--person", "MK", "--json")
    found = json.loads(said.out)
    assert (said.status, found["complete"], found["missing"]) == (0, True, [])
    assert found["virtual"]
    assert (shop / "heron_103_batch.proof.json").exists()
    again = call("check", "--bench", bench, "--commission", "--person", "MK")
    assert "complete for 365 days" in again.out


def test_an_interlock_that_fails_is_a_judged_fail(call: Call, shop: Path) -> None:
    """A heater that takes no current makes its rows fail; the others are proven all the same."""
    bench = shop / "heron_103_batch.toml"
    fault = '\n[[virtual.fault]]\nkind = "heater_open"\n'
    bench.write_text(bench.read_text() + fault)
    said = call("check", "--bench", bench, "--commission", "--person", "MK", "--json")
    found = json.loads(said.out)
    assert (said.status, found["complete"]) == (1, False)
    assert "bath limit" in found["missing"]
    assert "emergency stop" not in found["missing"]


def test_a_person_is_told_and_asked_on_standard_error(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("\nT82-0412\ny\n\n"))
    person = KeyboardPerson()
    person.wait("Hang it up.")
    person.act(Act("press", "Press [it]."))
    assert person.reads("serial", "T82-0417") == "T82-0412"
    assert person.agrees("Hands out?")
    assert not person.agrees("Once more?"), "Enter alone is a no"
    out, err = capsys.readouterr()
    assert out == ""
    assert "NOW: Press [it]." in err

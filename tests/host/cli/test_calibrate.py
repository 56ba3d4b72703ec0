"""`calibrate` and `records` as a person meets them, on a virtual bench with virtual references."""

from __future__ import annotations

import json
from contextlib import closing
from io import StringIO
from pathlib import Path

import pytest

from host.bench.nights import BENCH
from host.bench.test_compare import write_holds
from host.cli.conftest import Call
from host.store.conftest import fresh_server_place, server  # noqa: F401
from proofbath.store.journal import Journal

Arguments = tuple[object, ...]


@pytest.fixture
def shop(tmp_path: Path, call: Call) -> Arguments:
    """The options of a bench and of records with one certifier."""
    bench = tmp_path / "bench.toml"
    bench.write_text(BENCH.replace("altitude_m = 500", ""))
    records = ("--records", tmp_path / "shop.db")
    said = call("records", "person", "Ada", "--right", "certifier", *records)
    assert (said.status, said.err) == (0, "")
    return ("--bench", bench, *records)


def test_probes_are_calibrated_and_put_on_record(call: Call, shop: Arguments) -> None:
    said = call(
        "calibrate", "probe", *shop, "--by", "Ada", "--on", "2025-10-01", "--virtual-reference",
        "--json",
    )  # fmt: skip
    assert said.status == 0
    (one,) = json.loads(said.out)["calibrations"]
    assert (one["kind"], one["done"], one["due"]) == ("probe", "2025-10-01", "2026-10-01")
    assert one["reference"] == "ice point, steam point"
    status = call("calibrate", "status", *shop, "--on", "2025-10-02", "--json")
    found = json.loads(status.out)
    assert status.status == 1
    assert [c["kind"] for c in found["calibrations"]] == ["probe"]
    assert not any(why.startswith("probes") for why in found["blocked"])
    assert len(found["blocked"]) == 12


def test_a_workshops_folder_says_which_bench_and_which_records(
    call: Call, shop: Arguments, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    for verb, option in ((("records", "verify"), "--records"), (("check",), "--bench")):
        said = call(*verb)
        assert (said.status, said.out) == (2, "")
        assert f"with {option}; here is no workshop.toml" in said.err
    text = '[workshop]\nname = "W"\naddress = ["Q"]\ncontact = "c"\n'
    places = '[places]\nrecords = "shop.db"\n[[bench]]\nfile = "bench.toml"\n'
    (tmp_path / "workshop.toml").write_text(text + places)
    added = call("records", "person", "Bo", "--right", "operator", "--by", "Ada", "--json")
    assert json.loads(added.out) == {"name": "Bo", "person": 2, "rights": ["operator"]}
    touched = call("calibrate", "touched", "mended", "--what", "gauge", "--by", "Bo", "--json")
    assert json.loads(touched.out)["what"] == "gauge"
    assert json.loads(call("calibrate", "status", "--json").out)["calibrations"] == []


def test_probes_are_compared_in_the_benchs_own_bath(
    call: Call, shop: Arguments, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Typed readings against a night's holds; what a person types comes from standard input."""
    place = shop[3]
    assert isinstance(place, Path)
    with closing(Journal(place)) as journal:
        run_id = write_holds(journal)
    monkeypatch.setattr("sys.stdin", StringIO("45\n70\n95\n"))
    said = call(
        "calibrate", "probe", *shop, "--by", "Ada", "--points", "", "--run", run_id,
        "--thermometer", "RT-1", "--thermometer-u-k", "0.03", "--json",
    )  # fmt: skip
    assert said.status == 0
    (one,) = json.loads(said.out)["calibrations"]
    assert one["reference"] == "RT-1"
    assert one["content"]["bath"]["calibration"]["offset_k"] == pytest.approx(-0.11, abs=0.03)
    assert "at the end of 70 °C" in said.err


def test_a_person_at_the_keyboard_is_guided(
    call: Call, shop: Arguments, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a virtual reference the bench itself is in the ice, and a person says so."""
    bench = tmp_path / "bench.toml"
    bench.write_text(bench.read_text() + "\n[virtual.bath]\nstart_c = 0\nambient_c = 0\n")
    monkeypatch.setattr("sys.stdin", StringIO("\n"))
    said = call("calibrate", "probe", "--check", *shop, "--by", "Ada", "--json")
    assert said.status == 0
    assert json.loads(said.out)["calibrations"][0]["kind"] == "check"
    assert "ICE POINT" in said.err
    assert "Press Enter" in said.err


def test_gauges_and_elements_are_calibrated(call: Call, shop: Arguments) -> None:
    common = (*shop, "--by", "Ada", "--virtual-reference", "--station", "2")
    said = call("calibrate", "gauge", *common, "--set", "blocks 4", "--set-u-mm", "0.002")
    assert said.status == 0
    assert said.out.startswith("gauge of station 2: on record as 1, U 0.0020 mm")
    meters = ("--meter", "M7", "--meter-u-percent", "0.1")
    loads = ("--resistors", "R1", "--resistors-u-percent", "0.1")
    said = call("calibrate", "element", *common, *meters, *loads)
    assert said.status == 0
    assert said.out.startswith("element of station 2: on record as 2")


def test_a_drift_is_told_with_exit_status_1(call: Call, shop: Arguments, tmp_path: Path) -> None:
    bench = tmp_path / "bench.toml"
    bench.write_text(bench.read_text() + "\n[virtual.guard_probe]\noffset_k = 0.3\n")
    said = call("calibrate", "probe", "--check", *shop, "--by", "Ada", "--virtual-reference")
    assert said.status == 1
    assert "DRIFT: a probe was +0.3" in said.out
    assert "Set it aside" in said.out


def test_what_was_touched_is_told_by_status(call: Call, shop: Arguments) -> None:
    common = (*shop, "--by", "Ada", "--on", "2025-10-01")
    gauge = ("--station", "2", "--set", "blocks 4", "--set-u-mm", "0.002", "--virtual-reference")
    assert call("calibrate", "gauge", *common, *gauge).status == 0
    said = call(
        "calibrate", "touched", *shop, "--by", "Ada", "--on", "2025-10-05", "--what", "gauge",
        "cable replaced",
    )  # fmt: skip
    assert said.status == 0
    status = call("calibrate", "status", *shop, "--on", "2025-10-06")
    assert "gauge of station 2: gauge was touched on 2025-10-05 (cable replaced)" in status.out


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        (("probe", "--by", "Bo", "--virtual-reference"), "has no person of name 'Bo'"),
        (("probe", "--by", "Ada", "--virtual-reference", "--points", "ice,fire"), "'fire' is no"),
        (("probe", "--by", "Ada", "--virtual-reference", "--points", "ice"), "span 0.0 K"),
        (
            ("probe", "--by", "Ada", "--virtual-reference", "--compare", "warm"),
            "no list of",
        ),
        (("probe", "--by", "Ada", "--virtual-reference", "--compare", "60"), "its name and its"),
        (("probe", "--by", "Ada", "--virtual-reference", "--months", "24"), "1 to 12 can be"),
        (("probe", "--by", "Ada", "--virtual-reference", "--on", "2199-01-01"), "is still to come"),
        (("blank", "--by", "Ada", "--run", "7"), "has no run 7"),
    ],
)
def test_a_refused_input_is_one_line_and_status_2(
    call: Call, shop: Arguments, arguments: Arguments, why: str
) -> None:
    said = call("calibrate", arguments[0], *shop, *arguments[1:])
    assert (said.status, said.out) == (2, "")
    assert why in said.err
    assert said.err.count("\n") == 1


@pytest.mark.xdist_group("postgresql")
def test_a_blank_night_is_journalled_on_a_server(
    call: Call,
    tmp_path: Path,
    fresh_server_place: str,  # noqa: F811
) -> None:
    assert call("virtual", "examples", tmp_path / "shop").status == 0
    bench, records = tmp_path / "shop" / "teal_82_batch.toml", ("--records", fresh_server_place)
    assert call("records", "person", "Ada", "--right", "certifier", *records).status == 0
    options = ("--bench", bench, *records, "--by", "Ada", "--virtual-reference", "--json")
    said = call("calibrate", "blank", *options)
    assert said.status == 0
    kinds = {(c["kind"], c["reference"]) for c in json.loads(said.out)["calibrations"]}
    assert kinds == {("blank", "solid bar, run 1")}


def test_a_virtual_reference_stands_at_no_real_bench(
    call: Call, shop: Arguments, tmp_path: Path
) -> None:
    bench = tmp_path / "bench.toml"
    bench.write_text(
        bench.read_text().replace('name = "quay"', 'name = "quay"\nport = "/dev/none"')
    )
    said = call("calibrate", "probe", *shop, "--by", "Ada", "--virtual-reference")
    assert said.status == 2
    assert "needs a virtual bench" in said.err


def test_records_are_proven_backed_up_and_restored(
    call: Call, shop: Arguments, tmp_path: Path
) -> None:
    records = shop[2:]
    found = json.loads(call("records", "verify", *records, "--json").out)
    assert (found["records"], found["head"]["number"]) == (1, 1)
    copy, again = tmp_path / "copy.db", tmp_path / "again.db"
    said = call("records", "backup", copy, *records)
    assert said.status == 0
    link = said.out.split()[-1]
    assert call("records", "restore", copy, again).status == 0
    assert call("records", "verify", "--records", again, "--link", link).status == 0
    wrong = call("records", "verify", "--records", again, "--link", f"1:{'0' * 64}")
    assert (wrong.status, "the end was cut off" in wrong.err) == (2, True)
    assert call("records", "backup", copy, *records).status == 2
    assert call("records", "verify", *records, "--link", "1:xyz").status == 2


def test_a_mistyped_name_makes_no_new_records(call: Call, shop: Arguments, tmp_path: Path) -> None:
    said = call("calibrate", "status", *shop[:2], "--records", tmp_path / "typo.db")
    assert (said.status, "no such file" in said.err) == (2, True)
    assert not (tmp_path / "typo.db").exists()


def test_only_the_first_person_needs_no_certifier(call: Call, shop: Arguments) -> None:
    add = ("records", "person", "Bo", "--right", "operator", *shop[2:])
    said = call(*add)
    assert (said.status, "say who" in said.err) == (2, True)
    assert call(*add, "--by", "Ada").status == 0

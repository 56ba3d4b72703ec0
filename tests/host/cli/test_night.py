"""Nights by the command line on the virtual bench: run, refused, tripped, gone on with; shops."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest

from host.cli.conftest import Call, Said
from host.workshop.ferry_shop import BATCH, OPERATOR, QUAY, REFERENCE, FerryShop, ferry_shop
from host.workshop.test_nights import STEPS, WARM
from proofbath.store.kinds import Loading, Result, StationRun
from proofbath.workshop.planning import Retest, plan_night, plan_text

EXAMPLES = files("proofbath.virtual") / "examples"
BENCH = (EXAMPLES / "teal_82_batch.toml").read_text()
PLAN = (EXAMPLES / "teal_82_plan.toml").read_text()
SHORT = """
[[step]]
kind = "soak"
to_c = 26.0
at_least_s = 60.0
cycle = 1
[[step]]
kind = "ramp"
to_c = 31.0
rate_k_per_min = 1.0
cycle = 1
"""


class Night:
    """A plan and a bench in files, changed by replacing text, and run."""

    def __init__(self, call: Call, folder: Path) -> None:
        self.call, self.folder = call, folder
        self.plan = PLAN.replace('profile = "plain-as-left"', "") + SHORT
        self.bench = BENCH

    def run(self, *options: str, verb: str = "night") -> Said:
        plan, bench = self.folder / "plan.toml", self.folder / "bench.toml"
        plan.write_text(self.plan)
        bench.write_text(self.bench)
        named = [plan] if verb == "night" else []
        placed = ["--out", self.folder / "out"] if verb in ("night", "resume") else []
        return self.call(verb, *named, "--bench", bench, *placed, *options)


@pytest.fixture
def night(call: Call, tmp_path: Path) -> Night:
    return Night(call, tmp_path)


def test_a_short_night_is_done_and_reported(night: Night) -> None:
    said = night.run("--clear-trip", "--json")
    found = json.loads(said.out)
    assert (said.status, found["status"]) == (0, "done")
    assert json.loads((night.folder / "out/run-1.json").read_text()) == found
    assert [unit["serial"] for unit in found["units"]][-1] == "T82-REF"
    for unit in found["units"]:
        assert unit["start_to_open_c"]["value"] is None, "31 °C opens nothing"
        assert unit["start_to_open_c"]["reason"]
    assert len(list((night.folder / "out/curves").glob("*.csv"))) == 6


def test_a_latched_trip_is_not_cleared_unasked(night: Night) -> None:
    said = night.run()
    assert (said.status, said.out) == (3, "")
    assert "power on" in said.err
    assert "clear" in said.err


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("to_c = 31.0", "to_c = 112.0", "above the bath's limit"),
        ("to_c = 31.0", "to_c = 106.0", "above the cap 105.0 °C of T82-0412"),
        ("station = 2\n", "station = 1\n", "station 1: loaded 2 times"),
        ("T82-0417", "T82-0412", "serial T82-0412: loaded 2 times"),
        ("rate_k_per_min = 1.0", "rate_k_per_min = 9.5", "attainable"),
        ("at_least_s", "at_lest_s", "step[1].at_lest_s: unknown key; did you mean 'at_least_s'?"),
    ],
)
def test_a_plan_that_cannot_be_is_refused_before_heat(
    night: Night, old: str, new: str, words: str
) -> None:
    assert old in night.plan
    night.plan = night.plan.replace(old, new)
    said = night.run("--clear-trip", "--json")
    assert (said.status, said.out) == (2, "")
    assert any(words in line for line in said.err.splitlines())
    assert not (night.folder / "out/journal.sqlite").exists()


def test_only_check_heats_nothing(night: Night) -> None:
    said = night.run("--only-check", "--json")
    assert said.status == 0
    found = json.loads(said.out)
    assert 60.0 < found["expected_s"] <= found["cold_s"]
    assert found["fill_above_switch_l"] > 0.0
    assert "above the level switch" in night.run("--only-check").out
    assert not (night.folder / "out").exists()


def test_a_trip_ends_the_night_with_its_reason(night: Night) -> None:
    night.bench += '\n[[virtual.fault]]\nkind = "emergency_stop"\nat_s = 200.0\n'
    said = night.run("--clear-trip")
    assert said.status == 3
    assert "tripped: controller tripped: emergency" in said.out


def test_a_night_that_tripped_is_gone_on_with_as_one_run(night: Night) -> None:
    healthy = night.bench
    night.bench += '\n[[virtual.fault]]\nkind = "emergency_stop"\nat_s = 200.0\n'
    assert night.run("--clear-trip").status == 3
    night.bench = healthy
    said = night.run("--clear-trip", "--json", verb="resume")
    found = json.loads(said.out)
    assert (said.status, found["run"], found["status"]) == (0, 1, "done")


def test_a_journal_copied_without_its_curves_is_gone_on_with(night: Night) -> None:
    healthy = night.bench
    night.bench += '\n[[virtual.fault]]\nkind = "emergency_stop"\nat_s = 200.0\n'
    assert night.run("--clear-trip").status == 3
    night.bench = healthy
    shutil.rmtree(night.folder / "out/curves")
    said = night.run("--clear-trip", "--json", verb="resume")
    assert (said.status, json.loads(said.out)["status"]) == (0, "done")
    assert len(list((night.folder / "out/curves").glob("*.csv"))) == 6


def test_heat_that_goes_on_behind_a_trip_is_said_with_status_4(night: Night) -> None:
    night.bench += (
        '\n[[virtual.fault]]\nkind = "contactor_welded"\nat_s = 60.0\n'
        '\n[[virtual.fault]]\nkind = "heater_welded"\nat_s = 200.0\n'
    )
    said = night.run("--clear-trip", "--json")
    found = json.loads(said.out)
    assert (said.status, found["status"]) == (4, "tripped")
    assert found["reason"] == "controller tripped: heater_welded"
    assert any(text.startswith("THE HEAT IS STILL ON: pull Q1") for text in found["heated"])
    assert "THE HEAT IS STILL ON: pull Q1" in said.err
    # The bench is given back: nobody is told "in use" who comes to look.
    assert night.run("--json", verb="check").status == 3


HOURS = """
[[step]]
kind = "hold"
for_s = 72000.0
cycle = 1
"""


def test_a_night_longer_than_14_h_needs_a_yes_and_one_beyond_36_h_is_refused(night: Night) -> None:
    night.plan += HOURS
    said = night.run("--clear-trip")
    assert (said.status, said.out) == (2, "")
    assert said.err == "the night takes 20.1 h, more than 14 h; say --yes if it is meant\n"
    said = night.run("--only-check")
    assert said.status == 0
    assert "warning: the run takes 20.1 h: more than a night" in said.out
    night.plan += HOURS
    for options in (("--only-check",), ("--clear-trip", "--yes")):
        said = night.run(*options)
        assert (said.status, said.out) == (2, "")
        assert "the plan takes 40.1 h, limit 36 h" in said.err
    assert night.run("--only-check", "--long").status == 0


def test_the_limits_a_plan_brings_are_shown_before_heat(night: Night) -> None:
    said = night.run("--only-check", "--json")
    on = json.loads(said.out)["on"]
    # 32.2 kJ/K by 11 K over 1500 W are 4 min; the controller stops it after some half an hour.
    assert 200 < on["heater_s"] < 400
    assert 1800 + 2 * 200 < on["heater_limit_s"] < 1800 + 2 * 400 + 60
    assert on["element_limit_s"] == [0] * 6
    said = night.run("--only-check")
    assert "the heater will be on for 0:0" in said.out
    night.bench += "\n[limits]\nheater_on_limit_s = 100\n"
    said = night.run("--only-check")
    assert said.status == 2
    assert "heater_on_limit_s in [limits]" in said.err


def test_there_is_nothing_to_resume_in_an_empty_folder(night: Night) -> None:
    said = night.run(verb="resume")
    assert said.status == 2
    assert "no such file" in said.err


def test_check_lists_what_it_looked_at(night: Night) -> None:
    said = night.run("--json", verb="check")
    found = json.loads(said.out)
    assert said.status == 3, "a bench just powered holds its power-on trip"
    assert [c["what"] for c in found["checks"] if not c["ok"]] == ["latched trip"]
    said = night.run("--stations", "1,9", verb="check")
    assert said.status == 2
    assert "'9' is no station" in said.err


def test_a_bench_without_a_run_says_so(night: Night) -> None:
    said = night.run("--json", verb="check")
    said = night.call("bench", "status", "--bench", night.folder / "bench.toml")
    assert said.status == 3
    assert said.err == "no run on this bench; start one first\n"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[FerryShop]:
    """The ferry workshop with a plan of a short night in plan.toml."""
    with ferry_shop(tmp_path) as made:
        path = tmp_path / "quay.toml"
        path.write_text(path.read_text().replace("seed = 3\n", "seed = 3\n" + WARM))
        made.batch(["A1"])
        plan = plan_night(made.shop, BATCH, "as-found", QUAY, steps=STEPS)
        (tmp_path / "plan.toml").write_text(plan_text(plan))
        yield made


def of_shop(call: Call, shop: FerryShop, *options: object, verb: str = "night") -> Said:
    folder = shop.shop.folder
    named = [folder / "plan.toml"] if verb == "night" else []
    return call(verb, *named, "--shop", folder / "workshop.toml", *options)


def test_a_night_of_the_workshop_is_on_record(call: Call, shop: FerryShop) -> None:
    said = of_shop(call, shop, "--by", OPERATOR, "--clear-trip", "--json")
    found = json.loads(said.out)
    assert (said.status, found["status"], found["run"]) == (0, "done", 1)
    assert [unit["serial"] for unit in found["units"]] == ["A1", REFERENCE]
    assert "warning: could not be certified: probes: no calibration on record" in said.err
    records = shop.shop.records
    counts = [len(records.current(kind)) for kind in (Loading, StationRun, Result)]
    assert counts == [2, 2, 2]
    assert records.current(Loading)[0].by == shop.people[OPERATOR]
    assert (shop.shop.nights / "run-1" / "night.json").exists()


def test_a_unit_is_not_measured_twice_unasked(call: Call, shop: FerryShop) -> None:
    assert of_shop(call, shop, "--by", OPERATOR, "--clear-trip").status == 0
    said = of_shop(call, shop, "--by", OPERATOR, "--clear-trip")
    assert (said.status, said.out) == (2, "")
    assert said.err.splitlines()[-1].startswith("A1: a retest needs a recorded cause")
    again = {"A1": Retest("bubbles", "steps of 0.2 mm at 78 °C")}
    plan = plan_night(shop.shop, BATCH, "as-found", QUAY, retests=again, steps=STEPS)
    (shop.shop.folder / "plan.toml").write_text(plan_text(plan))
    assert of_shop(call, shop, "--by", OPERATOR, "--clear-trip").status == 0
    assert len(shop.shop.records.current(StationRun)) == 4


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ((), "say with --by who starts the night"),
        (("--by", "Nobody"), "has no person of name 'Nobody'"),
        (("--by", OPERATOR, "--bench", "pier"), "bench 'pier': not the workshop's"),
    ],
)
def test_a_night_of_the_workshop_is_refused(
    call: Call, shop: FerryShop, options: tuple[str, ...], words: str
) -> None:
    said = of_shop(call, shop, "--clear-trip", *options)
    assert (said.status, said.out) == (2, "")
    assert words in said.err
    assert shop.shop.records.current(Loading) == []


def test_only_check_tells_what_would_block(call: Call, shop: FerryShop) -> None:
    bench = shop.shop.folder / "quay.toml"
    said = of_shop(call, shop, "--only-check", "--bench", bench, "--json")
    assert said.status == 0
    assert json.loads(said.out)["expected_s"] > 80.0
    assert "could not be certified: gauge of station 1" in said.err
    assert shop.shop.records.current(Loading) == []


def test_a_night_of_the_workshop_is_gone_on_with(call: Call, shop: FerryShop) -> None:
    path = shop.shop.folder / "quay.toml"
    healthy = path.read_text()
    path.write_text(
        healthy.replace(
            "[budget]", '[[virtual.fault]]\nkind = "emergency_stop"\nat_s = 60.0\n[budget]'
        )
    )
    assert of_shop(call, shop, "--by", OPERATOR, "--clear-trip").status == 3
    statuses = {k.entry.status for k in shop.shop.records.current(StationRun)}
    assert statuses == {"tripped"}
    path.write_text(healthy)
    assert of_shop(call, shop, verb="resume").status == 2
    said = of_shop(call, shop, "--by", OPERATOR, "--clear-trip", "--json", verb="resume")
    found = json.loads(said.out)
    assert (said.status, found["run"], found["status"]) == (0, 1, "done")
    statuses = {k.entry.status for k in shop.shop.records.current(StationRun)}
    assert statuses == {"done"}


def test_a_night_without_the_workshop_is_started_by_nobody_on_record(night: Night) -> None:
    said = night.run("--by", OPERATOR)
    assert said.status == 2
    assert "belongs to a night of the workshop" in said.err
    assert night.call("night", night.folder / "plan.toml").status == 2

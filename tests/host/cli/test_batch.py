"""`batch` as a workshop meets it, from opening to who passed; nights are the ferry shop's."""

from __future__ import annotations

import json
from collections.abc import Iterator
from io import StringIO
from pathlib import Path

import pytest

from host.cli.conftest import Call
from host.workshop.ferry_shop import BATCH, CERTIFIER, OPERATOR, REFERENCE, FerryShop, ferry_shop
from proofbath.cli import VERBS
from proofbath.description import parse_toml
from proofbath.run.plan import NightPlan
from proofbath.store.kinds import Batch, Decision, Intake, Unit

Arguments = tuple[object, ...]
BY = ("--by", OPERATOR)


@pytest.fixture(autouse=True)
def verb(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(VERBS, "batch", "A customer's units.")


@pytest.fixture
def ferry(tmp_path: Path) -> Iterator[FerryShop]:
    with ferry_shop(tmp_path) as made:
        yield made


@pytest.fixture
def shop(tmp_path: Path, ferry: FerryShop) -> Arguments:
    return ("--shop", tmp_path / "workshop.toml")


def opened(call: Call, shop: Arguments, name: str = BATCH, type_name: str = "Teal-82") -> None:
    customer = ("--customer", "River Ferry Ltd", "--address", "Pier 2", "--address", "Quayside")
    options = ("--type", type_name, *customer, "--received", "2025-10-01")
    said = call("batch", "open", name, *options, *BY, *shop)
    assert (said.status, said.err) == (0, "")


def test_a_batch_is_opened_on_its_types_version(
    call: Call, ferry: FerryShop, shop: Arguments
) -> None:
    opened(call, shop)
    batch = ferry.shop.records.find(Batch, name=BATCH).entry
    assert batch.customer_address == ("Pier 2", "Quayside")
    (listed,) = json.loads(call("batch", "list", *shop, "--json").out)["batches"]
    assert (listed["batch"], listed["type"], listed["version"]) == (BATCH, "Teal-82", 1)
    assert (listed["units"], listed["certified"]) == (0, 0)
    assert "River Ferry Ltd" in call("batch", "list", *shop).out


def test_findings_by_options(call: Call, ferry: FerryShop, shop: Arguments) -> None:
    opened(call, shop)
    seal = ("--good", "--finding", "seal", "bad", "--remark", "new seal")
    said = call("batch", "intake", BATCH, "T82-1", "--new", *seal, *BY, *shop)
    assert (said.status, said.out) == (0, f"T82-1: taken into {BATCH}\n")
    (kept,) = ferry.shop.records.current(Intake)
    assert (kept.entry.findings.seal, kept.entry.findings.spring) == ("bad", "good")
    cracked = ("--finding", "cracks", "bad", "--refuse", "--remark", "frame cracked")
    refused = call("batch", "intake", BATCH, "T82-2", "--new", *cracked, *BY, *shop, "--json")
    told = json.loads(refused.out)
    assert (refused.status, told["accepted"], told["findings"]["spring"]) == (
        0, False, "not looked at",
    )  # fmt: skip


def test_findings_by_questions(
    call: Call, ferry: FerryShop, shop: Arguments, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A heater-assisted unit: seven looks, heater and insulation, taken in, and why with a bad."""
    opened(call, shop, "ferry 13", "Heron-103")
    answers = ["good"] * 6 + ["bad", "9.1", "200", "y", "new seal", ""]
    monkeypatch.setattr("sys.stdin", StringIO("\n".join(answers)))
    said = call("batch", "intake", "ferry 13", "H103-1", "--new", *BY, *shop)
    assert (said.status, said.out) == (0, "H103-1: taken into ferry 13\n")
    assert "heater, ohm" in said.err
    (kept,) = ferry.shop.records.current(Intake)
    assert (kept.entry.findings.seal, kept.entry.findings.heater_ohm) == ("bad", 9.1)
    assert (kept.entry.remark, kept.entry.findings.insulation_mohm) == ("new seal", 200.0)


def test_an_intake_is_corrected_with_a_reason(
    call: Call, ferry: FerryShop, shop: Arguments
) -> None:
    ferry.batch(["T82-1"])
    again = ("batch", "intake", BATCH, "T82-1", "--good", *BY, *shop)
    assert call(*again).status == 2
    assert call(*again, "--correct", "spring was looked at after all").status == 0
    (kept,) = ferry.shop.records.current(Intake)
    assert kept.entry.findings.spring == "good"


def test_a_correction_leaves_the_rest_of_an_intake_as_it_was(
    call: Call, ferry: FerryShop, shop: Arguments
) -> None:
    opened(call, shop, "ferry 13", "Heron-103")
    intake = ("batch", "intake", "ferry 13", "H103-1", *BY, *shop)
    cracked = ("--finding", "cracks", "bad", "--refuse", "--remark", "cracked", "--heater-ohm", "9")
    assert call(*intake, "--new", "--cause", "complaint", *cracked).status == 0

    def corrected(*options: str) -> Intake:
        assert call(*intake, "--correct", "looked again", *options).status == 0
        return ferry.shop.records.current(Intake)[0].entry

    found = corrected("--finding", "spring", "good")
    assert (found.cause, found.accepted, found.remark) == ("complaint", False, "cracked")
    findings = found.findings
    assert (findings.cracks, findings.spring, findings.heater_ohm) == ("bad", "good", 9.0)
    assert corrected("--accept", "--finding", "cracks", "good").accepted


def test_a_list_is_taken_in_whole_or_not_at_all(
    call: Call, ferry: FerryShop, shop: Arguments, tmp_path: Path
) -> None:
    opened(call, shop)
    path = tmp_path / "units.csv"
    path.write_text("serial,cause,accepted,remark\nT82-1,new,yes,\nT82-2,x,yes,\nT82-3,,no,\n")
    refused = call("batch", "import", BATCH, path, *BY, *shop)
    assert (refused.status, refused.out) == (2, "")
    assert "line 3" in refused.err
    assert [u.entry.serial for u in ferry.shop.records.current(Unit)] == [REFERENCE]
    path.write_text("serial,cause,accepted,remark\nT82-1,new,yes,\nT82-3,,no,cracked\n")
    said = call("batch", "import", BATCH, path, *BY, *shop)
    assert (said.status, said.out) == (0, f"{BATCH}: 1 units taken in, 1 refused\n")


def test_the_next_night_is_planned_and_its_file_is_the_plan(
    call: Call, ferry: FerryShop, shop: Arguments, tmp_path: Path
) -> None:
    ferry.batch(["T82-1", "T82-2"])
    path = tmp_path / "tonight.toml"
    plan = ("batch", "plan", BATCH, "--stage", "as-found", "--out", path)
    said = call(*plan, "--station", "T82-2", "4", *shop, "--json")
    told = json.loads(said.out)
    assert said.status == 0
    hangs = {row["station"]: (row["serial"], row["role"]) for row in told["stations"]}
    assert hangs == {1: ("T82-1", "unit"), 4: ("T82-2", "unit"), 6: (REFERENCE, "reference")}
    assert any("probes" in line for line in told["blocking"]), "nothing is calibrated yet"
    written = parse_toml(path.read_text(), NightPlan, "plan")
    assert (written.batch, written.stage, written.profile) == (BATCH, "as-found", "plain-as-found")
    assert {p.station for p in written.station} == {1, 4, 6}
    again = call(*plan, *shop)
    assert (again.status, again.out) == (2, "")
    assert "exists already" in again.err
    shown = call("batch", "plan", BATCH, "--stage", "as-found", *shop)
    assert "Load bench quay: ferry 12, as-found" in shown.out
    assert "the data are there after" in shown.out
    (usual,) = (tmp_path / "nights").glob("ferry-12-as-found-*.toml")
    assert parse_toml(usual.read_text(), NightPlan, "plan").stage == "as-found"


def test_who_passed_why_not_and_what_is_next(call: Call, ferry: FerryShop, shop: Arguments) -> None:
    """Limits 80 to 84 °C: 82 passes, 86 fails, one never opens, one is not measured at all."""
    ferry.calibrate()
    ferry.batch(["T82-1", "T82-2", "T82-3", "T82-4"])
    ferry.night("as-found", {"T82-1": 82.0, "T82-2": 86.0, "T82-3": None})
    show = ("batch", "show", BATCH, "--on", ferry.day.isoformat(), *shop)
    said = call(*show, "--json")
    units = {unit["serial"]: unit for unit in json.loads(said.out)["units"]}
    assert said.status == 1, "one fails"
    assert [units[f"T82-{n}"]["outcome"] for n in (1, 2, 3, 4)] == ["pass", "fail", "unset", None]
    assert "rework" in units["T82-2"]["next_step"]
    assert units["T82-4"]["next_step"] == "measure as found"
    assert units["T82-1"]["as_found"][0]["quantity"] == "start_to_open_c"
    shown = call(*show).out
    assert "Start-to-open, rising, at 0.1 mm at zero rate: 82 ± 2 °C" in " ".join(shown.split())
    assert "T82-4" in shown


def test_a_retest_needs_its_cause(call: Call, ferry: FerryShop, shop: Arguments) -> None:
    ferry.calibrate()
    ferry.batch(["T82-1"])
    ferry.night("as-found", {"T82-1": 82.0})
    plan = ("batch", "plan", BATCH, "--stage", "as-found", "--serial", "T82-1", *shop)
    refused = call(*plan)
    assert (refused.status, refused.out) == (2, "")
    assert "a retest needs a recorded cause" in refused.err
    said = call(*plan, "--retest", "T82-1", "bubbles", "seen under the plate at 90 °C")
    assert said.status == 0
    assert "T82-1 is measured once more: bubbles under plate or gauge" in said.out
    path = Path(said.out.splitlines()[-1].removeprefix("plan: "))
    assert 'retest_cause = "bubbles"' in path.read_text()
    another = call(*plan, "--retest", "T82-1", "bubbles", "seen under the plate at 90 °C")
    assert another.out.splitlines()[-1] == f"plan: {path.with_stem(path.stem + '-2')}"


def test_a_person_fails_a_stuck_unit(call: Call, ferry: FerryShop, shop: Arguments) -> None:
    ferry.calibrate()
    ferry.batch(["T82-1"])
    fail = ("batch", "fail", BATCH, "T82-1", "--reason", "stuck shut", "--by", CERTIFIER, *shop)
    assert "was not measured" in call(*fail).err
    ferry.night("as-found", {"T82-1": None})
    said = call(*fail)
    assert (said.status, said.out) == (0, "T82-1: failed; give it back\n")
    told = call("batch", "show", BATCH, *shop, "--json")
    (unit,) = json.loads(told.out)["units"]
    assert (told.status, unit["outcome"]) == (1, "failed by a person")
    assert f"failed by {CERTIFIER}: stuck shut" in unit["refusals"]


def test_a_conditional_pass_is_agreed_to(call: Call, ferry: FerryShop, shop: Arguments) -> None:
    """83.68 + 0.2 - 0.02 K (lag 22 s, 23 taken off) lies inside 84 °C, but not by U."""
    ferry.calibrate()
    ferry.batch(["T82-1", "T82-2"])
    ferry.night("as-found", {"T82-1": 83.68, "T82-2": 82.0})
    said = ("--customer", "J. Ness", "--record", "mail of 2 October", *BY, *shop)
    agreed = json.loads(call("batch", "agree", BATCH, "T82-1", *said, "--json").out)
    assert (
        ferry.shop.records.one(Decision, agreed["decision"]).entry.agreement_customer == "J. Ness"
    )
    passed = call("batch", "agree", BATCH, "T82-2", *said)
    assert (passed.status, passed.out) == (2, "")
    assert "nothing to agree to" in passed.err


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("show", "ferry 99"), "no batch of name 'ferry 99'"),
        (
            ("open", "ferry 9", "--type", "Wigeon-90", "--customer", "R", *BY),
            "type 'Wigeon-90': not on record",
        ),
        (("intake", BATCH, "T82-7", "--good", *BY), "not on record; read its tag again"),
        (("intake", BATCH, "T82-1", "--new", "--good", *BY), "is on record already; it is not new"),
        (
            ("intake", BATCH, "T82-7", "--new", "--good", "--heater-ohm", "9", *BY),
            "a Teal-82 has no heater",
        ),
        (
            ("intake", BATCH, "T82-7", "--new", "--finding", "seal", "bad", *BY),
            "accepted with seal bad: say in the remark",
        ),
        (
            (
                "intake",
                BATCH,
                "T82-1",
                "--finding",
                "seal",
                "bad",
                "--finding",
                "seal",
                "good",
                *BY,
            ),
            "seal is said twice",
        ),
        (("plan", BATCH, "--stage", "as-left"), "no unit is due as-left"),
        (("plan", BATCH, "--stage", "as-found", "--bench", "river"), "bench 'river'"),
        (("plan", BATCH, "--stage", "as-found", "--station", "T82-7", "2"), "T82-7 is not in this"),
        (("import", BATCH, "nowhere.csv", *BY), "no such file"),
    ],
)
def test_a_refusal_is_one_line_and_nothing_is_written(
    call: Call, ferry: FerryShop, shop: Arguments, arguments: Arguments, words: str
) -> None:
    ferry.batch(["T82-1"])
    before = ferry.shop.records.head()
    said = call("batch", *arguments, *shop)
    assert (said.status, said.out, said.err.count("\n")) == (2, "", 1)
    assert words in said.err
    assert ferry.shop.records.head() == before


def test_an_order_is_said_with_what_it_changes_and_the_batch_shows_it(
    call: Call, ferry: FerryShop, shop: Arguments
) -> None:
    ferry.batch(["T82-1"])
    words = ("--text", "order 4711")
    said = call("batch", "order", BATCH, "--at", "78", *words, *BY, *shop)
    assert said.status == 0, said.err
    first, second, *caution = said.out.splitlines()
    assert first == f"{BATCH}: ordered: 2 mm open at 78 ± 2 °C; order 4711"
    assert second.startswith(f"{BATCH}: not judged by: Start-to-open, rising, at 0.1 mm")
    assert "ask the authority" in " ".join(caution)
    shown = call("batch", "show", BATCH, *shop).out
    assert "ordered: 2 mm open at 78 ± 2 °C; order 4711" in shown
    assert "marked, not judged by: Start-to-open" in shown
    told = json.loads(call("batch", "show", BATCH, *shop, "--json").out)
    assert told["limits"] == ["Opening at a lift, rising, at 2 mm at zero rate: 78 ± 2 °C"]


def test_an_order_for_an_engine_without_logs_takes_the_usual_regulating_lift(
    call: Call, ferry: FerryShop, shop: Arguments
) -> None:
    ferry.batch(["T82-1"])
    said = call(
        "batch", "order", BATCH, "--engine", "80", "--serial", "T82-1", *BY, *shop, "--json"
    )
    told = json.loads(said.out)
    assert (told["wanted_c"], told["lift_mm"], told["engine_c"]) == (80.0, 2.0, 80.0)
    assert "common practice, no source" in told["text"]


@pytest.mark.parametrize("given", [(), ("--at", "78", "--engine", "80")])
def test_an_order_is_of_a_temperature_or_for_an_engine(
    call: Call, ferry: FerryShop, shop: Arguments, given: tuple[str, ...]
) -> None:
    ferry.batch(["T82-1"])
    said = call("batch", "order", BATCH, *given, *BY, *shop)
    assert (said.status, said.out) == (2, "")
    assert "give either a temperature, or what the engine shall run at" in said.err


def test_a_units_history_tells_its_order(call: Call, ferry: FerryShop, shop: Arguments) -> None:
    ferry.batch(["T82-1"])
    call("batch", "order", BATCH, "--at", "78", "--text", "order 4711", *BY, *shop)
    said = call("unit", "show", "T82-1", *shop)
    assert "2 mm open at 78 ± 2 °C; order 4711" in " ".join(said.out.split())
    (visit,) = json.loads(call("unit", "show", "T82-1", *shop, "--json").out)["batches"]
    assert visit["order"] == "2 mm open at 78 ± 2 °C; order 4711"

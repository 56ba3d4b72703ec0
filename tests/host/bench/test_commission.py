"""Commissioning: each interlock proven on the virtual bench, and found out when it is not."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from host.bench.nights import bench_file
from host.bench.test_loading import BENCH
from proofbath.bench.commission import commission, commission_bench
from proofbath.bench.interlock_judge import Finding
from proofbath.bench.interlocks import TRIPS, wanted_rows
from proofbath.bench.link import Link
from proofbath.bench.person import Act
from proofbath.bench.proof_record import Proof, fresh, load_proof, proof_path, save_proof
from proofbath.bench.prover import Prover
from proofbath.bench.start import greet
from proofbath.bench.virtual_person import Plug, VirtualPerson, with_dummy_loads
from proofbath.errors import BenchFaultError, InputError, RecordError
from proofbath.virtual.bench import VirtualBench
from proofbath.wire.table import TripReason

STATIONS = (1, 2, 3, 4, 5, 6)
NOW = "2025-10-01T18:00:00+00:00"
OUTPUTS = ("contactor", "heater", "element_feed")


class Stand:
    """A virtual bench with a person at it; proves the named rows only."""

    def __init__(self, person: type[VirtualPerson] = VirtualPerson, text: str = BENCH) -> None:
        self.description = bench_file(text)
        assert self.description.virtual is not None
        self.bench = VirtualBench(with_dummy_loads(self.description.virtual))
        self.said: list[str] = []
        plug = Plug(self.bench)
        self.person = person(self.bench, self.said.append, plug)
        link = Link(plug)
        self.prover = Prover(link, self.description, self.person, lambda: Link(plug))
        self.proof = fresh("quay", True, greet(link), STATIONS)
        self.kept: list[Proof] = []

    def prove(self, *names: str) -> dict[str, Finding]:
        for name in set(wanted_rows(self.proof.stations)) - set(names):
            self.proof = self.proof.with_row(name, Finding(True, "", ""), NOW, "before")
        done = commission(self.proof, self.prover, lambda: NOW, self.kept.append, "quay master")
        rows = {name: done.rows[name] for name in names}
        return {n: Finding(r.ok, r.measured, r.wanted) for n, r in rows.items()}

    def all_off(self) -> bool:
        return not any(self.bench.get(f"output.{name}") for name in OUTPUTS)


def test_a_virtual_bench_proves_every_row_by_itself(tmp_path: Path) -> None:
    told: list[str] = []

    class Listener(VirtualPerson):
        """Is only told; a virtual bench has its own hands."""

        def tell(self, text: str) -> None:
            told.append(text)

        def act(self, act: Act) -> None:
            raise AssertionError(act)

    bench = bench_file(BENCH)
    assert bench.virtual is not None
    listener = Listener(VirtualBench(bench.virtual))
    path = tmp_path / "bench.proof.json"
    proof = commission_bench(bench, path, listener, "quay master", STATIONS)
    assert [name for name, row in proof.rows.items() if not row.ok] == []
    assert list(proof.rows) == wanted_rows(STATIONS)
    assert load_proof(path) == proof
    assert sum("proven" in line for line in told) == len(proof.rows)


def test_rows_cover_every_trip_a_hand_or_a_lowered_limit_can_cause() -> None:
    """Left out: boots other than power failure, limits that are missing, the slow back-up for a
    welded path (120 s of quiet and 0.5 K of climb) and the controller's tests of itself."""
    by_row = {row.reason for row in TRIPS} | {TripReason.ELEMENT_FEED_STUCK, TripReason.POWER_ON}
    left_out = {
        TripReason.NONE, TripReason.BROWN_OUT, TripReason.WATCHDOG, TripReason.UNKNOWN_BOOT,
        TripReason.LIMITS_MISSING, TripReason.CLIMB_WHILE_OFF,
    }  # fmt: skip
    known = {r for r in TripReason if r <= TripReason.HEATER_ON_LIMIT}
    assert by_row | left_out == known


class Idle(VirtualPerson):
    """Does nothing that is asked."""

    def act(self, act: Act) -> None:
        """Look away."""


@pytest.mark.parametrize(
    ("name", "seen"),
    [
        ("emergency stop", "nothing of it was seen"),
        ("mirror unplugged", "nothing of it was seen"),
        ("station 3 element open", "no flag"),
        ("cut-out", "at its trip: the controller saw the contactor closed"),
        ("cable pulled", "the link was not lost within 120 s"),
        ("power failure", "the link was not lost within 120 s"),
    ],
)
def test_what_was_not_done_is_not_proven(name: str, seen: str) -> None:
    stand = Stand(Idle)
    found = stand.prove(name)[name]
    assert not found.ok
    assert seen in found.measured
    for _ in range(40):
        stand.bench.advance(b"")
    assert stand.all_off()


OTHERWISE = {"level": "emergency stop", "element short": "element open", "element over": "gauge"}


class Wrong(VirtualPerson):
    """Does something else than what is asked."""

    def act(self, act: Act) -> None:
        super().act(act._replace(name=OTHERWISE.get(act.name, act.name)))


@pytest.mark.parametrize("name", ["level", "station 2 element short", "station 2 element over"])
def test_another_trip_or_flag_proves_nothing(name: str) -> None:
    assert not Stand(Wrong).prove(name)[name].ok


class Hasty(VirtualPerson):
    """Presses the cut-out's reset before being told, and does not know the local rules."""

    def wait(self, text: str) -> None:
        if "do not press its reset" in text:
            self.act(Act("reset cut-out", text))

    def agrees(self, question: str) -> bool:
        return "local rules" not in question and super().agrees(question)


def test_a_cut_out_that_closes_by_itself_is_not_proven() -> None:
    found = Stand(Hasty).prove("cut-out")["cut-out"]
    assert (found.ok, found.measured) == (
        False, "before its reset: the controller saw the contactor closed",
    )  # fmt: skip


def test_what_a_person_does_not_declare_is_not_proven() -> None:
    assert not Stand(Hasty).prove("local rules")["local rules"].ok


def test_a_contactor_that_stays_in_when_the_cable_is_pulled_is_found() -> None:
    class Welded(VirtualPerson):
        """Pulls the cable of a bench whose contactor has welded."""

        def act(self, act: Act) -> None:
            if act.name == "cable":
                self._bench.begin("contactor_welded", 0, 60.0)
            super().act(act)

        def agrees(self, question: str) -> bool:
            said = super().agrees(question)
            return said and not question.startswith("Did the contactor")

    found = Stand(Welded).prove("cable pulled")["cable pulled"]
    assert (found.ok, found.measured) == (False, "the contactor did not drop out")


def test_a_bench_that_is_not_in_order_is_not_commissioned() -> None:
    fault = '\n[[virtual.fault]]\nkind = "level_low"\n'
    stand = Stand(text=BENCH + fault)
    with pytest.raises(BenchFaultError, match="bath level: low"):
        stand.prover.look(STATIONS)


def test_without_dummy_loads_no_element_is_fed() -> None:
    class NoLoads(VirtualPerson):
        """Has units hanging in air."""

        def agrees(self, question: str) -> bool:
            return "dummy loads" not in question

    stand = Stand(NoLoads)
    with pytest.raises(InputError, match="plug in the dummy loads"):
        stand.prove("station 1 element open")
    assert stand.kept == []


def test_an_interrupted_commissioning_goes_on_where_it_was_left(tmp_path: Path) -> None:
    class Called(VirtualPerson):
        """Is called away after the stirrer."""

        def tell(self, text: str) -> None:
            if "bath probe" in text:
                raise KeyboardInterrupt

    path = tmp_path / "bench.proof.json"
    bench = bench_file(BENCH)
    assert bench.virtual is not None
    person = Called(VirtualBench(bench.virtual))
    with pytest.raises(KeyboardInterrupt):
        commission_bench(bench, path, person, "first", STATIONS)
    left = load_proof(path)
    assert left is not None
    assert "stirrer" in left.rows
    own = VirtualPerson(VirtualBench(bench.virtual))
    whole = commission_bench(bench, path, own, "second", STATIONS)
    assert whole.missing(whole.rows["level"].at) == []
    assert (whole.rows["level"].person, whole.rows["lease"].person) == ("first", "second")
    anew = commission_bench(bench, path, own, "third", STATIONS, again=True)
    assert {row.person for row in anew.rows.values()} == {"third"}


def proven(at: str = NOW) -> Proof:
    proof = Stand().proof
    for name in wanted_rows(proof.stations):
        proof = proof.with_row(name, Finding(True, "seen", "wanted"), at, "quay master")
    return proof


def test_a_proof_is_complete_for_twelve_months_and_not_a_day_longer() -> None:
    proof = proven()
    assert proof.missing("2026-10-01T17:59:00+00:00") == []
    assert proof.missing("2026-10-01T18:01:00+00:00") == wanted_rows(STATIONS)
    later = proof.with_row("level", Finding(False, "", ""), NOW, "x")
    assert later.missing(NOW) == ["level"]


def test_a_proof_is_of_one_controller_with_one_firmware() -> None:
    stand = Stand()
    identity = stand.prover.look(STATIONS)
    assert stand.proof.of(identity)
    for change in ({"serial_number": 99}, {"firmware": 999}, {"board": 3}):
        assert not stand.proof.of(identity._replace(**change))


@pytest.mark.parametrize(
    ("old", "new"),
    [('"ok": true', '"ok": false'), ("2025-10-01", "2026-10-01"), ('"rows"', '"row"'), ("{", "")],
)
def test_a_record_that_was_edited_is_found_out(old: str, new: str, tmp_path: Path) -> None:
    path = proof_path(tmp_path / "quay.toml")
    assert path.name == "quay.proof.json"
    save_proof(path, proven())
    assert load_proof(path) == proven()
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))
    with pytest.raises(RecordError, match="was changed after it was written"):
        load_proof(path)


def test_a_record_names_its_digest(tmp_path: Path) -> None:
    path = tmp_path / "p.json"
    save_proof(path, proven())
    assert json.loads(path.read_text())["digest"] == proven().digest()

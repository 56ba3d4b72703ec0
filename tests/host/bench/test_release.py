"""Which nights may be started: attended or proven, and loaded under guidance or by word."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from host.bench.nights import BENCH, PLAN, bench_file, plan
from proofbath.bench.filling_record import Filling, filling_path, save_filling
from proofbath.bench.interlock_judge import Finding
from proofbath.bench.interlocks import wanted_rows
from proofbath.bench.loading_record import loading_record, save_loading
from proofbath.bench.preflight import Check
from proofbath.bench.proof_record import Proof, fresh, proof_path, save_proof
from proofbath.bench.release import release_attendance, release_loading
from proofbath.errors import InputError, RecordError
from proofbath.wire.table import Board, BootCause, Identity, State, TripReason

STATIONS = (1, 2, 3, 4, 5, 6)
NOW = "2025-10-01T18:00:00+00:00"
REAL = bench_file(BENCH.replace('name = "quay"', 'name = "quay"\nport = "/dev/ttyACM0"'))
CONTROLLER = Identity(
    2,
    100,
    Board.ATMEGA2560,
    6,
    400,
    5,
    BootCause.EXTERNAL,
    4711,
    State.READY,
    0,
    TripReason.NONE,
    0,
    0,
)


def proven(at: str = NOW, **changed: object) -> Proof:
    proof = fresh("quay", False, CONTROLLER, STATIONS)
    for name in wanted_rows(STATIONS):
        proof = proof.with_row(name, Finding(True, "seen", "wanted"), at, "quay master")
    return proof.model_copy(update=changed)


FILLING = Filling(
    bench="quay", virtual=False, serial_number=4711, litres=8.0, low_s=2.0, right_s=5.0,
    at=NOW, person="quay master",
)  # fmt: skip


@pytest.fixture
def kept(tmp_path: Path) -> Callable[..., Path]:
    """Keeps a proof and a filling, and returns the bench file beside which they stand."""

    def keep(proof: Proof, filling: Filling | None = FILLING) -> Path:
        path = tmp_path / "quay.toml"
        save_proof(proof_path(path), proof)
        if filling is not None:
            save_filling(filling_path(path), filling)
        return path

    return keep


def test_an_unattended_night_on_hardware_needs_a_proof(tmp_path: Path) -> None:
    path = tmp_path / "quay.toml"
    with pytest.raises(InputError) as refused:
        release_attendance(REAL, path, (1, 3), False, NOW)
    (line,) = refused.value.faults
    assert line.startswith("unattended: the interlocks of quay are not proven; run: proofbath")
    assert release_attendance(REAL, path, (1, 3), True, NOW).remarks[0][0] == "attended"
    assert release_attendance(bench_file(), path, (1, 3), False, NOW).remarks[0][0] == "attended"


def test_a_proven_bench_may_be_left_alone_with_its_own_controller(
    kept: Callable[..., Path],
) -> None:
    release = release_attendance(REAL, kept(proven()), (1, 3), False, NOW)
    assert [kind for kind, _ in release.remarks] == ["unattended", "unattended"]
    assert proven().digest() in release.remarks[0][1]
    assert FILLING.digest() in release.remarks[1][1]
    release.check_controller(CONTROLLER)
    with pytest.raises(InputError, match="is for controller 4711 with firmware 100, this is 12"):
        release.check_controller(CONTROLLER._replace(serial_number=12))
    with pytest.raises(InputError, match="this is 4711 with 101"):
        release.check_controller(CONTROLLER._replace(firmware=101))


@pytest.mark.parametrize(
    ("proof", "words"),
    [
        (proven("2024-09-30T18:00:00+00:00"), "residual current and 52 more not proven within 365"),
        (
            proven().with_row("lease", Finding(False, "", ""), NOW, "x"),
            "unattended: lease not proven",
        ),
        (proven(virtual=True), "is not a proof of quay"),
        (proven(bench="slipway"), "is not a proof of quay"),
        (proven(stations=(1, 2)), "station 3 is loaded but not proven"),
    ],
)
def test_a_proof_that_does_not_hold_is_refused(
    proof: Proof, words: str, kept: Callable[..., Path]
) -> None:
    with pytest.raises(InputError, match=words):
        release_attendance(REAL, kept(proof), (1, 3), False, NOW)


@pytest.mark.parametrize(
    ("filling", "words"),
    [
        (None, "its level switch was never proven at a filling"),
        (FILLING.model_copy(update={"litres": 5.0}), "was proven with 5.0 l"),
        (FILLING.model_copy(update={"at": "2025-08-30T18:00:00+00:00"}), "32 days ago, limit 31"),
    ],
)
def test_a_bath_whose_float_was_not_seen_low_is_not_left_alone(
    filling: Filling | None, words: str, kept: Callable[..., Path]
) -> None:
    bench_path = kept(proven(), filling)
    with pytest.raises(InputError, match=words) as refused:
        release_attendance(REAL, bench_path, (1, 3), False, NOW)
    assert "run: proofbath check --filling" in refused.value.faults[0]
    assert release_attendance(REAL, bench_path, (1, 3), True, NOW).filling is None


def test_a_float_proven_with_another_controller_is_refused(kept: Callable[..., Path]) -> None:
    strange = FILLING.model_copy(update={"serial_number": 12})
    release = release_attendance(REAL, kept(proven(), strange), (1, 3), False, NOW)
    with pytest.raises(InputError, match="level switch: was proven with controller 12, this is 47"):
        release.check_controller(CONTROLLER)


def loaded(folder: Path, text: str = PLAN, made: str = NOW, bench: str = "quay") -> None:
    checks = {n: [Check(f"station {n} serial", True, "seen", "w", "")] for n in (1, 3)}
    save_loading(folder, loading_record(plan(text), bench, 4711, checks, made, "quay master"))


def test_a_guided_loading_stands_in_the_run(tmp_path: Path) -> None:
    loaded(tmp_path)
    guided, first, second = release_loading(plan(), REAL, tmp_path, "", NOW)
    assert guided == ("loading", f"guided, {NOW}, by quay master")
    assert [first[0], second[0]] == ["loaded", "loaded"]
    assert json.loads(second[1]) == {
        "station": 3, "serial": "REF", "role": "reference", "found": {"serial": "seen"},
    }  # fmt: skip


def test_a_loading_is_left_out_only_by_a_word(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no guided loading stands in"):
        release_loading(plan(), REAL, tmp_path, "", NOW)
    ((_, text),) = release_loading(plan(), REAL, tmp_path, "by hand, MK", NOW)
    assert text == "not guided, loaded as planned: by hand, MK"
    ((_, text),) = release_loading(plan(), bench_file(), tmp_path, "", NOW)
    assert text == "virtual bench loads itself"


@pytest.mark.parametrize(
    ("changed", "made", "bench", "words"),
    [
        (PLAN.replace('"A1"', '"A2"'), NOW, "quay", "station 1 is planned otherwise"),
        (PLAN.replace("station = 3", "station = 4"), NOW, "quay", "station 3 is planned"),
        (PLAN.replace('"reference"', '"unit"'), NOW, "quay", "station 3 is planned otherwise"),
        (PLAN, "2025-09-30T12:00:00+00:00", "quay", "was done 30 h ago, limit 24 h"),
        (PLAN, NOW, "slipway", "was done on slipway, the night is on quay"),
    ],
)
def test_a_loading_of_something_else_is_refused(
    changed: str, made: str, bench: str, words: str, tmp_path: Path
) -> None:
    loaded(tmp_path, made=made, bench=bench)
    with pytest.raises(InputError, match=words):
        release_loading(plan(changed), REAL, tmp_path, "", NOW)


def test_a_damaged_loading_is_told(tmp_path: Path) -> None:
    loaded(tmp_path)
    (tmp_path / "loading.json").write_text("{")
    with pytest.raises(RecordError, match="is damaged; load the bench again"):
        release_loading(plan(), REAL, tmp_path, "", NOW)

"""Comparison in the bench's own bath, from the raw counts of a night on record."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from host.bench.nights import bench_file
from host.bench.samples import sample
from host.store.shop import TEAL_82
from proofbath.bench.calibration import Calibration, ProbeCalibration
from proofbath.bench.calibration_content import Instrument
from proofbath.bench.calibration_fit import fit_probes
from proofbath.bench.compare import compared_points, holds_of
from proofbath.bench.notes import note_text
from proofbath.errors import RecordError
from proofbath.run.note import Note
from proofbath.run.plan import LoadedStation, NightPlan
from proofbath.run.profile import Hold, Soak
from proofbath.store.journal import Journal, RunHead

THERMOMETER = Instrument(name="RT-1", expanded_u=0.03)
BEFORE = ProbeCalibration()
TRUE = ProbeCalibration(offset_k=-0.11, slope=1.0008)
HELD_C = (45.0, 70.0, 95.0)
STEADY = 2.5


def write_holds(
    journal: Journal, drift_k: float = 0.0, fault: int = 0, checks: tuple[int, ...] = ()
) -> int:
    """Journal holds of 3 min at three temperatures, a sample a second; probes are right by TRUE."""
    steps: list[Soak | Hold] = []
    for at_c in HELD_C:
        steps += [Soak(to_c=at_c), Hold(label=f"{at_c:g} °C", for_s=180.0)]
    plan = NightPlan(
        batch="comparison",
        stage="trial",
        unit_type=TEAL_82,
        station=[LoadedStation(station=1, serial="BAR", role="blank")],
        step=steps,
    )
    texts = (plan, bench_file(), Calibration())
    head = RunHead(
        "2025-09-01T08:00:00+00:00", "quay", *(text.model_dump_json() for text in texts), "{}"
    )
    writer = journal.begin(head)
    for check in checks:
        ended = Note(t_s=0.0, code="step_end", text="", leg=check, purpose="check")
        writer.note(0.0, "step_end", note_text(ended))
    for n in range(3 * 240):
        step, within_s = divmod(n, 240)
        soaking = within_s < 60
        at_c = HELD_C[step] + (-9.0 if soaking else drift_k * within_s / 240)
        code_sum = round(TRUE.code_sum(at_c)) + (n % 3 - 1)
        writer.append(
            sample(sequence=n, device_ms=1000 * n, bath_sum=code_sum, guard_sum=code_sum,
                   bath_fault=fault)
        )  # fmt: skip
        if within_s in (59, 239):
            leg = 2 * step + (within_s == 239)
            for check in checks:
                leg += check <= leg
            note = Note(t_s=float(n), code="step_end", text="", leg=leg)
            writer.note(float(n), "step_end", note_text(note))
    writer.close(720.0, "done", "profile complete")
    return writer.run_id


@pytest.fixture
def journal(tmp_path: Path) -> Iterator[Journal]:
    made = Journal(tmp_path / "shop.db")
    yield made
    made.close()


def test_checks_that_a_run_put_between_its_steps_are_no_steps_of_the_plan(
    journal: Journal,
) -> None:
    """A check before everything and one behind the first soak: legs are later by them."""
    plain = holds_of(journal, write_holds(journal), STEADY)
    checked = holds_of(journal, write_holds(journal, checks=(0, 2)), STEADY)
    assert checked == plain
    assert [held.label for held in checked] == ["45 °C", "70 °C", "95 °C"]


def test_the_holds_of_a_run_calibrate_the_probes(journal: Journal) -> None:
    """Closed form: the probes were made linear in the standard's temperature."""
    holds = holds_of(journal, write_holds(journal), STEADY)
    asked: list[str] = []

    def reads(text: str) -> float:
        asked.append(text)
        return HELD_C[len(asked) - 1]

    points = compared_points(holds, THERMOMETER, 0.04, reads)
    found = fit_probes(points, BEFORE, BEFORE, THERMOMETER)
    assert [held.label for held in holds] == ["45 °C", "70 °C", "95 °C"]
    assert asked[1].startswith("Reference thermometer at the end of 70 °C, 8 min after the start")
    # A sum's step is 0.008 K; at 95 °C that is what the rounding may leave.
    for at_c in (45.0, 82.0, 95.0):
        corrected_c = found.bath.calibration.temperature_c(TRUE.code_sum(at_c))
        assert corrected_c == pytest.approx(at_c, abs=0.008)
    # Thermometer 0.015 K and gradient 0.04 K are common to all: no fit makes them smaller.
    assert found.bath.u_k >= (0.015**2 + 0.04**2) ** 0.5


def test_a_hold_that_drifts_is_refused(journal: Journal) -> None:
    with pytest.raises(RecordError, match=r"45 °C: drifted by .* hold longer"):
        holds_of(journal, write_holds(journal, drift_k=0.5), STEADY)


def test_a_hold_without_a_reading_is_refused(journal: Journal) -> None:
    with pytest.raises(RecordError, match="45 °C: a probe gave no reading"):
        holds_of(journal, write_holds(journal, fault=1), STEADY)


def test_a_run_without_holds_is_refused(journal: Journal) -> None:
    run_id = write_holds(journal)
    head = journal.run(run_id).head
    plan = json.loads(head.plan_text)
    plan["step"] = [step for step in plan["step"] if step["kind"] == "soak"] * 2
    writer = journal.begin(head._replace(plan_text=json.dumps(plan)))
    writer.append(sample())
    writer.close(1.0, "done", "profile complete")
    with pytest.raises(RecordError, match="holds the bath nowhere"):
        holds_of(journal, writer.run_id, STEADY)

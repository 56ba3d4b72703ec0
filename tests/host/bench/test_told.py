"""What a night's alarms say of a station stands in the report of the unit there.

The faults are the plant's own: a heater that burns open at a known time, a cup without wax.
"""

from __future__ import annotations

from contextlib import closing
from functools import partial

import numpy as np
import pytest

from host.workshop.heated_shop import example_bench
from proofbath.bench.process import bench_night
from proofbath.bench.recompute import file_in_force
from proofbath.bench.run import Run, read_run
from proofbath.bench.unit_analysis import UnitReport, unit_reports
from proofbath.cli.night_report import remarks
from proofbath.proof.decision import Outcome
from proofbath.proof.specification import Limit, Specification
from proofbath.proof.verdict import judge
from proofbath.run.element_watch import hottest_core_c
from proofbath.run.elements import Elements
from proofbath.run.plan import NightPlan
from proofbath.scenario.ferry import example_type
from proofbath.store.journal import Journal
from proofbath.virtual.description import VirtualFault

BURNT, DRY, SOUND = "H103-0207", "H103-0208", "H103-0211"
BURNS_S = 2660.0
STEPS = [
    {"kind": "soak", "cycle": 1, "to_c": 95.0},
    {"kind": "energise", "cycle": 1, "element_a": 0.5, "at_least_s": 300.0},
    {"kind": "energise", "cycle": 1, "element_a": 0.75, "at_least_s": 1200.0, "at_most_s": 1201.0},
    {"kind": "energise", "cycle": 1, "element_a": 0.95, "at_least_s": 300.0},
    {"kind": "power", "cycle": 1, "to_w": 0.0, "rate_w_per_min": 4.0},
]


@pytest.fixture(scope="module")
def night(tmp_path_factory: pytest.TempPathFactory) -> Run:
    """A night in which one heater burns open in its second current and one cup is without wax."""
    folder = tmp_path_factory.mktemp("told")
    bench = example_bench()
    virtual = bench.virtual
    assert virtual is not None
    units = tuple(
        unit.model_copy(update={"wax_w_per_k": 0.05} if unit.serial == DRY else {})
        for unit in virtual.unit
    )
    fault = VirtualFault.model_validate({"kind": "element_open", "station": 1, "at_s": BURNS_S})
    changed = virtual.model_copy(update={"unit": units, "fault": (*virtual.fault, fault)})
    plan = NightPlan.model_validate(
        {
            "batch": "told",
            "stage": "trial",
            "unit_type": example_type("heron_103_type.toml").unit_type.model_dump(),
            "station": [
                {"station": n, "serial": serial} for n, serial in enumerate((BURNT, DRY, SOUND), 1)
            ],
            "step": STEPS,
        }
    )
    place = folder / "journal.sqlite"
    bench = bench.model_copy(update={"virtual": changed})
    outcome = bench_night(plan, bench, place, clear=True, folder=folder)
    assert outcome.status == "done", outcome.reason
    with closing(Journal(place)) as journal:
        return read_run(journal, outcome.run_id)


@pytest.fixture(scope="module")
def reports(night: Run) -> dict[str, UnitReport]:
    return {report.serial: report for report in unit_reports(night, file_in_force(night))}


def test_a_heater_that_burns_open_is_said_in_its_units_report(
    reports: dict[str, UnitReport],
) -> None:
    result = reports[BURNT].result
    (said,) = (w.text for w in result.warnings if w.code == "station_flagged")
    assert said.startswith("0:44 h into the run: element_open: no current where some was asked")
    assert said.endswith("the supply may be too low")
    assert not reports[SOUND].result.warned("station_flagged")
    assert f"{BURNT}: station_flagged: {said}" in remarks(list(reports.values()))


def test_a_current_that_the_fault_ended_has_its_reason_and_no_time_to_shut(
    reports: dict[str, UnitReport],
) -> None:
    steps = reports[BURNT].result.heater_steps
    assert [round(step.settled.element_a, 2) for step in steps] == [0.5, 0.75]
    assert steps[0].steady_lift.value is not None
    assert steps[1].steady_lift.value is None
    assert steps[1].closing_s is None
    for reason in (steps[1].steady_lift.reason, steps[1].closing_reason):
        assert reason is not None
        assert reason.startswith("station_flagged: 0:44 h into the run: element_open")
    assert len(reports[SOUND].result.heater_steps) == 3
    assert reports[SOUND].result.heater_steps[-1].steady_lift.value is not None


def test_an_open_circuit_is_no_hot_core(night: Run, reports: dict[str, UnitReport]) -> None:
    core_c = reports[BURNT].record.core_c
    assert core_c is not None
    # 0.75 A in 15 ohm are 8.5 W; by the plant's film and wax the core stands some 30 K over 95 °C.
    assert 100.0 < core_c < 140.0
    assert not any("its element was at about" in note.text for note in night.notes)


def test_readings_of_an_opening_circuit_tell_no_heat() -> None:
    known = Elements(before=_KNOWN)
    hot = partial(hottest_core_c, known, 1)
    amps, volts = np.full(40, 0.8), np.full(40, 0.8 * 15.0)
    assert hot(amps, volts) == pytest.approx(95.0, abs=0.1)
    volts[29], amps[29] = 20.0, 0.2  # the last reading with current: a rail's voltage, half a tick
    amps[30:], volts[30:] = 0.0, 20.0
    assert hot(amps, volts) == pytest.approx(95.0, abs=0.1)


def test_a_unit_that_was_not_fed_says_so_instead_of_never_opened(
    reports: dict[str, UnitReport],
) -> None:
    result = reports[DRY].result
    (said,) = (w.text for w in result.warnings if w.code == "element_dry")
    assert "its element is dry or its wax is gone" in said
    assert result.start_to_open_c.reason is not None
    assert result.start_to_open_c.reason.startswith(f"element_dry: {said}")
    assert result.unpowered_start_to_open_c.reason == f"element_dry: {said}"


def test_a_verdict_on_a_result_that_is_not_there_says_why() -> None:
    limit = Limit(
        quantity="lift_at_current_mm", lower=4.0, largest_u=0.6, element_a=0.9, bath_c=94.0
    )
    wanted = Specification(unit_type="Heron-103", version=1, limit=(limit,))
    verdict = judge(wanted, [], why_missing="0:03 h into the run: its element is dry")
    assert verdict.outcome is Outcome.UNSET
    (reason,) = verdict.reasons
    assert reason.endswith(
        "no result of " + limit.called() + ": 0:03 h into the run: its element is dry"
    )


_KNOWN = (
    '{"cold": {"1": [20.0, 0.3, 3.0, [14.775, 0.0001], [14.8, 0.0001], [14.8, 0.0001], false]},'
    ' "wet": {}, "soak": {"1": [95.0, 0.3, null, [15.0, 0.0001], [null, null], [null, null],'
    ' false]}, "barred": [], "judged": [1]}'
)
"""15 ohm at 95 °C, 2e-4 a kelvin below: (15 / 14.775 - 1) / 75 K."""

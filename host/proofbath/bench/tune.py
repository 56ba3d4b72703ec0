"""The heating test of a bench: run like a night, then read back for the bath's model and gains."""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from proofbath.bench.calibration import Calibration
from proofbath.bench.clock import utc_text
from proofbath.bench.description import BenchFile
from proofbath.bench.link import Link
from proofbath.bench.loop import Outcome
from proofbath.bench.night import HEATING_TEST, Watch, bench_facts, carry, run_head
from proofbath.bench.notes import notes_in
from proofbath.bench.preflight import Check
from proofbath.bench.ready import NOTHING_LOADED, Ready, ready_bench
from proofbath.bench.record import run_record
from proofbath.bench.tuned import Tuned
from proofbath.control.gains import bath_gains
from proofbath.control.identify import HeatingRecord, Identified, identify
from proofbath.control.probe_lag import LagDifference, lag_difference
from proofbath.errors import BenchFaultError, InputError
from proofbath.run.check import CheckedPlan, planned_on
from proofbath.run.profile import Loading
from proofbath.run.profiles import OPEN_C
from proofbath.run.sequencer import Sequencer
from proofbath.run.tuning import BELOW_LIMIT_K, FIRST_C, tuning_legs
from proofbath.store.journal import Journal
from proofbath.wire.table import STATIONS, Identity, Output

LAG_LIMIT_S = 3.0
"""Greatest standard uncertainty of a guard probe's lag that is kept."""
SECOND_RISE_K = 10.0
"""The test heats a second time by at least this."""
_EMPTY = Loading(loaded=(False,) * STATIONS)


class Tuning(NamedTuple):
    """What a heating test found: the bath's model with its record, and what the file keeps."""

    run_id: int
    found: Identified
    tuned: Tuned


def check_heating_test(bench: BenchFile) -> CheckedPlan:
    """Return the heating test made ready for a bench, without touching it; raises InputError."""
    limit_c = bench.bath_limit_c()
    needed_c = FIRST_C + SECOND_RISE_K + BELOW_LIMIT_K
    if limit_c < needed_c:
        raise InputError(
            f"tuning: the bath's limit is {limit_c:.1f} °C, {needed_c:.1f} °C are needed; "
            "raise bath_limit_c in [limits] of the bench file"
        )
    valve = bench.bath.cooling_w_per_k > 0.0
    legs = tuple(leg._replace(loading=_EMPTY) for leg in tuning_legs(limit_c, valve))
    return planned_on(legs, (), bench_facts(bench))


def run_heating_test(
    link: Link,
    bench: BenchFile,
    journal: Journal,
    *,
    clear: bool,
    watch: Watch,
    started: Callable[[], str] = utc_text,
) -> Outcome:
    """Carry a heating test to its end; no unit need be loaded and no element is fed.

    Raises what stops a bench before heat, a bath that is not cold included.
    """
    ready = ready_bench(
        link,
        bench,
        check_heating_test(bench),
        loaded=(),
        station_limits=lambda _: NOTHING_LOADED,
        journal_path=journal.path,
        clear=clear,
    )
    _check_cold(ready)
    watch.on_ready(ready)
    writer = journal.begin(run_head(bench, ready, HEATING_TEST, started()))
    sequencer = Sequencer(ready.checked.legs, bench.bath)
    return carry(link, bench, ready, sequencer=sequencer, writer=writer, watch=watch)


def read_tuning(journal: Journal, run_id: int) -> Tuning:
    """Return the tuning that a journalled heating test gives.

    Raises BenchFaultError where the test ended before its cool-down, RecordError where no model
    fits its record.
    """
    line = journal.run(run_id)
    bench = BenchFile.model_validate_json(line.head.bench_text)
    begun = [n for n in notes_in(journal.events(run_id)) if n.code == "step_begin"]
    if not begun or begun[-1].purpose != "cool-down":
        raise BenchFaultError(
            f"heating test ended {line.status}: {line.reason}; remove the cause and run it again"
        )
    rows = journal.samples(run_id)
    record = run_record(rows, Calibration.model_validate_json(line.head.calibration_text))
    used = (record.t_s >= begun[0].t_s) & (record.t_s < begun[-1].t_s)
    heating = HeatingRecord(
        record.t_s[used],
        record.bath_c[used],
        rows["heater_on_ms"][used] / 1000.0,
        ((rows["outputs"][used] & Output.COOLING) != 0).astype(np.float64),
    )
    found = identify(heating, bench.bath)
    lag = lag_difference(record.t_s[used], record.bath_c[used], record.guard_c[used])
    if lag is not None:
        found = _with_guard_lag(found, lag)
    # Controllers of protocol 1 did not say their reference resistors; all had 400 ohm.
    identity = Identity(**({"reference_ohm": 400} | json.loads(line.head.controller)))
    return Tuning(run_id, found, _tuned(found, bench, identity, line.head.started))


def _with_guard_lag(found: Identified, lag: LagDifference) -> Identified:
    """Add the guard probe's lag; one clearly below 0 is not known so."""
    guard_s = found.model.probe_lag_s + lag.lag_s
    if guard_s < -2.0 * lag.u_s or lag.u_s > LAG_LIMIT_S:
        return found
    return found._replace(
        model=found.model.model_copy(update={"guard_probe_lag_s": max(0.0, guard_s)}),
        standard_uncertainty={**found.standard_uncertainty, "guard_probe_lag_s": lag.u_s},
    )


def _tuned(found: Identified, bench: BenchFile, identity: Identity, at: str) -> Tuned:
    gains = bath_gains(found.model)
    return Tuned(
        at=at,
        bench=bench.bench.name,
        controller=identity.serial_number,
        firmware=identity.firmware,
        kp_per_k=gains.kp,
        ki_per_k_s=gains.ki,
        rms_k=found.rms_k,
        worst_k=found.worst_k,
        standard_uncertainty=found.standard_uncertainty,
    )


def _check_cold(ready: Ready) -> None:
    check = Check(
        "bath is cold",
        ready.bath_c <= OPEN_C,
        f"{ready.bath_c:.1f} °C",
        f"at most {OPEN_C:.0f} °C",
        "let it cool: the test needs the whole rise",
    )
    if not check.ok:
        raise BenchFaultError(check.fault())

"""Going on with a run that ended too early, where the units' branch allows it."""

from __future__ import annotations

import json
import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from proofbath.bench.calibration import Calibration
from proofbath.bench.connect import simulated
from proofbath.bench.description import BenchFile
from proofbath.bench.link import Link
from proofbath.bench.loop import Outcome
from proofbath.bench.night import CYCLES, HEATING_TEST, Watch, carry, make_ready, nobody, plan_of
from proofbath.bench.notes import notes_in
from proofbath.bench.passes import BEGUN_AGAIN, MEASURED, RESUMED, stretches_off
from proofbath.bench.ready import Ready
from proofbath.bench.record import run_record, times_ms
from proofbath.bench.supply_feed import current_source
from proofbath.errors import RecordError
from proofbath.run.branch import SPOILING_K
from proofbath.run.elements import Elements
from proofbath.run.note import ELEMENTS, Branch, Note
from proofbath.run.power import stations_fed
from proofbath.run.profile import Hold, Leg, Ramp, Soak
from proofbath.run.sequencer import Sequencer
from proofbath.run.states import Phase
from proofbath.store.journal import EventLine, Journal, RunLine


class Gap(NamedTuple):
    """What happened, or may have, while nobody recorded; the heater was off."""

    lost_c: float
    """Last bath temperature while the run worked on its plan."""
    now_c: float
    could_fall_k: float = math.inf
    """Furthest the bath may have fallen by the bath model; inf where the time is not known."""
    last_device_ms: int = 0
    """Device clock of the last sample recorded; 0 when the controller has started anew."""


class ResumePoint(NamedTuple):
    """Where a run goes on, and why there; `spoiled_cycle` is the one begun again, if any."""

    leg: int
    why: str
    spoiled_cycle: int | None = None


def resume_night(
    link: Link,
    bench: BenchFile,
    journal: Journal,
    run_id: int | None = None,
    *,
    clear: bool = False,
    watch: Watch | None = None,
    attended: bool = False,
) -> Outcome:
    """Go on with a run of this bench, by default its last, and return how it ended.

    What was found of the elements stays known; `attended` says whether somebody stays.

    Raises RecordError when there is nothing to go on with, and what `make_ready` raises.
    """
    line = _resumable(bench, journal, run_id)
    plan = plan_of(line)
    watch = watch or nobody()
    events, rows = journal.events(line.run_id), journal.samples(line.run_id)
    notes = notes_in(events)
    found = next((note.text for note in reversed(notes) if note.code == ELEMENTS), "")
    elements = Elements(attended or simulated(bench), found)
    ready = make_ready(link, plan, bench, journal.path, clear, guard=elements.guard)
    watch.on_ready(ready)
    cycles: list[int] = next((json.loads(e.text) for e in events if e.kind == CYCLES), [])
    legs = tuple(
        leg
        for leg in ready.checked.legs
        if leg.step.purpose not in MEASURED or leg.step.cycle in cycles
    )
    gap = _gap(rows, ready, bench, _end_s(events))
    point = resume_point(legs, notes, gap)
    t_ms = int(times_ms(rows)[-1]) if len(rows) else 0
    link.since_ms = t_ms - gap.last_device_ms
    sequencer = Sequencer(legs, bench.bath, bench.gains(), point.leg, elements)
    with current_source(bench.supply) as source:
        writer = journal.reopen(line.run_id)
        writer.note(t_ms / 1000, RESUMED, f"at step {point.leg + 1}: {point.why}")
        if point.spoiled_cycle is not None:
            writer.note(t_ms / 1000, BEGUN_AGAIN, str(point.spoiled_cycle))
        return carry(
            link, bench, ready, sequencer=sequencer, writer=writer, watch=watch, source=source
        )


def resume_point(legs: tuple[Leg, ...], notes: list[Note], gap: Gap) -> ResumePoint:
    """Return where to go on: at the step that was left if its branch holds, else at its cycle.

    A unit turns round when the bath does, so a rising branch does not bear a fall, and one that
    may have fallen and risen again unseen is taken to have fallen.
    """
    begun = [note for note in notes if note.code == "step_begin"]
    at = begun[-1].leg if begun else -1
    if not any(leg.moves for leg in legs[: at + 1]):
        return ResumePoint(0, "the bath had not been heated yet" if begun else "no step had begun")
    step = legs[at].step
    if step.purpose == "cool-down":
        return _behind_falls(legs, at, gap.now_c) or ResumePoint(at, "only the cool-down was left")
    fell_k = gap.lost_c - gap.now_c
    if isinstance(step, (Ramp, Soak, Hold)) and not stations_fed(legs[at]):
        if max(abs(fell_k), gap.could_fall_k) <= SPOILING_K:
            return ResumePoint(at, f"bath moved by {fell_k:.2f} K only")
        if begun[-1].branch == Branch.FALLING.value and fell_k > 0:
            behind = _behind_falls(legs, at, gap.now_c)
            if behind is None:
                return ResumePoint(at, "bath is still on its falling branch")
            needs_its_bath = legs[behind.leg : behind.leg + 1]
            if not any(stations_fed(leg) for leg in needs_its_bath):
                return behind
    first = next(
        n
        for n, leg in enumerate(legs)
        if leg.step.cycle == step.cycle and leg.step.purpose in MEASURED
    )
    why = f"cycle {step.cycle} begins again, its branch was left (bath fell by {fell_k:.1f} K)"
    return ResumePoint(first, why, step.cycle)


def _behind_falls(legs: tuple[Leg, ...], at: int, now_c: float) -> ResumePoint | None:
    """Return the first step that does not fall to where the bath has been already.

    To go on with such a fall would heat the bath on it.  None where `at` is that step itself.
    """
    leg = at
    while leg < len(legs) and _falls(legs, leg) and now_c <= legs[leg].to_c:
        leg += 1
    if leg == at:
        return None
    if leg == len(legs):
        return ResumePoint(leg, f"bath at {now_c:.1f} °C has cooled already, nothing is left")
    why = f"bath at {now_c:.1f} °C is below the {legs[leg - 1].to_c:.1f} °C it was to fall to"
    return ResumePoint(leg, why)


def _falls(legs: tuple[Leg, ...], at: int) -> bool:
    from_c = legs[at - 1].to_c if at else math.inf
    return isinstance(legs[at].step, Ramp) and legs[at].to_c < from_c


def _end_s(events: list[EventLine]) -> float:
    """When the run stopped working on its plan; inf where its process was killed."""
    last = stretches_off(events)[-1:]
    return last[0].from_s if last and math.isinf(last[0].to_s) else math.inf


def _gap(rows: NDArray[Any], ready: Ready, bench: BenchFile, end_s: float) -> Gap:
    record = run_record(rows, bench.calibration)
    known_c = record.bath_c[np.isfinite(record.bath_c) & (record.t_s <= end_s)]
    if not len(known_c):
        return Gap(ready.bath_c, ready.bath_c)
    lost_c = float(known_c[-1])
    if int(rows["boot_id"][-1]) != ready.identity.boot_id:
        return Gap(lost_c, ready.bath_c)
    device_ms = int(rows["device_ms"][-1])
    behind_s = max(0.0, float(record.t_s[-1]) - end_s)
    minutes = (ready.device_s - device_ms / 1000 + behind_s) / 60
    return Gap(lost_c, ready.bath_c, minutes * bench.bath.fall_k_per_min(lost_c), device_ms)


def _resumable(bench: BenchFile, journal: Journal, run_id: int | None) -> RunLine:
    if run_id is not None:
        line = journal.run(run_id)
    else:
        nights = [
            run
            for run in journal.runs()
            if run.head.bench == bench.bench.name and run.head.plan_text != HEATING_TEST
        ]
        if not nights:
            raise RecordError(
                f"{journal.path}: no night of bench {bench.bench.name}; start a night"
            )
        line = nights[-1]
    if line.status == Phase.DONE.value:
        raise RecordError(f"run {line.run_id} is done; start a new night")
    if Calibration.model_validate_json(line.head.calibration_text) != bench.calibration:
        raise RecordError(
            f"run {line.run_id} began under another calibration than the bench file's; "
            "start a new night"
        )
    journal.verify_chain(line.run_id)
    return line

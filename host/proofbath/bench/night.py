"""A night from plan to closed run: everything checked before heat, then the loop."""

from __future__ import annotations

import json
from collections import deque
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

from proofbath.bench.clock import Clock, monotonic_s, seconds_of_day, utc_text
from proofbath.bench.connect import simulated
from proofbath.bench.convert import Converter
from proofbath.bench.description import BenchFile
from proofbath.bench.limits import StationLimit
from proofbath.bench.link import Link
from proofbath.bench.loop import Loop, Outcome
from proofbath.bench.passes import MEASURED
from proofbath.bench.preflight import Check, check_rest, mean_of, readings_at_rest
from proofbath.bench.ready import NOTHING_LOADED, Ready, StationLimits, ready_bench
from proofbath.bench.release import attended_in
from proofbath.bench.start import check_identity, check_reference, greet, trip_text
from proofbath.bench.supply_feed import SupplyFeed, current_source
from proofbath.bench.tuned import tuning_doubts
from proofbath.control.boiling import MARGIN_K
from proofbath.errors import RecordError
from proofbath.run.acts import Act
from proofbath.run.check import BenchFacts, CheckedPlan, check_plan
from proofbath.run.elements import NO_GUARD, Elements
from proofbath.run.feed_faults import READABLE_V, Source
from proofbath.run.note import Note
from proofbath.run.plan import NightPlan
from proofbath.run.profile import Leg
from proofbath.run.reading import Reading
from proofbath.run.sequencer import Progress, Sequencer
from proofbath.store.journal import Journal, RunHead, RunLine, RunWriter
from proofbath.wire.table import STATIONS, State

CYCLES = "cycles"
"""Kind of the event that says which cycles a run has, after some were left out for time."""
CLOSED_AT_MOST_MM = 2.0
"""A gauge that reads more at the start is taken to hold a unit that is open already."""
HEATING_TEST = "heating test"
"""Stands in the journal in place of a plan where the run was one."""
Remarks = Sequence[tuple[str, str]]
"""Kind and text of events: what a person did before the run, that belongs to its record."""


class Progressed(NamedTuple):
    """What a watcher is told after each commit."""

    reading: Reading
    phase: str
    progress: Progress
    run_id: int = 0
    """Number of the run in its journal."""
    doing: str = ""
    """What the machine does: heating, holding, cooling and so on."""
    paused_s: float = 0.0
    """How long the run has been paused; 0 while it is not."""
    alarm: str = ""
    """What still heats behind a run that has ended; empty for nothing."""


class Watch(NamedTuple):
    """Who looks on and may act: called at the start and after each commit."""

    on_ready: Callable[[Ready], None]
    on_progress: Callable[[Progressed], None]
    acts: deque[Act]
    """What persons ask for meanwhile."""
    wall_s: Clock = monotonic_s
    on_note: Callable[[int, Note], None] = lambda _run_id, _note: None
    """Told of each note of the run's story, with the run's number, once it is committed."""
    on_alarm: Callable[[str], None] = lambda _: None
    """Told at once of heat that goes on behind a run."""


def nobody() -> Watch:
    """Return a watch that looks at nothing and asks for nothing."""
    return Watch(lambda _: None, lambda _: None, deque())


def check_night(plan: NightPlan, bench: BenchFile, day_s: float | None = None) -> CheckedPlan:
    """Return the plan made ready for a bench, without touching it; raises InputError.

    `day_s` is the time of day for the plan's deadlines; None leaves them out.
    """
    return check_plan(plan, bench_facts(bench)._replace(now_s=day_s))


def bench_facts(bench: BenchFile) -> BenchFacts:
    """Return what plans must know of a bench."""
    return BenchFacts(
        STATIONS,
        bench.bath_limit_c() + MARGIN_K,
        bench.bath,
        bench.bench.above_switch_l,
        supply_a=bench.supply.max_current_a if bench.supply else None,
        fill_l=bench.bench.fill_l,
        heater_limit_s=bench.limits.heater_on_limit_s,
        element_limit_s=bench.limits.element_on_limit_s,
        source=Source(
            bench.bench.element_feed or bench.supply is not None,
            bench.supply.max_voltage_v if bench.supply else READABLE_V,
        ),
    )


LATCHED = "latched trip"
"""What the pre-flight calls a trip that stands."""


def check_bench(link: Link, bench: BenchFile, loaded: tuple[int, ...]) -> list[Check]:
    """Return the pre-flight of a bench at rest for its `loaded` stations, without heating.

    Raises MismatchError or BenchFaultError when nobody fitting answers.
    """
    identity = greet(link)
    check_identity(identity, bench.board(), bench.bench.serial_number, max(loaded, default=0))
    check_reference(identity, bench.calibration)
    tripped = identity.state == State.TRIPPED
    trip = Check(
        LATCHED,
        not tripped,
        trip_text(identity, bench.calibration) if tripped else "none",
        "none",
        "find and remove its cause, then clear it with the next night",
    )
    return [trip, *check_rest(readings_at_rest(link, Converter(bench.calibration)), loaded)]


def make_ready(
    link: Link,
    plan: NightPlan,
    bench: BenchFile,
    journal_path: Path,
    clear: bool,
    day_s: float | None = None,
    guard: tuple[int, ...] = NO_GUARD,
) -> Ready:
    """Return a bench ready to heat; refuses with every fault found.

    `clear` says that a person asked for a latched trip to be cleared; `guard` is what the elements
    are guarded by where that is known, in 1e-5/K.
    """
    loaded = tuple(sorted(place.station for place in plan.station))

    def station_limits(readings: list[Reading]) -> StationLimits:
        return _station_limits(plan, readings, guard)

    checked = check_night(plan, bench, day_s)
    ready = ready_bench(link, bench, checked, loaded, station_limits, journal_path, clear)
    doubts = tuning_doubts(bench.tuned, bench.bench.name, ready.identity)
    return ready._replace(checked=checked._replace(warnings=(*checked.warnings, *doubts)))


def run_night(
    link: Link,
    plan: NightPlan,
    bench: BenchFile,
    journal: Journal,
    *,
    clear: bool = False,
    watch: Watch | None = None,
    remarks: Remarks = (),
    time_of_day: Clock = seconds_of_day,
    started: Callable[[], str] = utc_text,
) -> Outcome:
    """Carry a night on a bench to its end and return how it ended.

    `remarks` are events that stand at the run's beginning.  Raises the errors of `make_ready`
    before any heat, BenchFaultError when the journal fails.
    """
    watch = watch or nobody()
    ready = make_ready(link, plan, bench, journal.path, clear, time_of_day())
    watch.on_ready(ready)
    head = run_head(bench, ready, plan.model_dump_json(), started())
    elements = Elements(attended_in(remarks) or simulated(bench))
    sequencer = Sequencer(ready.checked.legs, bench.bath, bench.gains(), elements=elements)
    with current_source(bench.supply) as source:
        writer = journal.begin(head)
        writer.note(0.0, CYCLES, json.dumps(measured_cycles(ready.checked.legs)))
        for kind, text in remarks:
            writer.note(0.0, kind, text)
        for text in ready.checked.warnings:
            writer.note(0.0, "forewarned", text)
        return carry(link, bench, ready, sequencer, writer, watch, source)


def run_head(bench: BenchFile, ready: Ready, plan_text: str, started: str) -> RunHead:
    """Return what the journal keeps of a run before its first sample."""
    return RunHead(
        started,
        bench.bench.name,
        plan_text,
        bench.model_dump_json(),
        bench.calibration.model_dump_json(),
        json.dumps(ready.identity._asdict()),
    )


def plan_of(line: RunLine) -> NightPlan:
    """Return the plan of a journalled night; raises RecordError for another kind of run."""
    if line.head.plan_text == HEATING_TEST:
        raise RecordError(f"run {line.run_id} is a heating test, not a night; name another run")
    return NightPlan.model_validate_json(line.head.plan_text)


def measured_cycles(legs: tuple[Leg, ...]) -> list[int]:
    """Return the cycles among legs; cool-down and checks belong to none."""
    return sorted({leg.step.cycle for leg in legs if leg.step.purpose in MEASURED})


def carry(
    link: Link,
    bench: BenchFile,
    ready: Ready,
    sequencer: Sequencer,
    writer: RunWriter,
    watch: Watch,
    source: SupplyFeed | None = None,
) -> Outcome:
    """Carry a sequencer's run on a bench that is ready to its end."""
    if source is not None:
        writer.note(0.0, "supply", source.identity)

    def tell(reading: Reading) -> None:
        watch.on_progress(
            Progressed(
                reading,
                sequencer.phase.value,
                sequencer.progress(),
                writer.run_id,
                sequencer.doing.value,
                sequencer.paused_s,
            )
        )

    def tell_note(note: Note) -> None:
        watch.on_note(writer.run_id, note)

    converter = Converter(bench.calibration)
    loop = Loop(
        link,
        sequencer,
        writer,
        converter,
        ready.limits,
        watch.wall_s,
        tell,
        watch.acts,
        source,
        tell_note,
    )
    return loop.run()


def _station_limits(
    plan: NightPlan, readings: list[Reading], guard: tuple[int, ...]
) -> StationLimits:
    stations = list(NOTHING_LOADED)
    for place in plan.station:
        unit_type = plan.type_at(place)
        if unit_type is None:  # a blank: no current, and it never moves far
            continue
        closed_mm = min(mean_of(r.lift_mm[place.station - 1] for r in readings), CLOSED_AT_MOST_MM)
        stroke_mm = unit_type.stroke_mm()
        stations[place.station - 1] = StationLimit(
            unit_type.element_max_a, closed_mm + stroke_mm, guard[place.station - 1]
        )
    return tuple(stations)

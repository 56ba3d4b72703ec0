"""Leads a person through a filling at which the level switch proves itself: low, fill, right."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from proofbath.bench.connect import connected, simulated
from proofbath.bench.convert import Converter
from proofbath.bench.description import VIRTUAL_PORT, BenchFile
from proofbath.bench.filling_record import Filling, save_filling
from proofbath.bench.link import Link
from proofbath.bench.person import Act, Person
from proofbath.bench.preflight import mean_of, readings_at_rest
from proofbath.bench.start import check_identity, greet, wait_quiet
from proofbath.bench.virtual_person import Plug, VirtualPerson
from proofbath.errors import BenchFaultError, InputError
from proofbath.run.profiles import OPEN_C
from proofbath.virtual.bench import VirtualBench
from proofbath.wire.session import Event, Sampled
from proofbath.wire.table import TICK_MS, Input

LOW_S, RIGHT_S = 2.0, 5.0
"""A contact that only shakes does not stay so long."""
LIFT_PATIENCE_S, FILL_PATIENCE_S = 1800.0, 3600.0
LIFT = (
    "Let the level switch read low: leave the bath empty, or lift the float out of the liquid."
    " Then let it hang as it hangs at work."
)
FILL = "Fill the bath to its line, with the float as it hangs at work."


def prove_filling(
    bench: BenchFile,
    path: Path,
    person: Person,
    who: str,
    litres: float,
    now: Callable[[], str],
) -> Filling:
    """Watch the float at a filling with `litres` and keep the record in `path`.

    Nothing is switched on.  On the virtual bench a virtual person does it all.  Raises InputError,
    MismatchError, or BenchFaultError where the float does not do what it must.
    """
    if not 0.0 < litres <= 60.0:
        raise InputError(f"--litres: {litres:g} l is no bath; give what is in it, 60 l at most")
    if bench.bench.port == VIRTUAL_PORT:
        assert bench.virtual is not None, "the bench file's own check"
        plant = VirtualBench(bench.virtual)
        plug = Plug(plant)
        filling = _watched(
            Link(plug), bench, VirtualPerson(plant, person.tell, plug), who, litres, now
        )
    elif simulated(bench):
        raise InputError("filling: a simulator has no float; name a bench's port")
    else:
        with connected(bench) as link:
            filling = _watched(link, bench, person, who, litres, now)
    save_filling(path, filling)
    return filling


def _watched(
    link: Link, bench: BenchFile, person: Person, who: str, litres: float, now: Callable[[], str]
) -> Filling:
    identity = greet(link)
    check_identity(identity, bench.board(), bench.bench.serial_number, 0)
    wait_quiet(link)
    bath_c = mean_of(r.bath_c for r in readings_at_rest(link, Converter(bench.calibration)))
    if bath_c > OPEN_C:
        raise BenchFaultError(
            f"filling: bath at {bath_c:.1f} °C, at most {OPEN_C:.0f} °C; let it cool first"
        )
    person.wait(f"LEVEL SWITCH.  Stand by: {LIFT}")
    person.act(Act("level", LIFT))
    low_s = _seen(link, False, LOW_S, LIFT_PATIENCE_S)
    person.tell("  the level switch reads low, as it must")
    person.act(Act("fill", FILL))
    right_s = _seen(link, True, RIGHT_S, FILL_PATIENCE_S)
    person.tell("  the level switch reads right")
    if not person.agrees("Does the liquid stand at the bath's line?"):
        raise BenchFaultError(
            "filling: the level switch reads right and the liquid is not at its line;"
            " set the float to its line, then prove it again"
        )
    return Filling(
        bench=bench.bench.name,
        virtual=simulated(bench),
        serial_number=identity.serial_number,
        litres=litres,
        low_s=low_s,
        right_s=right_s,
        at=now(),
        person=who,
    )


def _seen(link: Link, right: bool, for_s: float, patience_s: float) -> float:
    """Return for how long the float read so without a break, at least `for_s`."""
    ticks = 0

    def answers(event: Event) -> bool:
        nonlocal ticks
        if isinstance(event, Sampled):
            so = bool(event.sample.inputs & Input.LEVEL_OK) is right
            ticks = ticks + 1 if so else 0
        return ticks * TICK_MS / 1000 >= for_s

    if link.ask(None, answers, patience_s) is None:
        reads, must = ("low", "right") if right else ("right", "low")
        raise BenchFaultError(
            f"filling: the level switch still reads {reads} after {patience_s / 60:.0f} min,"
            f" {must} is wanted; look at the float, its guide and its wire, and do not heat"
        )
    return ticks * TICK_MS / 1000

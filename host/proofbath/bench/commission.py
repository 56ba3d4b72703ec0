"""The commissioning of a bench: every row that is not proven yet, one after the other."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager, ExitStack, suppress
from functools import partial
from pathlib import Path

from proofbath.bench.clock import utc_text
from proofbath.bench.connect import connected, simulated
from proofbath.bench.description import VIRTUAL_PORT, BenchFile
from proofbath.bench.interlock_judge import Finding
from proofbath.bench.interlocks import (
    AT_STATION,
    CABLE,
    CUT_OUT,
    DECLARED,
    LEASE,
    POWER,
    STATION_OFF,
    TRIPS,
    station_name,
    station_rows,
    wanted_rows,
)
from proofbath.bench.link import Link
from proofbath.bench.person import TRY_AGAIN, Person
from proofbath.bench.proof_record import Proof, fresh, load_proof, save_proof
from proofbath.bench.prover import Prover
from proofbath.bench.start import check_identity, check_reference
from proofbath.bench.virtual_person import Plug, VirtualPerson, with_dummy_loads
from proofbath.errors import BenchFaultError, InputError
from proofbath.virtual.bench import VirtualBench

LOADS = (
    "Are dummy loads of 10 to 20 ohm, 5 W, plugged into the element leads of all stations?"
    " Elements are never fed in air."
)


class _Connection:
    """The link to a bench, which can be opened anew."""

    def __init__(self, way: Callable[[], AbstractContextManager[Link]], held: ExitStack) -> None:
        self._way = way
        self._held = held
        self.link = held.enter_context(way())

    def reopen(self) -> Link:
        """Close the link, open it again and return it."""
        self._held.close()
        self.link = self._held.enter_context(self._way())
        return self.link


def commission_bench(
    bench: BenchFile,
    path: Path,
    person: Person,
    who: str,
    stations: tuple[int, ...],
    again: bool = False,
) -> Proof:
    """Lead a person through what is not proven yet of a bench, and keep it in `path`.

    `stations` are those in use, from 1.  `again` begins with nothing proven.  On the virtual bench
    a virtual person does it all and `person` is only told.  Raises InputError, RecordError,
    BenchFaultError or MismatchError.
    """
    old = None if again else load_proof(path)
    if bench.bench.port == VIRTUAL_PORT:
        assert bench.virtual is not None, "the bench file's own check"
        plant = VirtualBench(with_dummy_loads(bench.virtual))
        plug = Plug(plant)
        played = VirtualPerson(plant, person.tell, plug)
        prover = Prover(Link(plug), bench, played, lambda: Link(plug))
        return _carry(bench, path, old, prover, who, stations)
    if simulated(bench):
        raise InputError("commissioning: a simulator has no interlocks; name a bench's port")
    with ExitStack() as held:
        connection = _Connection(lambda: connected(bench), held)
        prover = Prover(connection.link, bench, person, connection.reopen)
        return _carry(bench, path, old, prover, who, stations)


def _carry(
    bench: BenchFile,
    path: Path,
    old: Proof | None,
    prover: Prover,
    who: str,
    stations: tuple[int, ...],
) -> Proof:
    identity = prover.look(stations)
    check_identity(identity, bench.board(), bench.bench.serial_number, max(stations))
    check_reference(identity, bench.calibration)
    virtual = simulated(bench)
    proof = fresh(bench.bench.name, virtual, identity, stations)
    if old is not None and old.of(identity) and old.virtual == virtual:
        proof = old.model_copy(update={"stations": stations})
    return commission(proof, prover, utc_text, lambda kept: save_proof(path, kept), who)


def commission(
    proof: Proof,
    prover: Prover,
    now: Callable[[], str],
    keep: Callable[[Proof], None],
    who: str,
) -> Proof:
    """Return the proof with every row that was missing, done; `keep` is called after each row.

    `now` gives ISO 8601 UTC.  Raises InputError when the person does not go on.
    """
    missing = set(proof.missing(now()))
    names = [name for name in wanted_rows(proof.stations) if name in missing]
    procedures = _procedures(prover, proof.stations)
    person = prover.person
    asked_loads, fed = False, set(station_rows(proof.stations))
    for number, name in enumerate(names, 1):
        if name in fed and not asked_loads:
            asked_loads = True
            if not person.agrees(LOADS):
                raise InputError("commissioning: plug in the dummy loads, then go on")
        person.tell(f"{number} of {len(names)}: {name}")
        finding = _prove(procedures[name], prover)
        proof = proof.with_row(name, finding, now(), who)
        keep(proof)
    return proof


def _prove(procedure: Callable[[], Finding], prover: Prover) -> Finding:
    person = prover.person
    while True:
        try:
            finding = procedure()
        except BenchFaultError as error:
            finding = Finding(False, str(error), "carried to its end")
            with suppress(BenchFaultError):
                prover.tidy()
        person.tell(f"  {'proven' if finding.ok else 'NOT PROVEN'}: {finding.measured}")
        if finding.ok or not person.agrees(TRY_AGAIN):
            return finding


def _procedures(prover: Prover, stations: tuple[int, ...]) -> dict[str, Callable[[], Finding]]:
    found: dict[str, Callable[[], Finding]] = {
        LEASE: prover.prove_lease,
        CUT_OUT: prover.prove_cut_out,
        CABLE: prover.prove_cable,
        POWER: prover.prove_power_failure,
    }
    found |= {name: partial(prover.declare, text) for name, text in DECLARED.items()}
    found |= {row.name: partial(prover.prove_trip, row) for row in TRIPS}
    for n in stations:
        found |= {station_name(at.name, n): partial(prover.prove_flag, at, n) for at in AT_STATION}
        found[station_name(STATION_OFF, n)] = partial(prover.prove_station_off, n)
    return found

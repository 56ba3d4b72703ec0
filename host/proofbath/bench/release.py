"""May this night be started?  Who stays, whether the interlocks are proven, how it was loaded."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from proofbath.bench.connect import simulated
from proofbath.bench.description import BenchFile
from proofbath.bench.filling_record import Filling, filling_path, load_filling
from proofbath.bench.loading_record import load_loading
from proofbath.bench.proof_record import VALID_DAYS, Proof, load_proof, proof_path
from proofbath.errors import InputError
from proofbath.run.plan import NightPlan
from proofbath.wire.table import Identity

ATTENDED, UNATTENDED = "attended", "unattended"
"""Kinds of the event that says whether somebody stays while a run heats."""


PROVE_FILLING = "run: proofbath check --filling"


def attended_in(remarks: Sequence[tuple[str, str]]) -> bool:
    """Return whether somebody stays, by what is told at a run's beginning; if not told, nobody."""
    return any(kind == ATTENDED for kind, _ in remarks)


class Release(NamedTuple):
    """A night that may be started on paper; `remarks` are events of its run."""

    remarks: tuple[tuple[str, str], ...]
    proof: Proof | None = None
    filling: Filling | None = None

    def check_controller(self, identity: Identity) -> None:
        """Refuse a controller that is not the one proven; raises InputError."""
        proof, filling = self.proof, self.filling
        if proof is not None and not proof.of(identity):
            raise InputError(
                f"proof: is for controller {proof.serial_number} with firmware {proof.firmware},"
                f" this is {identity.serial_number} with {identity.firmware};"
                " run: proofbath check --commission"
            )
        if filling is not None and not filling.of(identity):
            raise InputError(
                f"level switch: was proven with controller {filling.serial_number}, this is"
                f" {identity.serial_number}; {PROVE_FILLING}"
            )


def release_attendance(
    bench: BenchFile, bench_file: Path, stations: Sequence[int], attended: bool, now: str
) -> Release:
    """Return how a bench may heat: attended, or proven; raises InputError or RecordError.

    The proofs stand beside `bench_file`; `stations` are those loaded, `now` is ISO 8601 UTC.
    """
    if simulated(bench):
        return Release(((ATTENDED, "virtual bench: nobody need stay"),))
    if attended:
        return Release(((ATTENDED, "somebody stays while it heats"),))
    proof_file = proof_path(bench_file)
    proof = load_proof(proof_file)
    how = "run: proofbath check --commission, or stay and say --attended"
    if proof is None:
        raise InputError(f"unattended: the interlocks of {bench.bench.name} are not proven; {how}")
    if proof.virtual or proof.bench != bench.bench.name:
        raise InputError(f"{proof_file}: is not a proof of {bench.bench.name}; {how}")
    missing = proof.missing(now)
    if missing:
        more = f" and {len(missing) - 1} more" if len(missing) > 1 else ""
        raise InputError(
            f"unattended: {missing[0]}{more} not proven within {VALID_DAYS} days; {how}"
        )
    unproven = sorted(set(stations) - set(proof.stations))
    if unproven:
        raise InputError(f"unattended: station {unproven[0]} is loaded but not proven; {how}")
    filling = load_filling(filling_path(bench_file))
    fault = "its level switch was never proven at a filling"
    if filling is not None:
        section = bench.bench
        fault = filling.fault(section.name, section.fill_l, section.filled_on, now)
    if fault or filling is None:
        raise InputError(f"unattended: {fault}; {PROVE_FILLING}, or stay and say --attended")
    remarks = (
        f"interlocks proven, oldest {min(r.at for r in proof.rows.values())[:10]},"
        f" digest {proof.digest()}",
        f"level switch proven at the filling of {filling.at[:10]}, digest {filling.digest()}",
    )
    return Release(tuple((UNATTENDED, text) for text in remarks), proof, filling)


def release_loading(
    plan: NightPlan, bench: BenchFile, folder: Path, word: str, now: str
) -> tuple[tuple[str, str], ...]:
    """Return the events that tell how a night was loaded; raises InputError or RecordError."""
    if word:
        return (("loading", f"not guided, loaded as planned: {word}"),)
    if simulated(bench):
        return (("loading", "virtual bench loads itself"),)
    record = load_loading(folder)
    how = "run: proofbath loading, or say --loaded-as-planned WORD"
    if record is None:
        raise InputError(f"loading: no guided loading stands in {folder}; {how}")
    fault = record.fault(plan, bench.bench.name, now)
    if fault:
        raise InputError(f"loading: {fault}; {how}")
    return record.events()

"""May this night be started?  Who stays, whether the interlocks are proven, how it was loaded."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from proofbath.bench.connect import simulated
from proofbath.bench.description import BenchFile
from proofbath.bench.loading_record import load_loading
from proofbath.bench.proof_record import VALID_DAYS, Proof, load_proof
from proofbath.errors import InputError
from proofbath.run.plan import NightPlan
from proofbath.wire.table import Identity

ATTENDED, UNATTENDED = "attended", "unattended"
"""Kinds of the event that says whether somebody stays while a run heats."""


def attended_in(remarks: Sequence[tuple[str, str]]) -> bool:
    """Return whether somebody stays, by what is told at a run's beginning; if not told, nobody."""
    return any(kind == ATTENDED for kind, _ in remarks)


class Release(NamedTuple):
    """A night that may be started on paper; `remarks` are events of its run."""

    remarks: tuple[tuple[str, str], ...]
    proof: Proof | None = None

    def check_controller(self, identity: Identity) -> None:
        """Refuse a controller that is not the one proven; raises InputError."""
        if self.proof is None or self.proof.of(identity):
            return
        proof = self.proof
        raise InputError(
            f"proof: is for controller {proof.serial_number} with firmware {proof.firmware},"
            f" this is {identity.serial_number} with {identity.firmware};"
            " run: proofbath check --commission"
        )


def release_attendance(
    bench: BenchFile, proof_file: Path, stations: Sequence[int], attended: bool, now: str
) -> Release:
    """Return how a bench may heat: attended, or proven; raises InputError or RecordError.

    `stations` are those loaded, `now` is ISO 8601 UTC.
    """
    if simulated(bench):
        return Release(((ATTENDED, "virtual bench: nobody need stay"),))
    if attended:
        return Release(((ATTENDED, "somebody stays while it heats"),))
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
    text = f"interlocks proven, oldest {min(r.at for r in proof.rows.values())[:10]}"
    return Release(((UNATTENDED, f"{text}, digest {proof.digest()}"),), proof)


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

"""A rework on record is done on the virtual unit too: a virtual bench's file holds its truth."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from proofbath.bench.bench_text import check_place, write_virtual
from proofbath.bench.connect import simulated
from proofbath.bench.description import BenchFile
from proofbath.errors import InputError
from proofbath.files import read_toml
from proofbath.proof.rework_act import ReworkAct
from proofbath.virtual.description import VirtualSection
from proofbath.virtual.hands import corrected, reworked
from proofbath.workshop.shop import Shop


class Done(NamedTuple):
    """What a rework changed, as it stands on record."""

    kind: str
    amount: float | None
    act: ReworkAct | None = None


class VirtualChange(NamedTuple):
    """A virtual bench's file and what it shall say; nothing is written before `write`."""

    path: Path
    section: VirtualSection

    def write(self) -> None:
        """Write the file anew, its own words kept."""
        write_virtual(self.path, self.section)


def virtual_changes(
    shop: Shop, serial: str, done: Done | None, instead_of: Done | None
) -> list[VirtualChange]:
    """Return what a rework changes on the workshop's virtual benches; a real one is never touched.

    `instead_of` is what was on record before a correction: then only the difference is made, for
    nobody dosed twice. Raises InputError where the unit could not be so, or a file not be written.
    """
    changes = []
    for path in shop.bench_files().values():
        bench = read_toml(path, BenchFile)
        if bench.virtual is None or not simulated(bench):
            continue
        if not any(unit.serial == serial for unit in bench.virtual.unit):
            continue
        section = _changed(bench.virtual, serial, done, instead_of)
        if section != bench.virtual:
            check_place(path)
            changes.append(VirtualChange(path, section))
    return changes


def _changed(
    section: VirtualSection, serial: str, done: Done | None, instead_of: Done | None
) -> VirtualSection:
    done = done or Done("other", None)
    try:
        if instead_of is None:
            return reworked(section, serial, done.kind, done.amount or 0.0)
        undone = corrected(section, serial, instead_of.kind, -(instead_of.amount or 0.0))
        return corrected(undone, serial, done.kind, done.amount or 0.0)
    except ValueError as error:
        raise InputError(
            f"rework of {serial}: {done.amount or 0.0:+g} is more than the virtual unit can take;"
            " give a smaller amount"
        ) from error

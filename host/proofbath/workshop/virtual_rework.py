"""A rework on record is done on the virtual unit too: a virtual bench's file holds its truth."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NamedTuple

from pydantic import ValidationError

from proofbath.bench.bench_text import check_place, write_virtual
from proofbath.bench.connect import simulated
from proofbath.bench.description import BenchFile
from proofbath.errors import InputError
from proofbath.files import read_toml
from proofbath.proof.rework_act import ReworkAct
from proofbath.virtual.description import VirtualSection
from proofbath.virtual.hands import as_read, corrected, reworked, undone
from proofbath.workshop.shop import Shop


class Done(NamedTuple):
    """What a rework changed, as it stands on record."""

    kind: str
    amount: float | None = None
    act: ReworkAct | None = None

    def as_act(self) -> ReworkAct:
        """Return what was done to the element; nothing where a part was changed or cleaned.

        An amount is of before acts were put on record: mg of clean wax, or mm of setting.
        """
        amount = self.amount or 0.0
        if self.act is not None:
            return self.act
        if self.kind == "wax" and amount:
            return ReworkAct(mass_out_mg=max(-amount, 0.0), mass_in_mg=max(amount, 0.0))
        return ReworkAct(opened=False, shim_mm=amount if self.kind == "setting" else 0.0)


class VirtualChange(NamedTuple):
    """A virtual bench's file and what it shall say; nothing is written before `write`."""

    path: Path
    section: VirtualSection

    def write(self) -> None:
        """Write the file anew, its own words kept."""
        write_virtual(self.path, self.section)


def virtual_changes(
    shop: Shop, serial: str, done: Done | None, instead_of: Done | None = None
) -> list[VirtualChange]:
    """Return what a rework changes on the workshop's virtual benches; a real one is never touched.

    `instead_of` is what was on record before a correction, or before it was cancelled by a `done`
    of None: the unit then is as if only `done` had been done to it. Raises InputError where the
    unit could not be so, or a file not be written.
    """
    changes = []
    for path, section in _hung(shop, serial):
        with _told(serial):
            changed = _changed(section, serial, done, instead_of)
        if changed != section:
            check_place(path)
            changes.append(VirtualChange(path, changed))
    return changes


def read_by_hands(
    shop: Shop, serial: str, act: ReworkAct, stick_out_mm: float | None = None
) -> ReworkAct:
    """Return an act going to be done as balance and pin will tell it, where the unit is virtual.

    With `stick_out_mm` it is filled until its cold pin stands so much further out. On a real bench
    only a person can tell, and the act comes back as it was. Raises InputError where the unit
    could not be so.
    """
    for _, section in _hung(shop, serial):
        with _told(serial):
            return as_read(section, serial, act, stick_out_mm)
    return act


def _hung(shop: Shop, serial: str) -> Iterator[tuple[Path, VirtualSection]]:
    """Yield the virtual benches that a unit hangs on, with their files."""
    for path in shop.bench_files().values():
        bench = read_toml(path, BenchFile)
        if bench.virtual is None or not simulated(bench):
            continue
        if any(unit.serial == serial for unit in bench.virtual.unit):
            yield path, bench.virtual


def _changed(
    section: VirtualSection, serial: str, done: Done | None, instead_of: Done | None
) -> VirtualSection:
    act = None if done is None else done.as_act()
    if instead_of is not None and instead_of.as_act().changes:
        return undone(section, serial) if act is None else corrected(section, serial, act)
    return section if act is None else reworked(section, serial, act)


@contextmanager
def _told(serial: str) -> Iterator[None]:
    """Say in a workshop's words that a virtual unit could not be so."""
    try:
        yield
    except ValidationError as error:
        figures = ", ".join(str(part["loc"][-1]) for part in error.errors() if part["loc"])
        raise InputError(
            f"rework of {serial}: this is more than the virtual unit can take ({figures});"
            " give smaller amounts"
        ) from error
    except ValueError as error:
        raise InputError(f"rework of {serial}: {error}") from error

"""A ferry workshop with the shipped bench of heated units, calibrated; its type limits currents."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from importlib.resources import files
from pathlib import Path
from typing import NamedTuple

from proofbath.bench.description import BenchFile
from proofbath.description import parse_toml
from proofbath.proof.specification import Limit
from proofbath.scenario.ferry import example_type
from proofbath.scenario.workshop import REFERENCE, calibrate_all, set_up, staff_and_type
from proofbath.store.records import Stamp
from proofbath.virtual.description import VirtualUnit
from proofbath.workshop.intake import put_type
from proofbath.workshop.shop import Shop, open_shop

NAME, QUAY, TYPE = "Ferry workshop, bench for heated types", "quay", "Heron-103"
EARLY = "H103-0215"
"""The unit of the shipped bench that opens 3.6 K too early."""
UNPOWERED = "unpowered_start_to_open_c"
LIFTS = Limit(
    quantity="lift_after_mm",
    lower=4.0,
    largest_u=0.6,
    element_a=0.9,
    bath_c=94.0,
    after_s=240.0,
)
"""At 0.9 A in 94 °C it opens by 4 mm or more within 240 s."""
OPENS = Limit(
    quantity="start_at_current_c", upper=91.0, largest_u=1.0, threshold_mm=0.1, element_a=0.8
)
"""At 0.8 A it opens at 91 °C or below."""


class HeatedShop(NamedTuple):
    """The workshop, who certifies and when, and the bench before its elements are calibrated."""

    shop: Shop
    stamp: Stamp
    bench: BenchFile

    @property
    def units(self) -> list[VirtualUnit]:
        """The heated units that hang in the bench."""
        assert self.bench.virtual is not None
        return [unit for unit in self.bench.virtual.unit if unit.serial != REFERENCE]

    def hung(self, serial: str) -> VirtualUnit:
        """Return a unit as the bench's file has it now."""
        virtual = self.shop.bench(QUAY).virtual
        assert virtual is not None
        return next(unit for unit in virtual.unit if unit.serial == serial)


def example_bench() -> BenchFile:
    """Return the shipped bench, by a name short enough for a socket in a test's folder."""
    text = (files("proofbath.virtual") / "examples" / "heron_103_batch.toml").read_text("utf-8")
    return parse_toml(text.replace(NAME, QUAY), BenchFile, "heron_103_batch.toml")


@contextmanager
def heated_shop(folder: Path, at: str) -> Iterator[HeatedShop]:
    """Open the workshop: people, types and bench on record, all but the elements calibrated."""
    bench = example_bench()
    with open_shop(set_up(folder, bench)) as shop:
        stamp = staff_and_type(shop, at)
        shipped = example_type("heron_103_type.toml")
        limits = (*shipped.specification.limit, LIFTS, OPENS)
        specification = shipped.specification.model_copy(update={"limit": limits})
        put_type(shop, shipped.model_copy(update={"specification": specification}), stamp)
        calibrate_all(shop, bench, stamp, folder)
        yield HeatedShop(shop, stamp, bench)

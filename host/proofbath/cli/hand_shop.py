"""A hand measurement on record: of which unit, at which stage, by whom."""

from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple

from proofbath.errors import InputError
from proofbath.run.plan import Stage
from proofbath.store.kinds import HandMeasurement, Unit
from proofbath.workshop.entry import day_of
from proofbath.workshop.shop import Shop, open_shop


class OnRecord(NamedTuple):
    """Where a hand measurement is to be put."""

    shop_file: Path
    serial: str
    by: str
    stage: Stage

    def check(self) -> None:
        """Raise InputError now for what would be refused after hours of measuring."""
        with open_shop(self.shop_file) as shop:
            self._unit(shop)

    def put(self, result: dict[str, Any], began: str, at: str) -> int:
        """Put a result on record and return its number; `began` is when it was measured."""
        with open_shop(self.shop_file) as shop:
            entry = HandMeasurement(
                unit_id=self._unit(shop), stage=self.stage, date=day_of(began), content=result
            )
            return shop.records.add(entry, shop.stamp(self.by, at))

    def _unit(self, shop: Shop) -> int:
        person, allowed = shop.person(self.by).entry, HandMeasurement.rights_to_write
        if not person.active or not {*allowed} & {*person.rights}:
            raise InputError(f"{self.by} has not the right {' or '.join(allowed)}")
        return shop.records.find(Unit, serial=self.serial).root


def on_record(shop_file: Path, serial: str | None, by: str | None, stage: Stage) -> OnRecord | None:
    """Return where it is to be put, None where no unit is named; raises InputError."""
    if serial is None:
        return None
    if by is None:
        raise InputError("--unit: say who measures, --by NAME, to put it on record")
    return OnRecord(shop_file, serial, by, stage)

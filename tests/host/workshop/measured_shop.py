"""A workshop whose nights are put on record without a bench: results of chosen values."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, NamedTuple

from proofbath.curve.budget import Contribution
from proofbath.curve.result import known, unknown
from proofbath.proof.rework_act import ReworkAct
from proofbath.proof.rework_kind import Refillable
from proofbath.quantity.levels import OPENING
from proofbath.run.plan import LoadedStation, NightPlan, Stage
from proofbath.scenario.ferry import TEAL_82, ferry_bench
from proofbath.scenario.workshop import set_up, staff_and_type
from proofbath.store.journal import Journal, RunHead
from proofbath.store.kinds import (
    Batch,
    Findings,
    Intake,
    Loading,
    Result,
    Rework,
    StationRun,
    TypeVersion,
    Unit,
)
from proofbath.store.records import Stamp
from proofbath.workshop.shop import Shop, open_shop

AT = "2025-10-01T18:00:00+00:00"
BENCH = "ferry workshop"
PROBE_K, NIGHT_K, REPEAT_K, LAG_K = 0.05, 0.04, 0.07, 0.06
U_K = 2 * (PROBE_K**2 + NIGHT_K**2 + REPEAT_K**2 + LAG_K**2) ** 0.5
"""Nearly: all degrees of freedom are infinite, so k is 1.96."""


class Measurement(NamedTuple):
    """What a night says of one unit; a start of None was not found."""

    start_c: float | None
    lift_mm: float = 9.5
    cycles_c: tuple[float, ...] = ()
    opening: tuple[tuple[float, float], ...] = ()
    """Where it passes lifts while rising: mm with °C."""
    hysteresis_k: float | None = None
    warnings: tuple[tuple[str, str], ...] = ()
    bath_c: float = 97.0
    """Where the full lift was read."""
    profile: str = ""


def content(measured: Measurement, lag_s: float = 20.0) -> dict[str, Any]:
    """Return a result as nights keep it, in the analysis' own JSON."""
    parts = [
        Contribution("bath probe", PROBE_K),
        Contribution("change between nights", NIGHT_K),
        Contribution("cycle repeatability", REPEAT_K, evaluation="A"),
        Contribution("lag", LAG_K),
    ]
    start = unknown("never opened")
    if measured.start_c is not None:
        start = known(measured.start_c, parts, "zero", {"lift_mm": 0.1})
    lift = known(measured.lift_mm, [Contribution("gauge", 0.02)], None, {"bath_c": measured.bath_c})
    rates = (1.0, 1.0, 0.5)
    rise = [known(c, parts, "zero", {"lift_mm": mm}).to_json() for mm, c in measured.opening]
    play = {}
    if measured.hysteresis_k is not None:
        spread = [Contribution("cycle scatter", 0.1)]
        play["hysteresis_k"] = known(measured.hysteresis_k, spread, "zero", {"lift_mm": 4.0})
    return {
        **({OPENING: rise} if rise else {}),
        **{name: quantity.to_json() for name, quantity in play.items()},
        "name": "unit",
        "threshold_mm": 0.1,
        **({"profile": measured.profile} if measured.profile else {}),
        "start_to_open_c": start.to_json(),
        "full_lift_mm": lift.to_json(),
        "lag_s": known(lag_s, [Contribution("fit", 1.0)]).to_json(),
        "warnings": [{"code": code, "text": text} for code, text in measured.warnings],
        "cycles": [
            {"start_to_open_c": c + lag_s / 60 * rate, "start_rate_k_per_min": rate}
            for c, rate in zip(measured.cycles_c, rates, strict=False)
        ],
    }


class MeasuredShop:
    """Writes units, batches, nights and rework as the workshop does, day by day."""

    def __init__(self, shop: Shop, stamp: Stamp) -> None:
        self.shop, self.records, self.stamp = shop, shop.records, stamp
        self.day = dt.date.fromisoformat(AT[:10])

    @property
    def now(self) -> Stamp:
        """The stamp of the present day."""
        return Stamp(f"{self.day.isoformat()}T18:00:00+00:00", self.stamp.by)

    def pass_days(self, days: int = 1) -> None:
        """Let days go by."""
        self.day += dt.timedelta(days=days)

    def units(
        self, serials: Sequence[str], lot: str | None = None, unit_type: str = "Teal-82"
    ) -> None:
        """Put units on record."""
        for serial in serials:
            self.records.add(Unit(serial=serial, unit_type=unit_type, supplier_lot=lot), self.now)

    def batch(self, name: str, serials: Sequence[str], unit_type: str = "Teal-82") -> None:
        """Open a batch and take units in."""
        version = self.records.current(TypeVersion, name=unit_type)[-1]
        batch_id = self.records.add(
            Batch(
                name=name,
                customer="River Ferry Ltd",
                received=self.day,
                type_version_id=version.root,
                fingerprint=version.entry.fingerprint,
            ),
            self.now,
        )
        for serial in serials:
            unit_id = self.records.find(Unit, serial=serial).root
            self.records.add(
                Intake(
                    unit_id=unit_id,
                    batch_id=batch_id,
                    cause="rework",
                    findings=Findings(),
                    accepted=True,
                ),
                self.now,
            )

    def night(
        self,
        batch: str,
        stage: Stage,
        measured: Mapping[str, Measurement],
        first_station: int = 1,
        status: str = "done",
        at_bench: str = BENCH,
    ) -> int:
        """Run a night whose units hang from `first_station` on in turn; return its number."""
        self.pass_days()
        known_batch = self.records.current(Batch, name=batch)
        plan = NightPlan(
            batch=batch,
            stage=stage,
            unit_type=TEAL_82,
            station=[
                LoadedStation(station=(first_station - 1 + n) % 6 + 1, serial=serial)
                for n, serial in enumerate(measured)
            ],
            profile="plain-as-left",
            step=[],
        )
        bench = self.shop.bench(BENCH)
        with closing(Journal(self.records.place)) as journal:
            text = bench.calibration.model_dump_json()
            head = RunHead(
                self.now.at, BENCH, plan.model_dump_json(), bench.model_dump_json(), text, "{}"
            )
            writer = journal.begin(head)
            writer.close(0.0, status, "profile complete" if status == "done" else "stopped")
            digest = journal.digests(writer.run_id)[-1]
        for place in plan.station:
            unit_id = self.records.find(Unit, serial=place.serial).root
            loading = Loading(
                batch_id=known_batch[0].root if known_batch else None,
                unit_id=unit_id,
                bench=at_bench,
                station=place.station,
                stage=stage,
            )
            run = StationRun(
                run_id=writer.run_id,
                loading_id=self.records.add(loading, self.now),
                station=place.station,
                status=status,
                run_digest=digest,
            )
            result = Result(
                station_run_id=self.records.add(run, self.now),
                program="proofbath",
                content=content(measured[place.serial]),
            )
            self.records.add(result, self.now)
        return writer.run_id

    def rework(
        self,
        batch: str,
        serial: str,
        amount: float | None = None,
        kind: Any = "wax",
        lot: str = "",
        act: ReworkAct | None = None,
    ) -> None:
        """Put a change on record, a day after what was before."""
        self.pass_days()
        entry = Rework(
            unit_id=self.records.find(Unit, serial=serial).root,
            batch_id=self.records.find(Batch, name=batch).root,
            date=self.day,
            kind=kind if act is None else "element",
            amount=amount,
            text="by hand",
            supplier_lot=lot or None,
            act=act,
        )
        self.records.add(entry, self.now)

    def retype(self, rework: Any = None) -> None:
        """Put a higher version of the type on record, with another kind of rework."""
        entry = self.records.current(TypeVersion, name="Teal-82")[-1].entry
        specification = entry.specification.model_copy(update={"version": entry.version + 1})
        version = TypeVersion.of(entry.unit_type, specification, rework)
        self.records.add(version, self.now)


@contextmanager
def measured_shop(folder: Path, rework: Any = None) -> Iterator[MeasuredShop]:
    """Open the ferry workshop in a folder: type, people and bench on record, no night yet."""
    with open_shop(set_up(folder, ferry_bench(1))) as shop:
        made = MeasuredShop(shop, staff_and_type(shop, AT))
        if rework is not None and rework != Refillable():
            made.retype(rework)
        yield made

"""What a run on record brings to documents: bench, conditions, curves, what was done otherwise."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

from proofbath.bench.connect import simulated
from proofbath.bench.description import BenchFile
from proofbath.bench.night import bench_facts
from proofbath.certificate.evidence import AtCurrents, Branch, Conditions
from proofbath.certificate.parties import Workshop
from proofbath.certificate.words import fixed, plain
from proofbath.run.plan import NightPlan
from proofbath.run.profile import MayFeed, PowerRamp, Ramp, resolve
from proofbath.wire.table import STATIONS


class RunEvidence(NamedTuple):
    """One run: what it was done on and by, when (UTC), and each station's opening curve.

    A curve is empty where the unit did not open by the bath's warmth; a unit that was fed current
    has what it did there.
    """

    run_id: int
    plan: NightPlan
    bench: BenchFile
    started: dt.date
    ended: dt.date
    curves: dict[int, tuple[Branch, ...]]
    at_currents: dict[int, AtCurrents]

    @property
    def called(self) -> str:
        """What documents call it."""
        return f"run {self.run_id}"

    @property
    def is_powered(self) -> bool:
        """Whether its units were opened by their heaters: their curves are drawn over both."""
        return self.plan.unit_type.kind == "heater-assisted"

    @property
    def is_simulated(self) -> bool:
        """Whether no real unit was in it."""
        return simulated(self.bench)

    def reference_serial(self) -> str | None:
        """Serial of the reference unit that was in it."""
        places = (place.serial for place in self.plan.station if place.role == "reference")
        return next(places, None)


def conditions_of(run: RunEvidence, station: int, workshop: Workshop) -> Conditions:
    """Return what a station's results were measured under."""
    coolant = run.bench.coolant
    share = f"{fixed(100 * coolant.share_by_volume, 0)} % {coolant.glycol} glycol by volume"
    return Conditions(
        bench=run.bench.bench.name,
        station=station,
        place="; ".join((workshop.name, *workshop.address))[:600],
        coolant="water" if coolant.glycol == "none" else f"water with {share}, stirred",
        station_pressure_kpa=run.bench.pressure_kpa(),
        profile=profile_in_words(run),
    )


def profile_in_words(run: RunEvidence) -> str:
    """Return what the bath did: cycles, rates, highest temperature, power of the elements."""
    place = bench_facts(run.bench).place
    profile = run.plan.steps(place)
    legs = resolve(
        profile.step, run.plan.unit_type, run.plan.limit_c(place.limit_c), run.plan.loading()
    )
    recorded = [leg for leg in legs if leg.step.purpose == "recorded"]
    cycles = {leg.step.cycle for leg in recorded}
    rates = {
        leg.step.rate_k_per_min
        for leg in recorded
        if isinstance(leg.step, Ramp) and isinstance(leg.step.rate_k_per_min, float)
    }
    top_c = max((leg.to_c for leg in recorded), default=legs[-1].to_c)
    power_w = max((leg.step.to_w for leg in recorded if isinstance(leg.step, PowerRamp)), default=0)
    set_values = [leg.step for leg in recorded if isinstance(leg.step, MayFeed)]
    stations = range(1, STATIONS + 1)
    greatest = {
        unit: max((s.set_at(n) for s in set_values if is_given(s) for n in stations), default=0)
        for unit, is_given in (("A", _sets_a), ("V", _sets_v))
    }
    parts = [f"{profile.name}: {len(cycles)} recorded cycles"]
    parts += [f"at {' and '.join(map(plain, sorted(rates, reverse=True)))} K/min"] if rates else []
    parts += [f"up to {fixed(top_c, 1)} °C"]
    parts += [f"elements up to {plain(power_w)} W"] if power_w else []
    parts += [f"elements at up to {plain(most)} {unit}" for unit, most in greatest.items() if most]
    return ", ".join(parts)


def _sets_a(step: MayFeed) -> bool:
    return step.element_a is not None


def _sets_v(step: MayFeed) -> bool:
    return step.element_v is not None


def deviations_of(run: RunEvidence) -> list[str]:
    """Return what a run did otherwise than the method says."""
    place = bench_facts(run.bench).place
    steps = run.plan.steps(place).step
    limit_c = run.plan.limit_c(place.limit_c)
    legs = resolve(steps, run.plan.unit_type, limit_c, run.plan.loading())
    clipped = sorted({fixed(leg.to_c, 1) for leg in legs if leg.clipped})
    own = ["the steps were written out for this run"] if run.plan.profile is None else []
    low = [f"the bath's limit kept it to {', '.join(clipped)} °C"] if clipped else []
    left = sorted(run.plan.may_drop)
    dropped = [f"cycles {', '.join(map(str, left))} could be left out"] if left else []
    return own + low + dropped

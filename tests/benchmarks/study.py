"""A bench study on a virtual bench, from plans over whole nights to components beside the truth.

Usage: python tests/benchmarks/study.py [--short] [--seed 1]

Six drawn units are moved over six drawn stations; every night is carried out whole. What the true
stations differ by (place in the bath), what the units differ by, and how they scatter from cycle
to cycle is known of the virtual bench; nothing in it changes from night to night or by reloading.
"""

from __future__ import annotations

import argparse
import math
import tempfile
from functools import partial
from pathlib import Path

import numpy as np

from proofbath.bench.description import BenchFile
from proofbath.run.plan import NightPlan
from proofbath.scenario.ferry import BENCH, TEAL_82, ferry_bench
from proofbath.scenario.workshop import OPERATOR, save_bench, set_up, staff_and_type
from proofbath.store.kinds import Unit
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.population import draw_unit
from proofbath.virtual.truth import rising_c
from proofbath.workshop.bench_study import evaluate_study, study_plans
from proofbath.workshop.nights import shop_night
from proofbath.workshop.shop import open_shop

SERIALS = [f"S{n}" for n in range(1, 7)]
AT = "2025-10-{:02}T18:00:00+00:00"


def hung(bench: BenchFile, units: dict[str, VirtualUnit], plan: NightPlan, night: int) -> BenchFile:
    """Return the virtual bench with the units where a night's plan has them."""
    assert bench.virtual is not None
    placed = tuple(
        units[place.serial].model_copy(update={"station": place.station}) for place in plan.station
    )
    virtual = bench.virtual.model_copy(update={"unit": placed, "seed": 100 + night})
    return bench.model_copy(update={"virtual": virtual})


def truth(bench: BenchFile, units: dict[str, VirtualUnit]) -> dict[str, float]:
    """Return the true standard deviations in K of what a study looks for."""
    assert bench.virtual is not None
    starts = [rising_c(unit, TEAL_82.threshold_mm) for unit in units.values()]
    scatters = [unit.start_scatter_k for unit in units.values()]
    return {
        "unit": float(np.std([start for start in starts if start is not None], ddof=1)),
        "station": float(np.std([s.gradient_k for s in bench.virtual.station], ddof=1)),
        "night": 0.0,
        "reload": 0.0,
        "repeatability": math.sqrt(float(np.mean(np.square(scatters)))),
    }


def main() -> None:
    """Run the study's nights and print its components beside the truth."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    rng, bench = np.random.default_rng(options.seed), ferry_bench(options.seed)
    model = VirtualUnit(serial="T82-MODEL", station=1, heater_ohm=0.0)
    units = {serial: draw_unit(rng, model, serial, 1) for serial in SERIALS}
    with tempfile.TemporaryDirectory(prefix="pb") as name:
        folder = Path(name)
        with open_shop(set_up(folder, bench)) as shop:
            stamp = staff_and_type(shop, AT.format(1))
            for serial in SERIALS:
                shop.records.add(Unit(serial=serial, unit_type=TEAL_82.name), stamp)
            plans = study_plans(shop.records, "study", SERIALS, 3 if options.short else 6)
            for night, plan in enumerate(plans, start=1):
                save_bench(folder, hung(bench, units, plan, night))
                at = AT.format(night + 1)
                shop_night(
                    shop, plan, BENCH, OPERATOR, at, clear=True, folder=folder, now=partial(str, at)
                )
            found = evaluate_study(shop.records, BENCH, "study")
    print(f"{found.loadings} loadings in {len(found.run_ids)} nights")
    print(f"{'component':15}{'sd / K':>8}{'95 % interval':>18}{'true':>8}")
    true_k = truth(bench, units)
    for item in found.content()["components"]:
        interval = f"{item['low_k']:.3f} to {item['high_k']:.3f}"
        print(f"{item['name']:15}{item['sd_k']:8.3f}{interval:>18}{true_k[item['name']]:8.3f}")
    for line in found.left_out:
        print(line)


if __name__ == "__main__":
    main()

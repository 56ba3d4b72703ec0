"""Statistics over the records: batches, a type's history, and who or what differs."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from statistics import fmean, stdev

import numpy as np
import pytest
from scipy import stats

from host.workshop.measured_shop import PROBE_K, MeasuredShop, Measurement, measured_shop
from proofbath.scenario.workshop import OPERATOR
from proofbath.store.records import Stamp
from proofbath.workshop.shop_statistics import (
    TypeStatistics,
    batch_figures,
    compare_types,
    type_figures,
)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MeasuredShop]:
    with measured_shop(tmp_path) as made:
        yield made


def leave(
    shop: MeasuredShop, starts: list[float], batch: str, lot: str = "L1", first_station: int = 1
) -> None:
    """Have units found, dosed and measured as left, six a night."""
    serials = [f"{batch}-{n}" for n in range(len(starts))]
    shop.units(serials, lot)
    shop.batch(batch, serials)
    for at in range(0, len(serials), 6):
        night = serials[at : at + 6]
        shop.night(batch, "as-found", {s: Measurement(84.5) for s in night}, first_station)
        for serial in night:
            shop.rework(batch, serial, 8.0, lot=f"wax {lot}")
        after = dict(zip(night, starts[at : at + 6], strict=True))
        shop.night(batch, "as-left", {s: Measurement(c) for s, c in after.items()}, first_station)


def start(shop: MeasuredShop) -> TypeStatistics:
    return type_figures(shop.records, "Teal-82")[0]


def test_a_batch_is_said_in_mean_s_and_range_as_found_and_as_left(shop: MeasuredShop) -> None:
    starts = [81.2, 82.0, 82.9, 81.7]
    leave(shop, starts, "A")
    figures = batch_figures(shop.records, "A")[0]
    assert figures.form.startswith("Start-to-open, rising, at 0.1 mm at zero rate")
    assert figures.as_found is not None
    assert (figures.as_found.mean, figures.as_found.sd) == (84.5, 0.0)
    assert figures.as_left is not None
    assert figures.as_left.mean == pytest.approx(fmean(starts))
    assert figures.as_left.sd == pytest.approx(stdev(starts))
    assert figures.as_left.span == pytest.approx(1.7)
    assert figures.as_left.common_u == pytest.approx(PROBE_K)  # only the probe is shared by units


def test_a_batch_not_measured_has_no_figures(shop: MeasuredShop) -> None:
    shop.units(["U1"])
    shop.batch("A", ["U1"])
    assert all(f.as_found is f.as_left is None for f in batch_figures(shop.records, "A"))


def test_capability_needs_thirty_units_of_the_type(shop: MeasuredShop) -> None:
    z = stats.norm.ppf((np.arange(30) + 0.5) / 30)
    starts = list(82.1 + 0.4 * (z - z.mean()) / z.std(ddof=1))
    leave(shop, starts[:29], "A")
    few = start(shop).capability
    assert few.reason == "29 as-left units of the type; 30 are needed"
    assert few.common_u == pytest.approx(PROBE_K)
    leave(shop, starts[29:], "B")
    enough = start(shop).capability
    assert enough.reason is None
    assert enough.cp == pytest.approx(2.0 / (3 * 0.4))
    assert enough.cpk == pytest.approx(1.9 / (3 * 0.4))
    low, high = enough.tolerance_interval or (None, None)
    assert low is not None
    assert high is not None
    # Meeker, Hahn, Escobar, table J.5b: 2.555 for n 30, 95 % of units with 95 % confidence
    assert (high - low) / 2 == pytest.approx(0.4 * 2.555, abs=2e-4)


def test_a_unit_counts_once_by_its_newest_result(shop: MeasuredShop) -> None:
    leave(shop, [82.0, 82.1], "A")
    shop.batch("again", ["A-0"])
    shop.night("again", "as-found", {"A-0": Measurement(83.0)})
    shop.rework("again", "A-0", 2.0)
    shop.night("again", "as-left", {"A-0": Measurement(82.6)})
    assert start(shop).units == 2


def test_units_never_measured_as_left_do_not_count(shop: MeasuredShop) -> None:
    shop.units(["U1"])
    shop.batch("A", ["U1"])
    shop.night("A", "as-found", {"U1": Measurement(84.5)})
    assert start(shop).units == 0
    assert compare_types(shop.records) is None


def test_a_station_that_reads_high_is_named(shop: MeasuredShop) -> None:
    rng = np.random.default_rng(3)
    starts = [float(82 + rng.normal(0, 0.15) + (0.8 if n % 6 == 2 else 0.0)) for n in range(36)]
    leave(shop, starts, "A")
    found = next(f for f in start(shop).factors if f.factor == "station")
    assert found.comparison is not None
    by_hand = stats.f_oneway(*[starts[n::6] for n in range(6)])  # scipy's own
    assert found.comparison.f == pytest.approx(float(by_hand.statistic))
    out = [g.name for g in found.comparison.groups if g.stands_out]
    assert "ferry workshop 3" in out
    assert "ferry workshop 3 by +" in found.words
    assert found.adjusted_p is not None
    assert found.adjusted_p >= found.comparison.p


def test_lots_and_persons_are_compared(shop: MeasuredShop) -> None:
    rng = np.random.default_rng(4)
    leave(shop, list(82.0 + rng.normal(0, 0.2, 12)), "A", "L1")
    shop.stamp = Stamp(shop.stamp.at, shop.shop.person(OPERATOR).root)
    leave(shop, list(83.0 + rng.normal(0, 0.2, 12)), "B", "L2")
    found = {one.factor: one for one in start(shop).factors}
    assert {"L1", "L2"} == {*found["supplier lot"].groups}
    assert {"wax L1", "wax L2"} == {*found["lot of wax or part"].groups}
    assert {"Mara Lind", "Tomas Reed"} == {*found["loader"].groups}
    assert {"Mara Lind", "Tomas Reed"} == {*found["reworker"].groups}
    assert "supplier lots differ" in found["supplier lot"].words
    assert "two groups" in found["bench"].words
    lifts = {one.factor: one for one in type_figures(shop.records, "Teal-82")[1].factors}
    assert lifts["supplier lot"].words == "supplier lot: all units read alike"


def test_a_trend_over_months_is_seen(shop: MeasuredShop) -> None:
    """0.6 K in 30 days by construction: a batch takes 3 days, and 27 pass in between."""
    for n in range(12):
        shop.pass_days(27)
        leave(shop, [80.0 + 0.6 * n], f"b{n}")
    found = start(shop).trend
    assert found is not None
    assert found.slope == pytest.approx(0.6, rel=1e-6)
    assert found.p < 1e-6


def test_types_are_compared_about_their_middle(shop: MeasuredShop) -> None:
    leave(shop, [82.1, 82.3, 82.2, 82.4], "A")
    found = compare_types(shop.records)
    assert found is not None
    assert dict(found.groups) == {"Teal-82": 4}
    assert found.comparison is None


def test_statistics_are_plain_json(shop: MeasuredShop) -> None:
    leave(shop, [82.1, 82.3, 82.2, 82.4, 82.0, 82.2, 82.5, 82.2], "A")
    shown = [one.to_json() for one in type_figures(shop.records, "Teal-82")]
    again = json.loads(json.dumps(shown, allow_nan=False))
    assert again[0]["units"] == 8

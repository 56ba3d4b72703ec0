"""Charts from the record: since when, what signals, and what lifts it.

The charts' own figures are checked in tests/host/proof/test_chart.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from host.bench.test_in_force import probes
from host.workshop.ferry_shop import QUAY, REFERENCE, FerryShop, ferry_shop
from proofbath.errors import InputError
from proofbath.workshop.charts import probe_chart_of, put_cause, reference_chart_of
from proofbath.workshop.intake import set_reference


@pytest.fixture
def ferry(tmp_path: Path) -> Iterator[FerryShop]:
    with ferry_shop(tmp_path) as made:
        yield made


def nights(ferry: FerryShop, *reference_c: float | None, apart_k: float = 0.02) -> list[int]:
    """Measure a unit that is new each time beside the reference unit."""
    runs = []
    for opens_c in reference_c:
        serial = f"A-{ferry.day.isoformat()}"
        ferry.batch([serial], serial)
        run = ferry.night("as-found", {serial: 82.0}, serial, reference_c=opens_c, apart_k=apart_k)
        runs.append(run)
    return runs


def test_the_reference_units_nights_stand_on_its_chart(ferry: FerryShop) -> None:
    runs = nights(ferry, 82.0, 82.1, None, 82.05)
    chart = reference_chart_of(ferry.shop.records, QUAY, REFERENCE)
    assert [point.run for point in chart.points] == [str(runs[n]) for n in (0, 1, 3)]
    steps = [b.value - a.value for a, b in zip(chart.points, chart.points[1:], strict=False)]
    assert steps == pytest.approx([0.1, -0.05], abs=0.02)
    assert chart.provisional
    assert chart.blocked is None
    until = reference_chart_of(ferry.shop.records, QUAY, REFERENCE, runs[1])
    assert [point.run for point in until.points] == [str(run) for run in runs[:2]]


def test_a_new_since_begins_the_chart_anew(ferry: FerryShop) -> None:
    nights(ferry, 82.0, 82.1)
    set_reference(ferry.shop, REFERENCE, ferry.day, "new spring", ferry.stamp)
    last = nights(ferry, 80.5)
    chart = reference_chart_of(ferry.shop.records, QUAY, REFERENCE)
    assert [point.run for point in chart.points] == [str(last[0])]
    assert chart.blocked is None


def test_a_signal_blocks_until_its_cause_and_a_good_run(ferry: FerryShop) -> None:
    nights(ferry, 82.0, 82.1, 82.0)
    bad = nights(ferry, 83.5)[0]

    def blocked() -> str | None:
        return reference_chart_of(ferry.shop.records, QUAY, REFERENCE).blocked

    assert f"out of control in run {bad}" in str(blocked())
    put_cause(ferry.shop, bad, "reference", "bath was not stirred", ferry.stamp)
    assert "a good run must follow" in str(blocked())
    nights(ferry, 82.05)
    assert blocked() is None


def test_a_cause_needs_a_signal_and_stands_once(ferry: FerryShop) -> None:
    good = nights(ferry, 82.0, 82.1, 82.0)[-1]
    bad = nights(ferry, 83.5)[0]
    for run, chart in ((good, "reference"), (bad, "probes"), (99, "reference")):
        with pytest.raises(InputError, match=f"run {run}: shows no signal on the {chart} chart"):
            put_cause(ferry.shop, run, chart, "why", ferry.stamp)  # type: ignore[arg-type]
    put_cause(ferry.shop, bad, "reference", "bath was not stirred", ferry.stamp)
    with pytest.raises(InputError, match="has its cause"):
        put_cause(ferry.shop, bad, "reference", "again", ferry.stamp)


def test_the_probes_chart_has_every_soak_since_their_calibration(ferry: FerryShop) -> None:
    nights(ferry, 82.0)
    ferry.put_calibration(probes(0.0))
    nights(ferry, 82.0, 82.0, 82.0, 82.0, 82.0)
    chart = probe_chart_of(ferry.shop.records, QUAY)
    assert len(chart.points) == 5, "the night before was with other probes' calibration"
    assert [point.value for point in chart.points] == pytest.approx([0.02] * 5, abs=0.01)
    bad = nights(ferry, 82.0, apart_k=0.15)[0]
    assert f"out of control in run {bad}, soak 1" in str(
        probe_chart_of(ferry.shop.records, QUAY).blocked
    )
    put_cause(ferry.shop, bad, "probes", "guard probe's plug was wet", ferry.stamp)
    nights(ferry, 82.0)
    assert probe_chart_of(ferry.shop.records, QUAY).blocked is None


def test_only_a_reference_unit_has_a_chart(ferry: FerryShop) -> None:
    ferry.batch(["A1"])
    with pytest.raises(InputError, match="A1: is no reference unit"):
        reference_chart_of(ferry.shop.records, QUAY, "A1")

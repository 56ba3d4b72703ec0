"""Two worked examples of the Python interface, as a notebook would hold them, and blanks."""

from __future__ import annotations

import csv
import io
import subprocess
import sys

import numpy as np
import pytest

import proofbath
from host.curve.closed_form import STEP_S, StraightUnit, night, ramps, record_of


def test_example_one_file_to_a_number_with_its_interval() -> None:
    """A curve file becomes start-to-open with an interval and the largest contribution."""
    bath_c = night((1.0, 0.5))
    text = proofbath.to_csv(record_of(bath_c, StraightUnit().lift_mm(bath_c)))

    bench = proofbath.BenchBudget(
        probe_k=0.05, gradient_k=0.06, gauge_mm=0.002, repeatability_k=0.1, repeatability_dof=40
    )
    result = proofbath.analyse(
        proofbath.parse_csv(text, "unit 7"),
        bench_budget=bench,
        at_baths_c=[84.0],
        at_lifts_mm=[4.0],
    )
    start = result.start_to_open_c
    largest = max(start.contributions, key=lambda item: abs(item.share))

    assert start.value == pytest.approx(82.2, abs=0.06)
    assert start.expanded_uncertainty == pytest.approx(0.22, abs=0.05)
    assert largest.name == "cycle repeatability"
    assert result.series["lift_at_mm"][0].value == pytest.approx(1.0, abs=0.03)
    assert result.series["temperature_at_c"][0].value == pytest.approx(90.0, abs=0.06)


def test_example_two_a_batch_to_a_table_and_a_pool() -> None:
    """Six units become a table, and teach the bench their type's scatter and lag."""
    bath_c, draw = night((1.0, 1.0, 0.5)), np.random.default_rng(4)
    results = []
    for number in range(6):
        unit = StraightUnit(opens_c=82 + 0.5 * number, lag_s=20 + number)
        swung_c = bath_c + np.interp(
            np.arange(len(bath_c)) * STEP_S, [0, 9e3, 18e3], draw.normal(0, 0.1, 3)
        )
        results.append(proofbath.analyse(record_of(bath_c, unit.lift_mm(swung_c), seed=number)))

    rows = proofbath.unit_rows(results)
    text = io.StringIO()
    table = csv.DictWriter(text, rows[0].keys())
    table.writeheader()
    table.writerows(rows)
    bench = proofbath.pooled(proofbath.BenchBudget(probe_k=0.05), results)

    assert len(text.getvalue().splitlines()) == 7
    assert len(proofbath.cycle_rows(results)) == 18
    assert bench.probe_k == 0.05
    assert bench.repeatability_dof == 12
    assert 0.0 < (bench.repeatability_k or 0) < 0.3
    assert bench.type_lag_s == pytest.approx(22.5 * 1.1, abs=2)  # a constant lag reads high


def test_a_blank_takes_the_fixture_off_rising_and_falling_apart() -> None:
    unit = StraightUnit()
    bath_c = ramps((76, 0), (76, 300), (95, 1), (95, 300), (76, 0.5))
    falls = np.gradient(bath_c) < 0
    fixture_mm = 0.003 * (bath_c - 76) + 0.02 * falls
    blank = proofbath.blank_of(record_of(bath_c, fixture_mm, expansion_mm_per_k=0.0))
    record = record_of(bath_c, unit.lift_mm(bath_c) + fixture_mm, expansion_mm_per_k=0.0)
    bare, freed = proofbath.analyse(record), proofbath.analyse(record, blank=blank)
    level_only = [
        next(item for item in result.start_to_open_c.contributions if item.name == "lift zero")
        for result in (bare, freed)
    ]
    assert abs(level_only[1].share) < abs(level_only[0].share) / 3
    assert bare.zero_return_mm.value is None or abs(bare.zero_return_mm.value) > 0.01
    assert freed.zero_return_mm.value == pytest.approx(0.0, abs=0.002)
    start_c, freed_c = bare.start_to_open_c.value or 0.0, freed.start_to_open_c.value or 0.0
    assert freed_c - start_c == pytest.approx(0.03, abs=0.02)


def test_overlays_and_heater_pictures_are_drawn_the_same_every_time() -> None:
    bath_c = night((1.0,))
    records = [record_of(bath_c, StraightUnit(opens_c=c).lift_mm(bath_c)) for c in (82.0, 84.0)]
    results = [proofbath.analyse(record) for record in records]
    first = proofbath.overlay_picture(records, results)
    assert first == proofbath.overlay_picture(records, results)
    assert proofbath.heater_picture(records[0], results[0], "png").startswith(b"\x89PNG")


def test_names_are_loaded_when_first_used() -> None:
    """A plain import stays fast: neither numpy nor anything of ours is loaded by it."""
    told = (
        "import sys, proofbath;"
        "assert not [m for m in sys.modules if m.startswith(('numpy', 'proofbath.'))];"
        "assert set(proofbath.__all__) == set(dir(proofbath));"
        "[getattr(proofbath, name) for name in proofbath.__all__]"
    )
    subprocess.run([sys.executable, "-c", told], check=True, env={"PYTHONPATH": ":".join(sys.path)})
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = proofbath.no_such_name

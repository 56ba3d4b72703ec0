"""The opening curve on a certificate: what is kept of a record, and where it is drawn."""

from __future__ import annotations

import numpy as np
import pytest

from host.certificate import ferry
from host.curve.closed_form import StraightUnit, night, ramps, record_of
from proofbath.certificate.evidence import Branch
from proofbath.certificate.plot import curve_of, plot_view

UNIT = StraightUnit()
BATH_C = night((1.0, 0.5))
RECORD = record_of(BATH_C, UNIT.lift_mm(BATH_C))


def test_a_record_is_thinned_to_its_passes() -> None:
    curve = curve_of(RECORD, 0.1)
    assert [branch.rising for branch in curve] == [True, False, True, False]
    assert all(100 < len(branch.bath_c) < 200 for branch in curve)
    # falling, the unit passes 0.3 mm at 82 + 0.6 - 3 - lag; 5 K below that the drawing begins
    assert min(min(branch.bath_c) for branch in curve) == pytest.approx(74.6, abs=0.4)


def test_the_points_lie_on_the_curve() -> None:
    for branch in curve_of(RECORD, 0.1):
        bath_c, lift_mm = np.array(branch.bath_c), np.array(branch.lift_mm)
        moving = (lift_mm > 0.5) & (lift_mm < 7.5) & (bath_c < 98.0)
        # closed form: lift = 0.5 (T - 82), falling with 3 K of play; lag 20 s at up to 1 K/min
        shift_k = 0.0 if branch.rising else -UNIT.play_k
        true_mm = UNIT.slope_mm_per_k * (bath_c - UNIT.opens_c - shift_k)
        lag_mm = UNIT.slope_mm_per_k * UNIT.lag_s / 60
        assert np.abs(lift_mm - true_mm)[moving].max() < lag_mm + 0.03


def test_a_gap_is_not_drawn_over() -> None:
    t_s = RECORD.t_s.copy()
    t_s[np.searchsorted(BATH_C, 85.0) :] += 60.0
    gapped = type(RECORD)(t_s, RECORD.bath_c, RECORD.lift_mm)
    assert len(curve_of(gapped, 0.1)) == len(curve_of(RECORD, 0.1)) + 1


def test_a_unit_that_never_opened_is_drawn_flat() -> None:
    bath_c = ramps((70, 0), (90, 2), (70, 2))
    curve = curve_of(record_of(bath_c, 0 * bath_c), 0.1)
    assert [branch.rising for branch in curve] == [True, False]
    view = plot_view(curve, ())
    assert view is not None
    assert view["start"] is None
    assert view["across"][0]["text"] == "70"


def test_ticks_are_round_and_inside_the_frame() -> None:
    content = ferry.certificate()
    view = plot_view(content.curve, content.results)
    assert view is not None
    assert [tick["text"] for tick in view["up"]] == ["0", "2", "4", "6", "8", "10"]
    assert [tick["at"] for tick in view["up"]] == [0, 0.2, 0.4, 0.6, 0.8, 1]
    assert [tick["text"] for tick in view["across"]] == ["75", "80", "85", "90", "95", "100"]
    assert view["start"]["at"] == pytest.approx((82.28 - 75) / 25, abs=1e-5)
    assert view["start"]["to"] - view["start"]["from"] == pytest.approx(2 * 0.2967 / 25, abs=1e-3)
    points = [p for branch in view["branches"] for p in branch["points"]]
    assert all(0 <= x <= 1 and -0.01 <= y <= 1 for x, y in points)


def test_nothing_is_drawn_without_a_curve() -> None:
    assert plot_view((), ()) is None
    short = plot_view((Branch(rising=True, bath_c=(80.0, 80.4), lift_mm=(0.0, 0.1)),), ())
    assert short is not None
    assert short["across"][0]["text"] == "80.0"

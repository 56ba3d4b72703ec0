"""The opening curve on a certificate: what is kept of a record, and where it is drawn."""

from __future__ import annotations

import numpy as np
import pytest

from host.certificate import ferry
from host.curve.closed_form import StraightUnit, night, ramps, record_of
from proofbath.certificate.evidence import Branch
from proofbath.certificate.plot import curve_of, last_cycle, plot_view, powered_curve_of
from proofbath.curve.record import CurveRecord

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


def powered_record(shift_k_per_w: float = -1.9) -> CurveRecord:
    """Opened by up to 12 W in baths of 96 and 88 °C, without lag or play; closed when cold."""
    bath, power_w = [np.array([70.0])], [np.array([0.0])]
    for bath_c in (96.0, 88.0):
        for to_c, to_w, minutes in (
            (70.0, 0.0, 10),
            (bath_c, 0.0, 20),
            (bath_c, 12.0, 12),
            (bath_c, 0.0, 8),
        ):
            bath.append(np.linspace(bath[-1][-1], to_c, minutes * 600 + 1)[1:])
            power_w.append(np.linspace(power_w[-1][-1], to_w, minutes * 600 + 1)[1:])
    bath_c, watts = np.concatenate(bath), np.concatenate(power_w)
    lift_mm = 0.5 * np.clip(bath_c - shift_k_per_w * watts - 102.0, 0.0, None)
    plain, amps = record_of(bath_c, lift_mm), np.sqrt(watts / 15.0)
    return CurveRecord(plain.t_s, plain.bath_c, plain.lift_mm, amps, amps * 15.3, "Heron-103")


def test_powered_passes_at_two_baths_lie_on_one_curve() -> None:
    """Closed form: lift = 0.5 (T + 1.9 P - 102), whatever the bath."""
    curve = powered_curve_of(powered_record(), 0.1, -1.9, lead_ohm=0.3)
    assert len(curve) == 4
    for branch in curve:
        over_c, lift_mm = np.array(branch.bath_c), np.array(branch.lift_mm)
        true_mm = 0.5 * np.clip(over_c - 102.0, 0.0, None)
        assert np.abs(lift_mm - true_mm).max() < 0.03
    assert max(max(branch.lift_mm) for branch in curve) == pytest.approx(8.4, abs=0.05)
    wrong = powered_curve_of(powered_record(), 0.1, -1.0, lead_ohm=0.3)
    tops = [branch.bath_c[int(np.argmax(branch.lift_mm))] for branch in wrong]
    assert max(tops) - min(tops) > 5.0, "another shift would not bring them together"


def test_a_record_without_currents_has_no_powered_curve() -> None:
    assert powered_curve_of(RECORD, 0.1, -1.9) == ()


def test_a_small_picture_shows_the_last_cycle_alone() -> None:
    curve = curve_of(RECORD, 0.1)
    small = last_cycle(curve, 40)
    assert [branch.rising for branch in small] == [True, False]
    assert all(40 <= len(branch.bath_c) < 60 for branch in small)
    assert small[0].bath_c == curve[2].bath_c[:: len(curve[2].bath_c) // 40]
    assert last_cycle((), 40) == ()

"""The preview of a night: its course takes what the forecast says and goes where the plan says."""

from __future__ import annotations

import datetime as dt
import itertools

import pytest

from host.bench.nights import bench_file, plan
from proofbath.bench.night import check_night
from proofbath.run.heated_profiles import Place
from proofbath.run.profile import resolve
from proofbath.run.profiles import OPEN_C, PROFILES
from proofbath.scenario import TEAL_82, ferry_bench, ferry_plan
from proofbath.web.night_preview import clock, course, day_seconds, hours, preview

BENCH = ferry_bench(1)
PLAN = ferry_plan(BENCH)


def test_the_course_takes_as_long_as_the_forecast_and_ends_where_it_ends() -> None:
    checked = check_night(PLAN, BENCH)
    points = course(checked.legs, BENCH.bath)
    assert points[-1].t_s == pytest.approx(checked.expected_s)
    assert points[-1].bath_c == pytest.approx(OPEN_C - 1.0)
    assert all(b.t_s >= a.t_s for a, b in itertools.pairwise(points))


def test_a_ramp_of_one_kelvin_a_minute_is_a_straight_line_of_it() -> None:
    """Hand calculation: from 70 to 97 °C at 1 K/min takes 27 min."""
    steps = PLAN.model_copy(update={"profile": "plain-as-found"}).steps(Place(100.0, BENCH.bath))
    legs = resolve(steps.step[:2], TEAL_82, 100.0)
    rise = [p for p in course(legs, BENCH.bath) if p.bath_c >= 70.0][-15:]
    for a, b in itertools.pairwise(rise):
        assert (b.bath_c - a.bath_c) * 60.0 == pytest.approx(b.t_s - a.t_s)
    assert rise[-1].bath_c == 97.0


@pytest.mark.parametrize("name", [n for n in PROFILES if n.startswith("plain")])
def test_every_plain_profile_can_be_drawn(name: str) -> None:
    seen = preview(PLAN.model_copy(update={"profile": name}), BENCH, 20 * 3600.0)
    pairs = [tuple(map(float, pair.split(","))) for pair in seen.picture.course.split()]
    assert all(
        seen.picture.left <= x <= seen.picture.right
        and seen.picture.limit_y <= y <= seen.picture.bottom
        for x, y in pairs
    )
    assert seen.picture.ready_x < seen.picture.cold_x <= seen.picture.right


def test_times_are_those_of_the_day() -> None:
    """Begun at 20:00, a night whose data take 4:18 h has them at 00:18."""
    seen = preview(PLAN.model_copy(update={"profile": "plain-as-found"}), BENCH, 20 * 3600.0)
    ready_s = seen.checked.ready_s
    assert seen.ready_at == clock(20 * 3600.0 + ready_s)
    assert clock(20 * 3600.0 + 4.3 * 3600.0) == "00:18"
    assert hours(4.3 * 3600.0) == "4:18 h"


def test_a_bath_that_stays_hot_is_drawn_until_it_may_be_opened() -> None:
    hot = plan(
        """
batch = "ferry 12"
unit_type = { name = "Teal-82", nominal_start_to_open_c = 82, full_open_c = 95, full_lift_mm = 8,
 cap_c = 105 }
station = [{ station = 1, serial = "A1" }]
step = [{ kind = "ramp", to_c = 60, rate_k_per_min = 1 }]
""".replace("\n unit", "").replace("8,\n", "8, ")
    )
    seen = preview(hot, bench_file(), 0.0)
    last = seen.picture.course.split()[-1]
    assert float(last.split(",")[0]) == pytest.approx(seen.picture.right)
    assert seen.picture.cold_x == pytest.approx(seen.picture.right, abs=0.2)


def test_local_midnight_is_where_the_day_begins() -> None:
    local = dt.datetime(2026, 3, 1, 21, 30, 5).astimezone()
    assert day_seconds(local.astimezone(dt.UTC)) == 21 * 3600 + 30 * 60 + 5

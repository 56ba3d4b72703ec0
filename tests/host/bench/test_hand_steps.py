"""Current steps typed at one temperature, against valves and elements of known curve."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from host.bench.hand_pot import ScriptedPerson, rise, setup, straight
from proofbath.bench.hand_file import HandFile, HandNotes
from proofbath.bench.hand_heater import SetByHand
from proofbath.bench.hand_session import HandSession
from proofbath.bench.hand_words import hint
from proofbath.cli.hand_options import Instruments
from proofbath.curve.hand_instruments import Heater
from proofbath.curve.hand_record import HandPoint
from proofbath.curve.hand_result import HandResult, analyse_hand
from proofbath.curve.result import Quantity
from proofbath.errors import InputError

HEATED = setup(tool="dial", heater=Heater(lead_ohm=0.0))
OHM = 15.0
Row = tuple[float, float, float, float]


def points(*rows: Row) -> list[HandPoint]:
    """Readings of (s, bath °C, lift mm, A), the volts those of 15 ohm."""
    return [HandPoint(s, c, mm, a, a * OHM if a else math.nan) for s, c, mm, a in rows]


def steps(*currents: tuple[float, float]) -> list[HandPoint]:
    """A shut valve read cold, then in boiling water, then two equal readings at each (A, mm)."""
    rows: list[Row] = [(0, 60.0, 40.0, 0), (1800, 99.2, 40.0, 0)]
    for n, (amps, lift_mm) in enumerate(currents):
        rows += [(2000 + 300 * n + 120 * i, 99.2, 40.0 + lift_mm, amps) for i in range(2)]
    return points(*rows)


def value(quantity: Quantity) -> float:
    assert quantity.value is not None, quantity.reason
    return quantity.value


def expanded(quantity: Quantity) -> float:
    assert quantity.expanded_uncertainty is not None
    return quantity.expanded_uncertainty


def reason(result: HandResult) -> str:
    return result.steps[-1].steady_mm.reason or ""


def test_a_lift_is_steady_at_two_equal_readings_two_minutes_apart() -> None:
    (step,) = analyse_hand(steps((0.42, 2.1)), HEATED).steps
    assert value(step.steady_mm) == pytest.approx(2.1)
    assert step.power_w == pytest.approx(0.42**2 * OHM)  # Joule
    assert step.bath_c == pytest.approx(99.2)


@pytest.mark.parametrize(
    ("later", "said"),
    [
        ((100.0, 2.1), "read again 2 min after"),
        ((120.0, 2.12), "still moved +0.02 mm in 2 min"),
        ((109.0, 2.1), "read again 2 min after"),
        ((111.0, 2.1), ""),
        ((120.0, 2.11), ""),  # within the dial's 0.01 mm
    ],
)
def test_a_lift_that_is_not_steady_says_what_is_missing(
    later: tuple[float, float], said: str
) -> None:
    after_s, lift_mm = later
    readings = points(
        (0, 60.0, 40.0, 0),
        (1000, 99.2, 42.1, 0.42),
        (1000 + after_s, 99.2, 40.0 + lift_mm, 0.42),
    )
    assert said in reason(analyse_hand(readings, HEATED))
    assert (analyse_hand(readings, HEATED).steps[0].steady_mm.value is None) == bool(said)


def test_a_step_down_lies_on_the_falling_branch_and_is_left_out() -> None:
    result = analyse_hand(steps((0.6, 4.0), (0.42, 3.1)), HEATED)
    assert "only upwards" in reason(result)
    assert value(result.steps[0].steady_mm) == pytest.approx(4.0)


def test_a_step_without_a_shut_valve_before_it_has_no_zero() -> None:
    readings = points((0, 99.2, 42.1, 0.42), (120, 99.2, 42.1, 0.42))
    assert "read the shut valve first" in reason(analyse_hand(readings, HEATED))


def test_what_just_opens_lies_between_chord_and_secant() -> None:
    """A parabola of lift over power from 2 W on: 0.1 mm of 0.1 (P - 2)^2 is met at 3 W.

    By hand: steps at 2.4, 5.4 and 6.4 W. The chord from (2.4, 0.016) to (5.4, 1.156) meets 0.1 mm
    at 2.621 W, the secant on to (6.4, 1.936) at 4.046 W; in the middle 3.334 W, 0.471 A.
    """
    amps = [math.sqrt(watts / OHM) for watts in (2.4, 5.4, 6.4)]
    lifts = [0.016, 1.156, 1.936]
    result = analyse_hand(steps(*zip(amps, lifts, strict=True)), HEATED)
    assert value(result.opening_power_w) == pytest.approx(3.334, abs=0.002)
    assert value(result.opening_current_a) == pytest.approx(0.4714, abs=0.0005)
    between = [c for c in result.opening_power_w.contributions if c.name == "between two steps"]
    assert between[0].share == pytest.approx((4.046 - 2.621) / 2 / math.sqrt(3), abs=0.002)
    assert abs(value(result.opening_power_w) - 3.0) < expanded(result.opening_power_w)


def test_a_unit_that_stays_shut_or_needs_no_current_says_so() -> None:
    shut = analyse_hand(steps((0.3, 0.0), (0.5, 0.02)), HEATED).opening_current_a
    assert shut.value is None
    assert "not open at 0.50 A" in (shut.reason or "")
    open_before = points(
        (0, 60.0, 40.0, 0), (900, 99.2, 40.9, 0), (1000, 99.2, 42.0, 0.4), (1130, 99.2, 42.0, 0.4)
    )
    met = analyse_hand(open_before, HEATED).opening_current_a
    assert "without current: it needs none" in (met.reason or "")


def two_rises() -> list[HandPoint]:
    """A unit of 105 °C and 2.6 K/W: opens at 95.4 °C at 3.7 W and at 86.0 °C at 7.3 W."""
    readings: list[HandPoint] = []
    for watts in (3.7, 7.3):
        amps = math.sqrt(watts / OHM)
        opens_c = 105.0 - 2.6 * watts
        baths_c = [opens_c - 12.0 + n for n in range(17)]
        begins_s = readings[-1].t_s + 3600 if readings else 0.0
        readings += rise(straight(opens_c - 0.25, 0.4), baths_c, 1.0, begins_s, amps, amps * OHM)
    return readings


def test_two_powered_rises_give_the_unpowered_start_with_an_interval() -> None:
    """A straight line through the made data meets no power at 105 °C.

    2.6 K/W is more than a usual film and wax give: part of it is read as a film that falls.
    """
    start = analyse_hand(two_rises(), HEATED).unpowered_start_to_open_c
    assert value(start) == pytest.approx(105.0, abs=1.2)
    assert abs(value(start) - 105.0) < expanded(start) < 4.0
    assert {"film law", "thermometer"} <= {c.name for c in start.contributions}


def test_steps_in_boiling_water_and_a_rise_give_it_too() -> None:
    """The same unit needs 2.23 W in water of 99.2 °C: (105 - 99.2) / 2.6."""
    boiling = steps(*((math.sqrt(w / OHM), max(0.0, (w - 2.23) * 0.8)) for w in (1.5, 2.7, 3.5)))
    later = [p._replace(t_s=p.t_s + 9000.0) for p in two_rises()]
    both = analyse_hand([*boiling, *later], HEATED)
    assert abs(value(both.unpowered_start_to_open_c) - 105.0) < 1.0
    one = analyse_hand(boiling, HEATED).unpowered_start_to_open_c
    assert one.value is None
    assert "two powers are needed" in (one.reason or "")


def test_hints_say_when_to_set_the_next_current() -> None:
    read = steps((0.42, 2.1))
    assert "steady: set the next higher current" in hint(read, HEATED)
    assert "read again 2 min after" in hint(read[:-1], HEATED)


def typed(path: Path, boiling_c: float | None, *lines: str) -> tuple[ScriptedPerson, HandFile]:
    """Have lines typed where water boils at a temperature, or where nobody said at which."""
    made = HEATED.model_copy(update={"boiling_c": boiling_c})
    person = ScriptedPerson(*lines, "end")
    file = HandFile.begin(path, HandNotes(began="2026-11-30T08:00:00+00:00", setup=made))
    HandSession(file, SetByHand(person.tell, lambda: 6.3), person, person.clock).run()
    return person, file


def test_boil_stands_for_where_the_water_boils(tmp_path: Path) -> None:
    person, file = typed(tmp_path / "a.csv", 98.3, "60 40", "boil 40", "heat 0.42", "Boil 42,1")
    assert [point.bath_c for point in file.points] == [60.0, 98.3, 98.3]
    assert [point.element_a for point in file.points] == [0.0, 0.0, 0.42]
    assert any("never energise" in text or "wholly under water" in text for text in person.heard)
    person, file = typed(tmp_path / "b.csv", None, "boil 40")
    assert file.points == []
    assert any("--altitude-m or --pressure-kpa" in text for text in person.heard)


@pytest.mark.parametrize(
    ("altitude_m", "boils_c"), [(0.0, 100.0), (500.0, 98.3), (1000.0, 96.7), (2000.0, 93.3)]
)
def test_the_boiling_point_follows_the_altitude(altitude_m: float, boils_c: float) -> None:
    """Published table for the standard atmosphere: 100.0, 98.3, 96.7, 93.3 °C."""
    made = instruments(altitude_m=altitude_m).setup()
    assert made.boiling_c == pytest.approx(boils_c, abs=0.06)


def test_the_boiling_point_follows_the_pressure_and_not_both() -> None:
    """IAPWS-IF97, region 4 verification: 0.1 MPa is 372.755919 K."""
    assert instruments(pressure_kpa=100.0).setup().boiling_c == pytest.approx(99.61, abs=0.01)
    with pytest.raises(InputError, match="not both"):
        instruments(pressure_kpa=100.0, altitude_m=100.0).setup()


def instruments(altitude_m: float | None = None, pressure_kpa: float | None = None) -> Instruments:
    return Instruments(
        "glass", "", None, "dial", "", None, True, 0.1, True, None, 0.2, altitude_m, pressure_kpa
    )

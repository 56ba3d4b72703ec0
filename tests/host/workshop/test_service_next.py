"""What to do next with a unit in service: stuck ones named, an order told where it runs off."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from host.proof.engines import engine, newton, opening_by
from host.proof.test_service import csv_of, drive
from host.workshop.measured_shop import MeasuredShop, Measurement, measured_shop
from proofbath.errors import InputError
from proofbath.proof.cautions import RETARGETING
from proofbath.proof.engine_log import EngineLog
from proofbath.proof.engine_state import State
from proofbath.proof.ordered import Ordered
from proofbath.scenario.ferry import TEAL_82
from proofbath.workshop.orders import put_order
from proofbath.workshop.service import KeptLog, add_log, type_offset, unit_service
from proofbath.workshop.service_known import known_of
from proofbath.workshop.service_next import Next, NextAct, next_of
from proofbath.workshop.service_words import log_lines

OPENS_2_MM_C = 84.5


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MeasuredShop]:
    with measured_shop(tmp_path) as made:
        made.units(["U1", "U2"])
        made.batch("A", ["U1", "U2"])
        measured = Measurement(82.0, opening=((2.0, OPENS_2_MM_C),))
        made.night("A", "as-found", {"U1": measured})
        yield made


def level_log(level_c: float = 87.0, seed: int = 1) -> EngineLog:
    log = drive(seed, hours=1.0)
    return EngineLog(log.t_s, log.coolant_c + level_c - 87.0)


def add(shop: MeasuredShop, log: EngineLog, serial: str = "U1", **given: Any) -> KeptLog:
    shop.pass_days()
    days = {"fitted": shop.day, "name": "drive.csv", "engine": "Kittiwake, port"}
    return add_log(shop.shop, serial, csv_of(log), stamp=shop.now, **(days | given))


def then(shop: MeasuredShop, serial: str = "U1", wanted_c: float | None = None) -> Next:
    return next_of(shop.shop, unit_service(shop.records, serial), wanted_c)


def test_a_unit_stuck_shut_is_not_run_and_teaches_nothing(shop: MeasuredShop) -> None:
    log = add(shop, newton(114.0, 12.0, 60.0))
    assert log.condition.state is State.STUCK_SHUT
    (line, read) = log_lines(log)
    assert "stuck shut: the coolant passed the start-to-open without slowing" in line
    assert "31 K above its start-to-open of 82.0 °C on the bench" in line  # 113.3 °C after 1 h
    assert read.startswith("read: time from 't_s'")
    said = then(shop)
    assert said.act is NextAct.STOP
    assert "do not run it with this unit" in said.lines[0]
    assert unit_service(shop.records, "U1").offset_k is None
    assert type_offset(shop.records, "Teal-82").seen == {}


def test_a_unit_stuck_open_is_taken_out(shop: MeasuredShop) -> None:
    log = add(shop, newton(60.0, 8.0, 25.0))
    assert log.condition.state is State.STUCK_OPEN
    assert "22 K below its start-to-open of 82.0 °C on the bench" in log_lines(log)[0]
    assert then(shop).act is NextAct.TAKE_OUT


def test_a_hot_engine_whose_unit_opens_is_looked_at_first(shop: MeasuredShop) -> None:
    log = add(shop, engine(opening_by(82, 94), 60, radiator_kw_per_k=0.09))
    assert log.condition.state is State.NOT_COOLED
    assert "hot although it seems to open" in log_lines(log)[0]
    assert then(shop).act is NextAct.STOP


def test_a_unit_that_opens_late_is_measured_anew(shop: MeasuredShop) -> None:
    log = add(shop, engine(opening_by(102, 114), 60))
    assert log.condition.state is State.OPENS_LATE
    assert "opens late: regulates at 104" in log_lines(log)[0]
    assert then(shop).act is NextAct.TAKE_OUT


def test_a_warming_engine_is_logged_again(shop: MeasuredShop) -> None:
    log = add(shop, newton(95.0, 18.0, 20.0))
    assert "still warming" in log_lines(log)[0]
    assert then(shop).act is NextAct.LOG
    assert then(shop, "U2").act is NextAct.LOG  # none at all


def test_a_unit_that_was_never_measured_is_held_against_its_marking(shop: MeasuredShop) -> None:
    log = add(shop, newton(114.0, 12.0, 60.0), "U2")
    assert log.condition.state is State.STUCK_SHUT
    assert "above the 82 °C of its marking" in log_lines(log)[0]


def test_what_is_wanted_is_asked_where_no_order_says_it(shop: MeasuredShop) -> None:
    add(shop, level_log())
    assert then(shop).act is NextAct.SAY_WANTED
    with pytest.raises(InputError, match="is no temperature"):
        then(shop, wanted_c=float("nan"))


def test_an_engine_that_runs_as_wanted_is_left(shop: MeasuredShop) -> None:
    add(shop, level_log(87.0))
    said = then(shop, wanted_c=85.5)
    assert (said.act, said.change) == (NextAct.LEAVE, None)
    assert "1.5 K above the 85.5 °C wanted" in said.lines[0]


def test_an_engine_off_by_no_more_than_logs_scatter_is_logged_again(shop: MeasuredShop) -> None:
    """One log: its own u and 1 K from log to log, twice; four logs: half of that."""
    add(shop, level_log(87.0))
    put_order(
        shop.shop, "A", Ordered(wanted_c=84.5, tolerance_k=1.0, engine_c=85.5, text="letter"),
        stamp=shop.now,
    )  # fmt: skip
    assert then(shop).act is NextAct.LOG
    fitted = shop.day
    for seed in (2, 3, 4):
        add(shop, level_log(87.0, seed), fitted=fitted)
    said = then(shop)
    assert said.act is NextAct.ORDER


def test_another_order_is_told_at_the_lift_of_the_curve(shop: MeasuredShop) -> None:
    """3.1 K too hot: 2 mm at 84.5 - 3.1 °C."""
    add(shop, level_log(87.0))
    regulated_c = unit_service(shop.records, "U1").logs[0].findings["regulated_c"]
    said = then(shop, wanted_c=regulated_c - 3.1)
    assert said.change is not None
    assert said.change.lift_mm == 2.0
    assert said.change.order_c == pytest.approx(OPENS_2_MM_C - 3.1)
    assert "runs 3.1 K above" in said.lines[0]
    assert "order 2 mm at 81.4 °C for it; it was measured at 84.5 °C" in said.lines[0]
    assert said.lines[1] == RETARGETING
    colder = then(shop, wanted_c=regulated_c + 3.1)
    assert colder.change is not None
    assert colder.change.order_c == pytest.approx(OPENS_2_MM_C + 3.1)


def test_the_order_says_what_was_wanted_and_at_which_lift(shop: MeasuredShop) -> None:
    """At a lift that the result does not state, the start stands in."""
    put_order(
        shop.shop, "A", Ordered(wanted_c=82.0, lift_mm=4.0, engine_c=82.0, text="letter"),
        stamp=shop.now,
    )  # fmt: skip
    add(shop, level_log(87.0))
    said = then(shop)
    assert said.wanted_c == 82.0
    assert said.change is not None
    assert (said.change.lift_mm, said.change.was_c) == (TEAL_82.threshold_mm, 82.0)
    assert said.change.order_c == pytest.approx(77.0, abs=0.2)


def test_an_order_that_would_boil_or_overheat_the_unit_is_not_told(shop: MeasuredShop) -> None:
    """Water in an open system boils at 99.97 °C (IAPWS-IF97); 3 K less is the limit."""
    add(shop, level_log(87.0))
    said = then(shop, wanted_c=97.5)
    assert (said.act, said.change) == (NextAct.AIM_LOWER, None)
    assert "the limit is 96.97 °C" in said.lines[1]
    pressed = next_of(shop.shop, unit_service(shop.records, "U1"), 97.5, 90.0)
    assert pressed.act is NextAct.ORDER


def test_a_unit_that_was_not_measured_is_measured_first(shop: MeasuredShop) -> None:
    add(shop, level_log(87.0), "U2")
    assert then(shop, "U2", 82.0).act is NextAct.MEASURE


def test_a_measurement_before_a_change_says_nothing_of_the_unit(shop: MeasuredShop) -> None:
    shop.rework("A", "U1", 10.0)
    add(shop, level_log(87.0))
    found = unit_service(shop.records, "U1")
    assert (found.bench_c, found.offset_k) == (None, None)
    assert found.logs[0].condition.known.measured is False
    shop.night("A", "as-left", {"U1": Measurement(79.0)})
    add(shop, level_log(84.0, 2))
    assert unit_service(shop.records, "U1").bench_c == 79.0


def test_the_day_of_a_log_is_that_of_its_stamps(shop: MeasuredShop) -> None:
    shop.pass_days(10)
    logged = shop.day - dt.timedelta(days=3)
    rows = "".join(f"{logged} 08:{n:02};86,5\n" for n in range(60))
    text = "Zeit;Kühlmittel °C\n" + rows
    given: dict[str, Any] = {"name": "x.csv", "engine": "Kittiwake", "stamp": shop.now}
    with pytest.raises(InputError, match=f"logged {logged} by its own stamps"):
        add_log(shop.shop, "U1", text, fitted=shop.day, **given)
    told = add_log(shop.shop, "U1", text, fitted=shop.day, logged=shop.day, **given)
    assert told.logged == shop.day
    fitted = logged - dt.timedelta(days=1)
    again = add_log(shop.shop, "U2", text, fitted=fitted, **given)
    assert again.logged == logged


def test_a_heated_unit_may_run_colder_by_what_its_heater_does() -> None:
    """0.95 A in 15 ohm are 13.54 W; at 1.5 K/W that is 20.3 K."""
    heated = TEAL_82.model_copy(
        update={"kind": "heater-assisted", "element_max_a": 0.95, "element_ohm": 15.0}
    )
    assert known_of(heated, None).cold_c is None
    sure = heated.model_copy(update={"element_k_per_w": 1.5})
    assert known_of(sure, None).cold_c == pytest.approx(82 - 0.95**2 * 15 * 1.5 - 10)
    assert known_of(TEAL_82, None).cold_c == 72.0

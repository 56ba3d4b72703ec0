"""Plans of nights: who hangs where, and who may not be measured so."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from host.workshop.ferry_shop import (
    BATCH,
    GOOD,
    QUAY,
    REFERENCE,
    FerryShop,
    ferry_shop,
)
from proofbath.description import parse_toml
from proofbath.errors import InputError
from proofbath.run.plan import NightPlan
from proofbath.store.kinds import Findings, Unit
from proofbath.workshop.intake import add_unit, set_reference, take_in
from proofbath.workshop.planning import Retest, loading_faults, plan_night, plan_text

BUBBLES = Retest("bubbles", "steps of 0.2 mm at 78 °C, both cycles")


@pytest.fixture
def ferry(tmp_path: Path) -> Iterator[FerryShop]:
    with ferry_shop(tmp_path) as made:
        yield made


def test_the_due_units_of_a_batch_hang_beside_the_reference_unit(ferry: FerryShop) -> None:
    serials = [f"A{n}" for n in range(1, 8)]
    ferry.batch(serials)
    plan = plan_night(ferry.shop, BATCH, "as-found", QUAY)
    assert [(p.station, p.serial, p.role) for p in plan.station] == [
        *((n, f"A{n}", "unit") for n in range(1, 6)),
        (6, REFERENCE, "reference"),
    ]
    assert (plan.profile, plan.stage, plan.unit_type.name) == (
        "plain-as-found",
        "as-found",
        "Teal-82",
    )
    ferry.night("as-found", dict.fromkeys(serials[:5], 85.0))
    plan = plan_night(ferry.shop, BATCH, "as-found", QUAY)
    assert [p.serial for p in plan.station] == ["A6", "A7", REFERENCE]


def test_stations_may_be_told(ferry: FerryShop) -> None:
    ferry.batch(["A1", "A2"])
    plan = plan_night(
        ferry.shop, BATCH, "as-found", QUAY, serials=["A2", "A1"], stations={"A1": 6, REFERENCE: 1}
    )
    assert [(p.station, p.serial) for p in plan.station] == [(2, "A2"), (6, "A1"), (1, REFERENCE)]


def test_as_left_waits_for_as_found_and_rework(ferry: FerryShop) -> None:
    ferry.batch(["A1", "A2"])
    for serials, words in ((["A1"], "was not measured as found"), (None, "no unit is due as-left")):
        with pytest.raises(InputError, match=words):
            plan_night(ferry.shop, BATCH, "as-left", QUAY, serials=serials)
    ferry.night("as-found", {"A1": 85.0, "A2": 82.0})
    with pytest.raises(InputError, match="A1: was not reworked since it was measured as found"):
        plan_night(ferry.shop, BATCH, "as-left", QUAY, serials=["A1"])
    ferry.rework("A1")
    plan = plan_night(ferry.shop, BATCH, "as-left", QUAY)
    assert [p.serial for p in plan.station] == ["A1", REFERENCE]
    with pytest.raises(InputError, match="A1: was reworked already; it can only be measured as le"):
        plan_night(ferry.shop, BATCH, "as-found", QUAY, serials=["A1"])


def test_one_retest_for_a_recorded_cause_and_no_testing_until_pass(ferry: FerryShop) -> None:
    ferry.batch(["A1"])
    ferry.night("as-found", {"A1": 85.0})
    with pytest.raises(InputError, match="a retest needs a recorded cause"):
        ferry.night("as-found", {"A1": 82.0})
    with pytest.raises(InputError, match="A1 at station 1: cause_record"):
        ferry.night("as-found", {"A1": 82.0}, retests={"A1": BUBBLES._replace(record=" ")})
    ferry.night("as-found", {"A1": 82.0}, retests={"A1": BUBBLES})
    with pytest.raises(InputError, match="already retested once"):
        ferry.night("as-found", {"A1": 82.0}, retests={"A1": BUBBLES})


def test_a_run_that_tripped_before_any_value_is_no_attempt(ferry: FerryShop) -> None:
    ferry.batch(["A1"])
    ferry.night("as-found", {"A1": None}, status="tripped")
    ferry.night("as-found", {"A1": 82.0}, status="tripped")
    with pytest.raises(InputError, match="a retest needs a recorded cause"):
        ferry.night("as-found", {"A1": 82.0})


def test_a_retest_of_what_does_not_hang_is_refused(ferry: FerryShop) -> None:
    ferry.batch(["A1", "A2"])
    with pytest.raises(InputError, match="retest of A2: is not loaded"):
        plan_night(ferry.shop, BATCH, "as-found", QUAY, serials=["A1"], retests={"A2": BUBBLES})


def test_a_retest_and_its_cause_go_with_the_plan(ferry: FerryShop) -> None:
    ferry.batch(["A1", "A2"])
    ferry.night("as-found", {"A1": 85.0})
    plan = plan_night(ferry.shop, BATCH, "as-found", QUAY, retests={"A1": BUBBLES})
    assert [p.serial for p in plan.station] == ["A1", "A2", REFERENCE]
    again = parse_toml(plan_text(plan), NightPlan, "plan")
    assert again == plan
    assert (again.station[0].retest_cause, again.station[0].cause_record) == BUBBLES
    assert loading_faults(ferry.shop.records, again) == []
    again.station[0] = again.station[1].model_copy(update={"serial": "A1", "station": 1})
    (fault,) = loading_faults(ferry.shop.records, again)
    assert "a retest needs a recorded cause" in fault


def test_a_plan_whose_figures_were_changed_by_hand_is_refused(ferry: FerryShop) -> None:
    """The cap and the currents that a run may not pass are those on record."""
    ferry.batch(["A1"])
    plan = plan_night(ferry.shop, BATCH, "as-found", QUAY)
    raised = plan.model_copy(
        update={"unit_type": plan.unit_type.model_copy(update={"cap_c": 109.0})}
    )
    faults = loading_faults(ferry.shop.records, raised)
    assert [fault.partition(";")[0] for fault in faults] == [
        f"station {n}: the plan says cap_c 109.0 of Teal-82, the record does not" for n in (1, 6)
    ]
    elsewhere = plan.model_copy(update={"batch": "ferry 99"})
    assert loading_faults(ferry.shop.records, elsewhere) == [
        "batch ferry 99: is not on record; plan the night of one that is"
    ]


def test_a_reference_unit_makes_room_for_a_unit_at_the_last_station(ferry: FerryShop) -> None:
    ferry.batch(["A1"])
    plan = plan_night(ferry.shop, BATCH, "as-found", QUAY, stations={"A1": 6})
    assert [(p.station, p.serial) for p in plan.station] == [(6, "A1"), (5, REFERENCE)]


def test_a_refused_unit_and_one_of_another_batch_stay_out(ferry: FerryShop) -> None:
    ferry.batch(["A1"])
    ferry.batch(["B1"], "ferry 13")
    add_unit(ferry.shop, Unit(serial="A2", unit_type="Teal-82"), ferry.stamp)
    take_in(
        ferry.shop,
        BATCH,
        "A2",
        cause="rework",
        findings=GOOD,
        accepted=False,
        remark="frame cracked",
        stamp=ferry.stamp,
    )
    with pytest.raises(InputError) as caught:
        plan_night(ferry.shop, BATCH, "as-found", QUAY, serials=["A2", "B1", "Z9"])
    assert caught.value.faults == (
        "A2: was refused at intake (frame cracked); leave it out",
        "B1: was not taken into ferry 12; take it in first",
        "station 3: Z9 is not on record; add the unit",
    )


def test_more_than_a_night_takes_is_refused(ferry: FerryShop) -> None:
    serials = [f"A{n}" for n in range(1, 7)]
    ferry.batch(serials)
    with pytest.raises(InputError, match="batch ferry 12: 6 units, a night takes 1 to 5"):
        plan_night(ferry.shop, BATCH, "as-found", QUAY, serials=serials)


def test_a_night_needs_a_unit_on_record_as_reference(ferry: FerryShop) -> None:
    ferry.batch(["A1", "A2"])
    with pytest.raises(InputError, match="A2: is no reference unit"):
        plan_night(ferry.shop, BATCH, "as-found", QUAY, "A2", ["A1"])
    set_reference(ferry.shop, REFERENCE, ferry.day, "dropped", ferry.stamp, in_use=False)
    with pytest.raises(InputError, match="no reference unit is on record"):
        plan_night(ferry.shop, BATCH, "as-found", QUAY)
    assert plan_night(ferry.shop, BATCH, "trial", QUAY).station[-1].role == "unit"


def test_a_reference_that_does_not_open_below_the_baths_limit_is_refused(ferry: FerryShop) -> None:
    """The quay stands at 500 m: its glycol boils at about 102 °C, Heron-103 opens at 103 °C."""
    ferry.batch(["A1"])
    add_unit(ferry.shop, Unit(serial="H-REF", unit_type="Heron-103"), ferry.stamp)
    set_reference(ferry.shop, "H-REF", ferry.day, "", ferry.stamp)
    with pytest.raises(
        InputError, match=r"reference type Heron-103: opens at 103\.0 °C, the bath's"
    ):
        plan_night(ferry.shop, BATCH, "as-found", QUAY, "H-REF")


def test_heated_units_hang_beside_a_plain_reference_with_their_own_resistance(
    ferry: FerryShop,
) -> None:
    ferry.batch([], "assisted", "Heron-103")
    add_unit(ferry.shop, Unit(serial="H1", unit_type="Heron-103"), ferry.stamp)
    looked = Findings(heater_ohm=8.8)
    take_in(
        ferry.shop,
        "assisted",
        "H1",
        cause="rework",
        findings=looked,
        accepted=True,
        remark="",
        stamp=ferry.stamp,
    )
    plan = plan_night(ferry.shop, "assisted", "as-found", QUAY)
    assert plan.profile == "heater-assisted-as-found"
    assert plan.station[0].intake_ohm == 8.8
    assert plan.reference_type is not None
    assert plan.reference_type.name == "Teal-82"


def test_a_plan_beyond_the_bench_is_refused(ferry: FerryShop) -> None:
    ferry.batch(["A1"])
    with pytest.raises(InputError, match="leave conditioning out"):
        plan_night(ferry.shop, BATCH, "as-found", QUAY, profile="plain-as-left")

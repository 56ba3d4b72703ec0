"""Rework advice over the records: from the latest result, limits, and all rounds of the type."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from host.workshop.measured_shop import (
    NIGHT_K,
    REPEAT_K,
    U_K,
    MeasuredShop,
    Measurement,
    measured_shop,
)
from proofbath.errors import InputError
from proofbath.proof.knowledge import Knowledge, Round
from proofbath.proof.rework import Action
from proofbath.proof.rework_kind import Refillable, Sealed, Setting
from proofbath.store.kinds import Loading, TypeVersion
from proofbath.workshop.advice import UnitAdvice, advice_for, rounds_of, type_knowledge
from proofbath.workshop.measured_values import STARTS, limit_of
from proofbath.workshop.snapshot import Snapshot
from proofbath.workshop.story import batch_story


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MeasuredShop]:
    with measured_shop(tmp_path) as made:
        yield made


def found(shop: MeasuredShop, **starts: float | None) -> None:
    """Take units into batch A and measure them as found."""
    shop.units([*starts])
    shop.batch("A", [*starts])
    shop.night("A", "as-found", {serial: Measurement(c) for serial, c in starts.items()})


def history(shop: MeasuredShop, units: int, k_per_mg: float = -0.23) -> None:
    """Rework units of an earlier batch by 4 mg each, six a night, and measure them as left."""
    rng = np.random.default_rng(4)
    serials = [f"old-{n}" for n in range(units)]
    shop.units(serials)
    shop.batch("old", serials)
    for at in range(0, units, 6):
        night = serials[at : at + 6]
        shop.night("old", "as-found", {s: Measurement(83.5, 8.5) for s in night})
        for serial in night:
            shop.rework("old", serial, 4.0)
        after = {s: 83.5 + k_per_mg * (4 + rng.normal()) for s in night}
        shop.night("old", "as-left", {s: Measurement(c, 8.9) for s, c in after.items()})


def of(advised: list[UnitAdvice], serial: str) -> UnitAdvice:
    return next(one for one in advised if one.serial == serial)


def knowledge(shop: MeasuredShop) -> Knowledge:
    kept = Snapshot(shop.records)
    version = kept.current(TypeVersion, name="Teal-82")[-1].entry
    limit = limit_of(version.specification, STARTS)
    assert limit is not None
    return type_knowledge(kept, version, Refillable(), limit, 82.0)


def test_units_inside_are_left_and_others_changed(shop: MeasuredShop) -> None:
    found(shop, U1=82.5, U2=84.5, U3=80.0)
    advised = advice_for(shop.records, "A")
    left, warm, cold = (of(advised, s).advice for s in ("U1", "U2", "U3"))
    assert left is not None
    assert left.action is Action.LEAVE
    assert warm is not None
    assert warm.change > 0
    assert cold is not None
    assert cold.change < 0
    assert warm.start_c is not None
    assert warm.start_c.low < 83.0 < warm.start_c.high
    assert warm.lift_mm is not None
    assert warm.lift_mm.mean > 9.5


def test_the_limits_are_the_specifications_less_the_guard_band(shop: MeasuredShop) -> None:
    """82 ± 2 °C and U by hand from the budget: w = U (ILAC-G8 guard band)."""
    found(shop, U1=84.0)
    one = of(advice_for(shop.records, "A"), "U1")
    u = 0.98 * U_K  # k 1.96
    assert one.acceptance_c == (pytest.approx(80 + u, abs=1e-3), pytest.approx(84 - u, abs=1e-3))
    assert one.advice is not None
    assert one.advice.action is not Action.LEAVE


def test_one_unit_is_advised_by_its_serial(shop: MeasuredShop) -> None:
    found(shop, U1=84.5, U2=82.0)
    assert [one.serial for one in advice_for(shop.records, "U1")] == ["U1"]
    with pytest.raises(InputError, match="neither a batch nor a unit"):
        advice_for(shop.records, "U9")


def test_what_is_not_measured_since_is_told_to_be_measured(shop: MeasuredShop) -> None:
    found(shop, U1=84.5, U2=None)
    shop.units(["U3"])
    shop.rework("A", "U1", 8.0)
    advised = advice_for(shop.records, "A")
    assert "measure it first" in str(of(advised, "U1").refusal)
    assert of(advised, "U2").refusal == "no start-to-open to go by: never opened"
    loading = shop.records.current(Loading)[0].entry.model_copy(update={"stage": "as-left"})
    shop.pass_days()
    shop.records.add(loading, shop.now)  # hung up again, and not run yet
    assert "measure it first" in str(of(advice_for(shop.records, "A"), "U1").refusal)
    shop.batch("B", ["U3"])
    assert "measure it as found first" in str(advice_for(shop.records, "B")[0].refusal)


def test_what_both_runs_share_does_not_count(shop: MeasuredShop) -> None:
    """Probe and lag cancel between runs on one bench: night and repeatability are left, twice."""
    found(shop, U1=84.5)
    shop.rework("A", "U1", 8.0)
    shop.night("A", "as-left", {"U1": Measurement(82.6)})
    limit = limit_of(shop.records.current(TypeVersion)[-1].entry.specification, STARTS)
    assert limit is not None
    (story,) = batch_story(shop.records, "A")
    (one,) = rounds_of(story, Refillable(), limit)
    assert (one.start_before_c, one.change, one.start_after_c) == (84.5, 8.0, 82.6)
    assert one.u_shift_k == pytest.approx(math.sqrt(2 * (NIGHT_K**2 + REPEAT_K**2)))


def test_all_rounds_of_the_type_teach(shop: MeasuredShop) -> None:
    """The same rounds given to the regression by hand."""
    history(shop, 12)
    learnt = knowledge(shop)
    by_hand = Knowledge("mg", 82.0, 1.0)
    u = math.sqrt(2 * (NIGHT_K**2 + REPEAT_K**2))
    for story in batch_story(shop.records, "old"):
        step = story.counting("as-left")
        assert step is not None
        assert step.result is not None
        after = step.result.entry.content["start_to_open_c"]["value"]
        by_hand.add([Round(story.unit.entry.serial, 83.5, 4.0, after, u, 8.5, 8.9)])
    assert len(learnt.serials) == 12
    assert learnt.slope() == pytest.approx(by_hand.slope())
    assert learnt.lift_effect() == pytest.approx(by_hand.lift_effect())


def test_rounds_with_other_work_in_between_teach_nothing(shop: MeasuredShop) -> None:
    found(shop, U1=84.5, U2=84.5, U3=84.5)
    shop.rework("A", "U1", 8.0)
    shop.rework("A", "U1", None, "part")
    shop.rework("A", "U2", None, "cleaning")
    shop.rework("A", "U3", 4.0)
    shop.rework("A", "U3", 4.0)
    shop.night("A", "as-left", {s: Measurement(82.6) for s in ("U1", "U2", "U3")})
    assert knowledge(shop).serials == {"U3"}
    advised = advice_for(shop.records, "A")
    assert [one.rounds_done for one in advised] == [1, 0, 1]


def test_until_ten_units_are_known_no_step_is_above_ten_mg(shop: MeasuredShop) -> None:
    history(shop, 9)
    shop.units(["U1"])
    shop.batch("A", ["U1"])
    shop.night("A", "as-found", {"U1": Measurement(72.0, 11.5)})
    few = of(advice_for(shop.records, "A"), "U1").advice
    assert few is not None
    assert few.change == -10.0
    assert few.action is Action.CHANGE_AND_MEASURE
    assert len(few.planned) > 1
    shop.units(["tenth"])
    shop.batch("ten", ["tenth"])
    shop.night("ten", "as-found", {"tenth": Measurement(83.5)})
    shop.rework("ten", "tenth", 4.0)
    shop.night("ten", "as-left", {"tenth": Measurement(82.6)})
    more = of(advice_for(shop.records, "A"), "U1").advice
    assert more is not None
    assert more.change < -10.0


def test_most_rounds_are_counted_over_the_batch(shop: MeasuredShop) -> None:
    found(shop, U1=85.5)
    for after in (85.0, 84.7, 84.5):
        shop.rework("A", "U1", 2.0)
        shop.night("A", "as-left", {"U1": Measurement(after)})
    one = of(advice_for(shop.records, "A"), "U1")
    assert one.rounds_done == 3
    assert one.advice is not None
    assert one.advice.action is Action.GIVE_UP
    assert "3 rounds done" in one.advice.reason


@pytest.mark.parametrize(("kind", "says"), [(Sealed(), "measure only"), (None, "does not say")])
def test_types_that_cannot_be_reworked_are_refused(
    tmp_path: Path, kind: Sealed | None, says: str
) -> None:
    with measured_shop(tmp_path) as shop:
        version = shop.records.current(TypeVersion)[-1]
        changed = version.entry.model_copy(update={"rework_kind": kind})
        shop.records.correct(version.root, changed, "typed wrongly", shop.now)
        found(shop, U1=84.5)
        with pytest.raises(InputError, match=says) as refused:
            advice_for(shop.records, "A")
        assert len(refused.value.faults) == 1


def test_a_setting_is_counted_in_mm(tmp_path: Path) -> None:
    with measured_shop(tmp_path, Setting()) as shop:
        found(shop, U1=84.0)
        shop.rework("A", "U1", 0.2, "setting")
        shop.night("A", "as-left", {"U1": Measurement(83.9)})
        one = of(advice_for(shop.records, "A"), "U1")
        assert (one.unit, one.rounds_done) == ("mm", 1)
        assert one.advice is not None
        assert 0 < one.advice.change <= 1.0


def test_limits_without_room_are_said_of_the_unit(tmp_path: Path) -> None:
    """82 ± 0.1 K cannot be aimed at with U 0.22 K."""
    with measured_shop(tmp_path) as shop:
        version = shop.records.current(TypeVersion)[-1]
        spec = version.entry.specification
        narrow = spec.limit[0].model_copy(update={"tolerance": 0.1})
        spec = spec.model_copy(update={"limit": (narrow, *spec.limit[1:]), "version": 2})
        shop.records.add(TypeVersion.of(version.entry.unit_type, spec, Refillable()), shop.now)
        found(shop, U1=84.0)
        assert "leave no room" in str(of(advice_for(shop.records, "A"), "U1").refusal)


def test_advice_is_plain_json(shop: MeasuredShop) -> None:
    found(shop, U1=84.5, U2=None)
    shown = [one.to_json() for one in advice_for(shop.records, "A")]
    again = json.loads(json.dumps(shown, allow_nan=False))
    assert again[0]["advice"]["start_c"]["low"] < again[0]["measured"]["start_to_open_c"]
    assert again[1]["advice"] is None

"""Rework advice over the records: from curves, orders and all rounds of a type to what to do.

What is true is the closed form of the element that hung (virtual/truth.py), not what was fitted.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from host.proof.elements import MODEL
from host.workshop.element_shop import (
    FILL_MG,
    TYPE,
    WARM,
    at_c,
    changed,
    measure_donors,
    measured,
    order,
    put_warm_type,
    take_in,
)
from host.workshop.measured_shop import U_K, MeasuredShop, Measurement, content, measured_shop
from proofbath.errors import InputError
from proofbath.proof.effort import Effort
from proofbath.proof.rework_act import CLEAN_WAX, ReworkAct
from proofbath.proof.rework_kind import Refillable, Sealed, Setting, ShimRange
from proofbath.proof.trim_advice import Cause, TrimAction
from proofbath.scenario.ferry import TEAL_82_TYPE
from proofbath.store.kinds import HandMeasurement, Loading, TypeVersion, Unit
from proofbath.workshop.advice import UnitAdvice, advice_for, leads_on, rework_act_of
from proofbath.workshop.story import story_in
from proofbath.workshop.trim_shop import forecast_of

NOW_C = at_c(WARM)
"""2 mm of a Harbour as made: 101.1 °C."""


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MeasuredShop]:
    with measured_shop(tmp_path) as made:
        put_warm_type(made)
        measure_donors(made)
        yield made


def of(shop: MeasuredShop, serial: str, effort: Effort | None = None) -> UnitAdvice:
    (one,) = advice_for(shop.records, serial, effort)
    return one


def ordered(shop: MeasuredShop, by_k: float, **other: Any) -> None:
    """Take W1 in as made and order its 2 mm so many kelvins warmer, negative for colder."""
    take_in(shop, "A", W1=measured(WARM))
    order(shop, "A", NOW_C + by_k, **other)


def test_ten_kelvins_are_made_by_exchange_in_one_round(shop: MeasuredShop) -> None:
    """10 K by exchange moves 2 mm by 10 ± 2 K, as much as the start: the closed form."""
    ordered(shop, -10.0)
    one = of(shop, "W1")
    assert one.to_do is not None
    assert one.to_do.donor_type == "Teal-82"
    after = changed(WARM, one.to_do)
    assert at_c(after) - NOW_C == pytest.approx(-10.0, abs=2.0)
    assert at_c(after, 0.1) - at_c(WARM, 0.1) == pytest.approx(-10.0, abs=2.0)
    shop.rework("A", "W1", act=one.to_do)
    shop.night("A", "as-left", {"W1": measured(after)})
    then = of(shop, "W1")
    assert then.advice is not None
    assert then.advice.action is TrimAction.LEAVE
    assert then.rounds_done == 1


def test_wax_added_for_the_same_start_moves_two_mm_by_less_than_half(shop: MeasuredShop) -> None:
    """Without a donor the start falls by 10 K, and 2 mm by under 5 K: the closed form."""
    take_in(shop, "A", W1=measured(WARM))
    start_c = at_c(WARM, 0.1)
    order(shop, "A", start_c - 10.0, lift_mm=0.1, tolerance_k=4.0)
    put_warm_type_without_donors(shop)
    one = of(shop, "W1")
    assert one.advice is not None
    more = sum(act.mass_in_mg for act in one.advice.rounds)
    after = WARM.model_copy(update={"wax_mg": WARM.wax_mg + more})
    assert at_c(after, 0.1) - start_c == pytest.approx(-10.0, abs=2.5)
    assert -5.0 < at_c(after) - NOW_C < -1.5


def put_warm_type_without_donors(shop: MeasuredShop) -> None:
    kept = shop.records.current(TypeVersion, name=TYPE)[-1]
    kind = Refillable(pin_mm=4.3, wax_mg=FILL_MG)
    entry = kept.entry.model_copy(update={"rework_kind": kind})
    shop.records.correct(kept.root, entry, "no donor at hand", shop.now)


def test_small_changes_are_made_by_wax_up_and_down(shop: MeasuredShop) -> None:
    """Where it comes to is the closed form's own answer, within what was foretold."""
    put_warm_type_without_donors(shop)
    take_in(shop, "A", W1=measured(WARM), W2=measured(WARM), W3=measured(WARM))
    for serial, by_k in (("W1", -2.5), ("W2", 2.5), ("W3", 0.5)):
        order(shop, "A", NOW_C + by_k, serial)
        one = of(shop, serial)
        assert one.advice is not None
        assert leads_on(one) == (abs(by_k) > 1)
        if one.to_do is None:
            continue
        assert (one.to_do.mass_in_mg > 0) == (by_k < 0)
        assert (one.to_do.mass_out_mg > 0) == (by_k > 0)
        assert one.advice.forecast is not None
        told = one.advice.forecast.at_target_c
        assert told.low < at_c(changed(WARM, one.to_do)) < told.high


def test_the_limits_are_the_orders_less_the_guard_band(shop: MeasuredShop) -> None:
    """± 2 K and U by hand from the budget: w = U (ILAC-G8 guard band)."""
    ordered(shop, -10.0)
    target = of(shop, "W1").target
    assert target is not None
    assert target.lift_mm == 2.0
    assert target.wanted_c == pytest.approx(NOW_C - 10.0)
    guard = 2.0 - 0.98 * U_K  # k 1.96
    assert target.lower_c == pytest.approx(NOW_C - 10.0 - guard, abs=1e-3)
    assert target.upper_c == pytest.approx(NOW_C - 10.0 + guard, abs=1e-3)


def test_without_an_order_the_types_start_is_aimed_at(shop: MeasuredShop) -> None:
    take_in(shop, "A", W1=measured(WARM))
    target = of(shop, "W1").target
    assert target is not None
    assert (target.wanted_c, target.lift_mm) == (98.0, 0.1)


def test_one_unit_is_advised_by_its_serial(shop: MeasuredShop) -> None:
    take_in(shop, "A", W1=measured(WARM), W2=measured(WARM))
    assert [one.serial for one in advice_for(shop.records, "W1")] == ["W1"]
    assert [one.serial for one in advice_for(shop.records, "A")] == ["W1", "W2"]
    with pytest.raises(InputError, match="neither a batch nor a unit"):
        advice_for(shop.records, "U9")
    shop.units(["U8"])
    with pytest.raises(InputError, match="nothing taken in"):
        advice_for(shop.records, "U8")


def test_what_is_not_measured_since_is_told_to_be_measured(shop: MeasuredShop) -> None:
    take_in(shop, "A", W1=measured(WARM), W2=Measurement(None))
    shop.rework("A", "W1", 8.0)
    assert "measure it first" in str(of(shop, "W1").refusal)
    assert of(shop, "W2").refusal == "no start-to-open to go by: never opened"
    assert of(shop, "W2").next_act == of(shop, "W2").refusal
    loading = shop.records.current(Loading)[-1].entry.model_copy(update={"stage": "as-left"})
    shop.pass_days()
    shop.records.add(loading, shop.now)  # hung up again, and not run yet
    assert "measure it first" in str(of(shop, "W1").refusal)
    shop.units(["W3"], unit_type=TYPE)
    shop.batch("B", ["W3"], TYPE)
    assert "measure it as found first" in str(of(shop, "W3").refusal)


def test_an_over_filled_unit_is_said_to_be_open_not_to_stick(shop: MeasuredShop) -> None:
    words = "it is open already at the first bath of 86.0 °C, by 2.10 mm: over-filled"
    stuck = Measurement(None, warnings=(("open_at_first_bath", words),))
    take_in(shop, "A", W1=measured(WARM))
    shop.rework("A", "W1", 60.0)
    shop.night("A", "as-left", {"W1": stuck})
    assert words in str(of(shop, "W1").refusal)


def test_the_words_are_those_of_a_workshop(shop: MeasuredShop) -> None:
    ordered(shop, -10.0)
    one = of(shop, "W1")
    assert one.to_do is not None
    out, given = one.to_do.mass_out_mg, one.to_do.mass_in_mg
    assert one.next_act.startswith(
        f"open it, {out:g} mg out, about {given:g} mg of wax of Teal-82 in, fill until the cold pin"
    )
    assert f"measure again; expected 2 mm at {NOW_C - 10:.1f} °C, 95 % " in one.next_act
    text = "\n".join(one.lines)
    for words in ("then 0.1 mm at", "4 mm at", "8 mm at", "closes at", "hysteresis 3.0", "shut by"):
        assert words in text, words
    assert "no bubbles rise" in text
    assert "common practice, no source" in text


def test_heights_on_record_turn_into_figures_to_read(shop: MeasuredShop) -> None:
    """A pin that stood 11.00 mm and an act of 0.20 mm more give 11.20 mm; closing likewise."""
    ordered(shop, -2.5)
    put_warm_type_without_donors(shop)
    read = ReworkAct(
        mass_in_mg=2.0,
        pin_before_mm=10.8,
        pin_after_mm=11.0,
        closing_before_mm=31.4,
        closing_after_mm=31.3,
        openings_left=5,
    )
    shop.rework("A", "W1", act=read)
    shop.night("A", "as-left", {"W1": measured(WARM)})
    one = of(shop, "W1")
    assert one.advice is not None
    assert one.to_do is not None
    assert one.to_do.closing_after_mm == 31.3
    assert "close to 31.30 mm" in one.next_act
    assert one.to_do.openings_left == 4
    assert one.advice.act is not None
    by_pin = one.advice.act._replace(pin_stick_out_mm=0.2)
    told = rework_act_of(by_pin, type_name=TYPE, pin_before_mm=11.0)
    assert told is not None
    assert told.pin_after_mm == pytest.approx(11.2)
    assert told.source == CLEAN_WAX


@pytest.mark.parametrize("left", [0, 1])
def test_no_advice_goes_beyond_the_last_opening(shop: MeasuredShop, left: int) -> None:
    ordered(shop, -10.0)
    shop.rework("A", "W1", act=ReworkAct(mass_in_mg=1.0, openings_left=left))
    shop.night("A", "as-left", {"W1": measured(WARM)})
    one = of(shop, "W1")
    assert one.advice is not None
    assert (one.advice.cause is Cause.NO_OPENING_LEFT) == (left == 0)
    assert len(one.advice.rounds) == left
    if not left:
        assert "no opening is left" in one.next_act
        assert one.next_act.startswith("give up")


def test_openings_are_counted_where_nobody_said_what_is_left(shop: MeasuredShop) -> None:
    ordered(shop, -6.0)
    for _ in range(3):
        shop.rework("A", "W1", 1.0)
        shop.night("A", "as-left", {"W1": measured(WARM)})
    one = of(shop, "W1")
    assert one.rounds_done == 3
    assert one.advice is not None
    assert one.advice.cause is Cause.NO_OPENING_LEFT


def test_a_donor_that_nobody_measured_is_not_offered_but_named(tmp_path: Path) -> None:
    with measured_shop(tmp_path) as made:
        put_warm_type(made)
        ordered(made, -6.0)
        one = of(made, "W1")
        assert one.to_do is None or one.to_do.donor_type is None
        assert any("no unit of Teal-82 was measured as made" in line for line in one.lines)


def test_where_no_means_reaches_the_wax_is_named_with_how_far_it_stays_off(
    tmp_path: Path,
) -> None:
    """8 K warmer than anything but less wax could make it, and wax is not taken out of this type:
    8 K less the half width that is left of the tolerance stay."""
    with measured_shop(tmp_path) as made:
        put_warm_type(made, removes=False)
        measure_donors(made)
        ordered(made, 8.0)
        one = of(made, "W1")
        assert one.advice is not None
        assert one.advice.cause is Cause.WRONG_WAX
        assert one.advice.figure == pytest.approx(8.0, abs=2.0)
        assert f"nearer than {one.advice.figure:.1f} K" in one.next_act


def test_a_unit_that_its_stop_holds_is_not_offered_wax(shop: MeasuredShop) -> None:
    """A stop at 5 mm, the bath 5 K beyond where 8 mm were free: the rise says so itself."""
    take_in(shop, "A", W1=stopped(5.0))
    kept = shop.records.current(TypeVersion, name=TYPE)[-1]
    lift = TEAL_82_TYPE.specification.of("full_lift_mm")[0].model_copy(update={"lower": 8.0})
    spec = kept.entry.specification
    spec = spec.model_copy(update={"limit": (*spec.limit, lift)})
    shop.records.correct(
        kept.root, kept.entry.model_copy(update={"specification": spec}), "lift", shop.now
    )
    one = of(shop, "W1")
    assert one.advice is not None
    assert (one.advice.cause, one.advice.figure) == (Cause.MECHANICAL_STOP, 5.0)
    assert "a stop holds it at 5.0 mm" in one.next_act


def stopped(stop_mm: float) -> Measurement:
    free = measured(WARM, tuple(mm / 2 for mm in range(1, int(2 * stop_mm))))
    return free._replace(lift_mm=stop_mm, bath_c=at_c(WARM, 8.0) + 5.0)


@pytest.mark.parametrize(
    "levels", [(), (2.0, 4.0)], ids=["start and full lift of an old result", "few levels"]
)
def test_results_that_tell_little_get_advice_with_more_doubt(
    shop: MeasuredShop, levels: tuple[float, ...]
) -> None:
    take_in(shop, "A", W1=measured(WARM, levels), W2=measured(WARM))
    order(shop, "A", NOW_C - 8.0, tolerance_k=4.0)
    little, much = of(shop, "W1"), of(shop, "W2")
    widths = []
    for one in (little, much):
        assert one.advice is not None
        assert one.advice.forecast is not None
        told = one.advice.forecast.temperature_c[0][1]
        assert told is not None
        widths.append(told.high - told.low)
    assert widths[0] > widths[1]
    assert little.now is not None
    assert little.now.low < NOW_C < little.now.high


def test_a_unit_measured_only_by_hand_gets_advice(shop: MeasuredShop) -> None:
    """The last hand result counts where the rig never measured it."""
    shop.units(["W1"], unit_type=TYPE)
    shop.batch("A", ["W1"], TYPE)
    order(shop, "A", NOW_C - 8.0, tolerance_k=4.0)
    put_by_hand(shop, "W1", measured(WARM, (2.0, 4.0)))
    one = of(shop, "W1")
    assert leads_on(one), one
    assert one.now is not None
    assert one.now.mean == pytest.approx(NOW_C, abs=0.5)


def put_by_hand(shop: MeasuredShop, serial: str, found: Measurement) -> None:
    told = content(found)
    wanted = ("start_to_open_c", "opening_at_lift_c", "threshold_mm")
    entry = HandMeasurement(
        unit_id=shop.records.find(Unit, serial=serial).root,
        stage="as-found",
        date=shop.day,
        content={name: told[name] for name in wanted},
    )
    shop.records.add(entry, shop.now)


def test_effort_of_the_shop_decides_and_reaches_an_open_batch(shop: MeasuredShop) -> None:
    ordered(shop, -2.5)
    dear = Effort(opening_min=400.0, measuring_min=200.0)
    assert leads_on(of(shop, "W1"))
    one = of(shop, "W1", dear)
    assert one.advice is not None
    assert one.advice.cause is Cause.PRICE
    assert "a unit that is not delivered counts 480 ([effort]" in one.next_act
    assert leads_on(of(shop, "W1"))


@pytest.mark.parametrize(("kind", "says"), [(Sealed(), "measure only"), (None, "does not say")])
def test_types_that_cannot_be_reworked_are_refused(
    shop: MeasuredShop, kind: Sealed | None, says: str
) -> None:
    version = shop.records.current(TypeVersion, name=TYPE)[-1]
    changed_kind = version.entry.model_copy(update={"rework_kind": kind})
    shop.records.correct(version.root, changed_kind, "typed wrongly", shop.now)
    take_in(shop, "A", W1=measured(WARM))
    with pytest.raises(InputError, match=says) as refused:
        advice_for(shop.records, "A")
    assert len(refused.value.faults) == 1


def test_a_setting_is_turned_and_not_opened(tmp_path: Path) -> None:
    """1 mm of setting lifts 1 mm: 2 mm is then where 1 mm was, by the closed form."""
    with measured_shop(tmp_path, Setting()) as made:
        made.units(["U1"])
        made.batch("A", ["U1"])
        made.night("A", "as-found", {"U1": measured(MODEL)})
        order(made, "A", at_c(MODEL, 1.0), tolerance_k=1.5)
        one = of(made, "U1")
        assert one.to_do is not None
        assert not one.to_do.opened
        assert f"set it +{one.to_do.shim_mm:g} mm" in one.next_act
        assert one.target is not None
        there = at_c(MODEL.model_copy(update={"setting_mm": one.to_do.shim_mm}))
        assert one.target.lower_c < there < one.target.upper_c
        made.rework("A", "U1", 1.0, "setting")
        turned = MODEL.model_copy(update={"setting_mm": 1.0})
        made.night("A", "as-left", {"U1": measured(turned)})
        then = of(made, "U1")
        assert then.advice is not None
        assert (then.advice.action, then.rounds_done) == (TrimAction.LEAVE, 1)


@pytest.mark.parametrize("sd_mm", [0.02, 0.3])
def test_how_well_a_setting_is_turned_widens_what_is_foretold(tmp_path: Path, sd_mm: float) -> None:
    """A setting missed by 0.3 mm is missed by 0.6 K where 1 mm of lift takes 2 K."""
    with measured_shop(tmp_path, Setting(setting_sd_mm=sd_mm)) as made:
        made.units(["U1"])
        made.batch("A", ["U1"])
        made.night("A", "as-found", {"U1": measured(MODEL)})
        order(made, "A", at_c(MODEL, 1.0), tolerance_k=4.0)
        made.rework("A", "U1", 0.8, "setting")
        forecast = forecast_of(made.records, story_in(made.records, "A", "U1"))
        assert forecast is not None
        half_k = (forecast.at_target_c.high - forecast.at_target_c.low) / 2
        assert (half_k > 0.9) == (sd_mm == 0.3)


def test_shims_of_an_element_that_opens_are_a_means_beside_its_wax(tmp_path: Path) -> None:
    with measured_shop(tmp_path, Refillable(pin_mm=4.3, wax_mg=FILL_MG, shim=ShimRange())) as made:
        made.units(["U1"])
        made.batch("A", ["U1"])
        made.night("A", "as-found", {"U1": measured(MODEL)})
        order(made, "A", at_c(MODEL, 1.2), tolerance_k=1.5)
        one = of(made, "U1")
        assert one.to_do is not None
        assert not one.to_do.opened
        assert "shims +0.8 mm" in one.next_act


def test_limits_without_room_are_said_of_the_unit(shop: MeasuredShop) -> None:
    """± 0.1 K cannot be aimed at with U 0.22 K."""
    ordered(shop, -5.0, tolerance_k=0.1)
    assert "guard band is too wide" in str(of(shop, "W1").refusal)


def test_a_unit_that_went_on_elsewhere_is_advised_there(shop: MeasuredShop) -> None:
    ordered(shop, -10.0)
    shop.batch("B", ["W1"], TYPE)
    assert "taken into B since" in str(advice_for(shop.records, "A")[0].refusal)


def test_advice_is_plain_json(shop: MeasuredShop) -> None:
    take_in(shop, "A", W1=measured(WARM), W2=Measurement(None))
    order(shop, "A", NOW_C - 10.0)
    shown = [one.to_json() for one in advice_for(shop.records, "A")]
    first, second = json.loads(json.dumps(shown, allow_nan=False))
    assert first["forecast"]["at_target_c"]["low"] < first["now_c"]["mean"]
    assert first["forecast"]["opening"][0]["lift_mm"] == 0.1
    assert first["action"].startswith("change")
    assert first["to_do"]["donor_type"] == "Teal-82"
    assert first["rounds_foreseen"][0]["donor"]["full_shift_k"] == pytest.approx(-16.0, abs=1.0)
    assert first["lines"][0] == first["next_act"]
    assert second["action"] is None
    assert second["next_act"] == second["refusal"]


def test_the_same_records_give_the_same_advice_and_new_ones_another(shop: MeasuredShop) -> None:
    ordered(shop, -10.0)
    assert of(shop, "W1") == of(shop, "W1")
    order(shop, "A", NOW_C)
    one = of(shop, "W1")
    assert one.advice is not None
    assert one.advice.action is TrimAction.LEAVE

"""One next act of a unit: the batch, the start page and the advice say the same; trim runs too."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from host.proof.elements import MODEL
from host.workshop.element_shop import (
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
from host.workshop.measured_shop import BENCH, MeasuredShop, Measurement, measured_shop
from proofbath.errors import InputError
from proofbath.proof.rework_act import ReworkAct
from proofbath.workshop.advice import advice_for
from proofbath.workshop.batch_view import batch_view
from proofbath.workshop.blocks import ONLY_TRIMMED
from proofbath.workshop.judging import judge_batch, judge_unit
from proofbath.workshop.next_step import NextStep
from proofbath.workshop.planning import plan_night

NOW_C = at_c(WARM)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MeasuredShop]:
    with measured_shop(tmp_path) as made:
        put_warm_type(made)
        measure_donors(made)
        yield made


def test_batch_and_advice_say_the_same_next_act(shop: MeasuredShop) -> None:
    take_in(shop, "A", W1=measured(WARM), W2=measured(WARM))
    order(shop, "A", NOW_C - 10.0)
    order(shop, "A", NOW_C, "W2")
    advised = {one.serial: one for one in advice_for(shop.records, "A", shop.shop.file.effort)}
    shown = {one.serial: one for one in batch_view(shop.shop, "A", shop.day).units}
    assert shown["W1"].next_code is NextStep.REWORK
    assert shown["W1"].next_step == f"rework: {advised['W1'].next_act}"
    assert "mg of wax of Teal-82 in" in shown["W1"].next_step
    assert shown["W2"].next_code is not NextStep.REWORK
    assert judge_unit(shop.shop, "A", "W1", shop.day).next_step.words == shown["W1"].next_step


def test_a_unit_given_up_is_to_be_failed_with_the_cause(shop: MeasuredShop) -> None:
    take_in(shop, "A", W1=measured(WARM))
    order(shop, "A", NOW_C - 10.0)
    shop.rework("A", "W1", act=ReworkAct(mass_in_mg=1.0, openings_left=0))
    shop.night("A", "as-left", {"W1": measured(WARM)})
    (one,) = judge_batch(shop.shop, "A", shop.day)
    assert one.next_step.step is NextStep.GIVE_UP
    assert one.next_step.words.startswith("give up, fail it and give it back: no opening is left")


def trimmed(unit: Measurement) -> Measurement:
    return unit._replace(profile="trim")


def test_a_trim_run_feeds_the_advice_until_the_night_is_worth_it(shop: MeasuredShop) -> None:
    """Outside by 5 K after the first round: rework again; there: measure as left overnight."""
    take_in(shop, "A", W1=measured(WARM))
    order(shop, "A", NOW_C - 10.0)
    half = ReworkAct(mass_out_mg=700.0, mass_in_mg=700.0, source="Teal-82", donor_type="Teal-82")
    shop.rework("A", "W1", act=half)
    (one,) = judge_batch(shop.shop, "A", shop.day)
    assert one.next_step.step is NextStep.MEASURE_AS_LEFT
    after = changed(WARM, half)
    shop.night("A", "trial", {"W1": trimmed(measured(after, top_mm=2.2))})
    (one,) = judge_batch(shop.shop, "A", shop.day)
    assert one.next_step.step is NextStep.REWORK
    assert "wax of Teal-82 in" in one.next_step.words
    (advised,) = advice_for(shop.records, "A")
    assert advised.to_do is not None
    there = changed(after, advised.to_do)
    shop.rework("A", "W1", act=advised.to_do)
    shop.night("A", "trial", {"W1": trimmed(measured(there, top_mm=2.2))})
    (one,) = judge_batch(shop.shop, "A", shop.day)
    assert one.next_step.step is NextStep.MEASURE_AS_LEFT
    assert one.verdict is None


def test_no_certificate_rests_on_a_trim_run(shop: MeasuredShop) -> None:
    take_in(shop, "A", W1=measured(WARM))
    order(shop, "A", NOW_C)
    shop.rework("A", "W1", None, "cleaning")
    shop.night("A", "as-left", {"W1": trimmed(measured(WARM))})
    (one,) = judge_batch(shop.shop, "A", shop.day)
    assert ONLY_TRIMMED in one.refusals
    shop.night("A", "as-left", {"W1": measured(WARM)})
    (one,) = judge_batch(shop.shop, "A", shop.day)
    assert ONLY_TRIMMED not in one.refusals


def test_a_trim_run_is_planned_as_a_trial_only(shop: MeasuredShop) -> None:
    shop.units(["U1"])
    shop.batch("plain", ["U1"])
    shop.night("plain", "as-found", {"U1": measured(MODEL)})
    with pytest.raises(InputError, match='plan it with stage "trial"'):
        plan_night(shop.shop, "plain", "as-found", BENCH, profile="trim", serials=["U1"])
    plan = plan_night(shop.shop, "plain", "trial", BENCH, profile="trim", serials=["U1"])
    assert (plan.profile, plan.stage) == ("trim", "trial")
    assert plan.unit_type.name != TYPE

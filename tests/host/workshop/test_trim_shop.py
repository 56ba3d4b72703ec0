"""What records tell of trimming: rounds of all kinds, forecasts, surprises, a unit's fill.

What is true is the closed form of the element that hung (virtual/truth.py), not what was fitted.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from host.proof.elements import MODEL
from host.workshop.element_shop import (
    FILL_MG,
    FILLER,
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
from host.workshop.measured_shop import (
    LAG_K,
    NIGHT_K,
    PROBE_K,
    REPEAT_K,
    MeasuredShop,
    Measurement,
    measured_shop,
)
from proofbath.curve.content import ResultContent
from proofbath.curve.result import Contribution, CurveResult, Quantity, known
from proofbath.proof.rework_act import ReworkAct
from proofbath.proof.trim_act import CLEAN, OWN
from proofbath.scenario.ferry import HERON_103
from proofbath.store.kinds import Rework, TypeVersion
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.truth import volume_lift_mm
from proofbath.workshop.measured_curve import UNPOWERED, opening_of
from proofbath.workshop.snapshot import Snapshot
from proofbath.workshop.story import UnitStory, story_in
from proofbath.workshop.trim_history import body_of
from proofbath.workshop.trim_shop import (
    act_of,
    forecast_of,
    knowledge_of,
    surprise_of,
    trim_unit,
)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[MeasuredShop]:
    with measured_shop(tmp_path) as made:
        put_warm_type(made)
        yield made


def story(shop: MeasuredShop, serial: str, batch: str = "A") -> UnitStory:
    return story_in(shop.records, batch, serial)


def dosed(unit: VirtualUnit, mg: float, closing_mm: float = 0.0) -> VirtualUnit:
    more = {"wax_mg": unit.wax_mg + mg, "setting_mm": unit.setting_mm + closing_mm}
    return unit.model_copy(update=more)


def ten_rounds(shop: MeasuredShop, mg: float = 10.0, batch: str = "known") -> None:
    """Rework ten units by clean wax with the errors that hands make, measured before and after."""
    rng = np.random.default_rng(4)
    serials = [f"{batch}-{n}" for n in range(10)]
    take_in(shop, batch, **dict.fromkeys(serials, measured(WARM)))
    for at in range(0, 10, 6):
        after = {}
        for serial in serials[at : at + 6]:
            shop.rework(batch, serial, mg)
            slips = rng.normal(0.0, (1.0, 0.2))
            after[serial] = measured(dosed(WARM, mg + slips[0], slips[1]))
        shop.night(batch, "as-left", after)


def true_mm_per_mg() -> float:
    """Return what a mg lifts where the valve opens: the volume of wax over the pin's area."""
    start = at_c(WARM, 0.1)
    return volume_lift_mm(dosed(WARM, 1.0), start) - volume_lift_mm(WARM, start)


def test_rounds_of_all_batches_teach_what_a_mg_lifts(shop: MeasuredShop) -> None:
    """Ten rounds tell it to 4-6 %; the closed form's volume over the pin's area is the truth."""
    before = knowledge_of(shop.records, TYPE)
    ten_rounds(shop)
    known = knowledge_of(shop.records, TYPE)
    fill = body_of(shop.records, TYPE).fill
    assert len(known.serials) == 10
    learnt, prior = known.mm_per_mg(fill), before.mm_per_mg(fill)
    assert learnt.sd < prior.sd
    assert learnt.mean == pytest.approx(true_mm_per_mg(), rel=0.1)
    assert known.closing_scatter_mm().mean == pytest.approx(0.2, abs=0.08)


def test_a_slip_among_ten_rounds_is_a_surprise_and_moves_little(shop: MeasuredShop) -> None:
    """66 typed for 86: the start fell by 20 K less than it did; mm per mg moves by under 10 %."""
    ten_rounds(shop)
    fill = body_of(shop.records, TYPE).fill
    good = knowledge_of(shop.records, TYPE).mm_per_mg(fill)
    take_in(shop, "A", W1=measured(WARM))
    shop.rework("A", "W1", 10.0)
    fallen = measured(dosed(WARM, 10.0))
    slip_k = -20.0
    typed = Measurement(
        (fallen.start_c or 0.0) + slip_k,
        fallen.lift_mm,
        (),
        tuple((mm, c + slip_k) for mm, c in fallen.opening),
        bath_c=fallen.bath_c + slip_k,
    )
    shop.night("A", "as-left", {"W1": typed})
    surprise = surprise_of(shop.records, story(shop, "W1"))
    assert surprise is not None
    assert surprise.implausible
    after = knowledge_of(shop.records, TYPE).mm_per_mg(fill)
    assert after.mean == pytest.approx(good.mean, rel=0.1)
    assert after.sd >= 0.99 * good.sd


def test_a_round_as_foretold_is_no_surprise(shop: MeasuredShop) -> None:
    take_in(shop, "A", W1=measured(WARM))
    assert surprise_of(shop.records, story(shop, "W1")) is None
    shop.rework("A", "W1", 10.0)
    assert surprise_of(shop.records, story(shop, "W1")) is None
    shop.night("A", "as-left", {"W1": measured(dosed(WARM, 10.0))})
    surprise = surprise_of(shop.records, story(shop, "W1"))
    assert surprise is not None
    assert not surprise.implausible
    assert surprise.found_mm == pytest.approx(10.0 * true_mm_per_mg(), rel=0.1)


def test_rounds_with_other_work_in_between_teach_nothing(shop: MeasuredShop) -> None:
    take_in(shop, "A", W1=measured(WARM), W2=measured(WARM), W3=measured(WARM))
    shop.rework("A", "W1", 8.0)
    shop.rework("A", "W1", None, "part")
    shop.rework("A", "W2", None, "cleaning")
    shop.rework("A", "W3", 4.0)
    shop.rework("A", "W3", 4.0)
    assert forecast_of(shop.records, story(shop, "W1")) is None
    assert forecast_of(shop.records, story(shop, "W2")) is None
    shop.night("A", "as-left", dict.fromkeys(("W1", "W2", "W3"), measured(dosed(WARM, 8.0))))
    assert knowledge_of(shop.records, TYPE).serials == {"W3"}
    units = {s: trim_unit(shop.records, story(shop, s)) for s in ("W1", "W2", "W3")}
    assert [unit.rounds_done for unit in units.values()] == [1, 0, 1]
    assert [unit.openings_left for unit in units.values()] == [2, 3, 1]


def test_a_forecast_of_what_was_done_holds_the_closed_form(shop: MeasuredShop) -> None:
    """From the act on record, before it is measured, at every lift that is shown."""
    measure_donors(shop)
    take_in(shop, "A", W1=measured(WARM), W2=measured(WARM))
    assert forecast_of(shop.records, story(shop, "W1")) is None
    exchange = ReworkAct(
        mass_out_mg=1400.0,
        mass_in_mg=1400.0,
        source="Teal-82",
        donor_type="Teal-82",
        pin_before_mm=11.0,
        pin_after_mm=11.0,
    )
    wax = ReworkAct(mass_in_mg=12.0)
    order(shop, "A", at_c(WARM) - 9.0)
    for serial, act in (("W1", exchange), ("W2", wax)):
        shop.rework("A", serial, act=act)
        forecast = forecast_of(shop.records, story(shop, serial))
        assert forecast is not None
        after = changed(WARM, act)
        for mm, told in forecast.temperature_c:
            assert told is not None
            assert told.low < at_c(after, mm) < told.high, (serial, mm)
        at_target = forecast.at_target_c
        assert at_target.low < at_c(after, 2.0) < at_target.high
    shop.night("A", "as-left", {"W1": measured(changed(WARM, exchange))})
    assert forecast_of(shop.records, story(shop, "W1")) is None


def test_a_pin_that_was_read_narrows_a_forecast(shop: MeasuredShop) -> None:
    """Nobody knows the powder in either paste: masses alone leave 95 % half open."""
    measure_donors(shop)
    take_in(shop, "A", W1=measured(WARM), W2=measured(WARM))
    act = ReworkAct(mass_out_mg=1400.0, mass_in_mg=1400.0, source="Teal-82", donor_type="Teal-82")
    read = act.model_copy(update={"pin_before_mm": 11.0, "pin_after_mm": 11.0})
    shop.rework("A", "W1", act=act)
    shop.rework("A", "W2", act=read)
    by_mass, by_pin = (forecast_of(shop.records, story(shop, s)) for s in ("W1", "W2"))
    assert by_mass is not None
    assert by_pin is not None
    widths = [x.at_target_c.high - x.at_target_c.low for x in (by_mass, by_pin)]
    assert widths[1] < 0.5 * widths[0]


def test_a_fill_is_known_by_its_sources_and_stays_known_in_later_batches(
    shop: MeasuredShop,
) -> None:
    measure_donors(shop)
    take_in(shop, "A", W1=measured(WARM))
    act = ReworkAct(mass_out_mg=1100.0, mass_in_mg=900.0, source="D1", donor_type="Teal-82")
    shop.rework("A", "W1", act=act)
    shop.night("A", "as-left", {"W1": measured(changed(WARM, act))})
    shop.batch("B", ["W1"], TYPE)
    shop.rework("B", "W1", act=ReworkAct(mass_in_mg=10.0, source=TYPE))
    shop.night("B", "as-left", {"W1": measured(changed(WARM, act))})
    unit = trim_unit(shop.records, story(shop, "W1", "B"))
    parts = {part.source: part.mass_mg for part in unit.fill.parts}
    assert parts == pytest.approx({OWN: FILL_MG / 2 + 10.0, "Teal-82": 900.0})
    assert (unit.rounds_done, unit.openings_left) == (1, 1)


def test_an_act_names_what_it_takes_by_where_it_came_from(shop: MeasuredShop) -> None:
    """The donor's wax melts 16 K colder: the closed forms' own middles of melting."""
    measure_donors(shop)
    take_in(shop, "A", W1=measured(WARM))
    act = ReworkAct(mass_out_mg=500.0, mass_in_mg=500.0, source="D2", donor_type="Teal-82")
    shop.rework("A", "W1", act=act)
    shop.rework("A", "W1", 5.0)
    shop.rework("A", "W1", None, "part")
    donated, wax, part = (act_of(shop.records, kept.entry) for kept in shop.records.current(Rework))
    assert donated is not None
    assert donated.source == "Teal-82"
    assert donated.donor is not None
    assert donated.donor.full_shift_k == pytest.approx(-16.0, abs=1.5 * donated.donor.u_shift_k)
    assert wax is not None
    assert (wax.mass_in_mg, wax.source, wax.donor) == (5.0, CLEAN, None)
    assert part is None


def test_exchanges_teach_how_much_powder_is_in_the_pastes(shop: MeasuredShop) -> None:
    """900 of 2200 mg in either: after ten rounds by balance the own fill's share is nearer."""
    measure_donors(shop)
    serials = [f"W{n}" for n in range(10)]
    take_in(shop, "A", **dict.fromkeys(serials, measured(WARM)))
    act = ReworkAct(mass_out_mg=500.0, mass_in_mg=300.0, source="Teal-82", donor_type="Teal-82")
    after = measured(changed(WARM, act), top_mm=7.0)
    for at in range(0, 10, 6):
        for serial in serials[at : at + 6]:
            shop.rework("A", serial, act=act)
        shop.night("A", "as-left", dict.fromkeys(serials[at : at + 6], after))
    known, before = knowledge_of(shop.records, TYPE), knowledge_of(shop.records, "Teal-82")
    fill = body_of(shop.records, TYPE).fill
    done = known.expected(act_of(shop.records, shop.records.current(Rework)[0].entry), fill)  # type: ignore[arg-type]
    lost_mm = 200.0 * (1 - FILLER) * true_mm_per_mg() / 1.0
    assert float(np.mean(done.lift_mm)) == pytest.approx(-lost_mm, rel=0.25)
    assert known.filler(OWN).sd < before.filler(OWN).sd


def test_what_both_runs_share_on_one_bench_does_not_count(shop: MeasuredShop) -> None:
    """Probe and lag cancel: night and repeatability are left; on two benches nothing cancels."""
    take_in(shop, "A", W1=measured(WARM))
    step = story(shop, "W1").steps[0]
    assert step.content is not None
    figures = shop.records.current(TypeVersion, name=TYPE)[0].entry.unit_type
    own, other = opening_of(step.content, figures), opening_of(step.content, figures, ())
    assert not isinstance(own, str)
    assert not isinstance(other, str)
    assert own.u_bath_k == pytest.approx(math.hypot(NIGHT_K, REPEAT_K))
    assert other.u_bath_k == pytest.approx(math.hypot(NIGHT_K, REPEAT_K, PROBE_K, LAG_K))
    assert (own.lift_mm[0], own.bath_c[0]) == (0.1, at_c(WARM, 0.1))
    assert own.hysteresis_k == 3.0


def test_rounds_between_benches_count_and_tell_less(shop: MeasuredShop) -> None:
    take_in(shop, "A", W1=measured(WARM))
    shop.rework("A", "W1", 10.0)
    shop.night("A", "as-left", {"W1": measured(dosed(WARM, 10.0))}, at_bench="second")
    two = surprise_of(Snapshot(shop.records), story(shop, "W1"))
    take_in(shop, "B", W2=measured(WARM))
    shop.rework("B", "W2", 10.0)
    shop.night("B", "as-left", {"W2": measured(dosed(WARM, 10.0))})
    one = surprise_of(Snapshot(shop.records), story(shop, "W2", "B"))
    assert two is not None
    assert one is not None
    assert knowledge_of(shop.records, TYPE).serials == {"W1", "W2"}


def test_a_heated_unit_measured_under_power_only_has_a_curve(shop: MeasuredShop) -> None:
    """At 6 W it is 11.4 K colder at the lifts read; the unpowered start puts that back."""
    part = [Contribution("cycle repeatability", 0.1)]
    at = {"element_a": 0.63, "power_w": 6.0}

    def powered(mm: float) -> dict[str, float]:
        return {"lift_mm": mm, **at}

    series = {
        "start_at_current_c": (known(at_c(WARM, 0.1) - 11.4, part, "zero", powered(0.1)),),
        "full_open_at_current_c": (known(at_c(WARM, 8.0) - 11.4, part, "zero", powered(8.0)),),
    }
    named = {n: tuple(q.named(n) for q in items) for n, items in series.items()}
    start = known(at_c(WARM, 0.1), part, "zero", {"lift_mm": 0.1}).named(UNPOWERED)

    def result(*known_too: Quantity, **series: tuple[Quantity, ...]) -> ResultContent:
        single = {one.name: one for one in known_too}
        return ResultContent(CurveResult("u", 0.1, single, series, (), ()))

    opening = opening_of(result(start, **named), HERON_103)
    assert not isinstance(opening, str)
    assert opening.power_w == 6.0
    assert opening.unpowered_k == pytest.approx(11.4)
    assert opening.lift_mm == (0.1, 8.0)
    alone = opening_of(result(**named), HERON_103)
    assert not isinstance(alone, str)
    assert alone.unpowered_k == pytest.approx(11.4, rel=0.1)  # 1.9 K/W, from memory
    assert alone.u_bath_k > 2.0
    only = opening_of(result(start), HERON_103)
    assert not isinstance(only, str)
    assert (only.lift_mm, only.power_w) == ((0.1,), 0.0)


def test_a_trial_by_day_teaches_as_a_night_does(shop: MeasuredShop) -> None:
    take_in(shop, "A", W1=measured(WARM))
    shop.rework("A", "W1", 10.0)
    shop.night("A", "trial", {"W1": measured(dosed(WARM, 10.0), top_mm=2.2)})
    assert knowledge_of(shop.records, TYPE).serials == {"W1"}
    unit = trim_unit(shop.records, story(shop, "W1"))
    now = float(unit.curve.weights @ unit.curve.temperature_c(2.0))
    assert now == pytest.approx(at_c(dosed(WARM, 10.0)), abs=0.05)
    assert MODEL.wax_mg == 1300.0

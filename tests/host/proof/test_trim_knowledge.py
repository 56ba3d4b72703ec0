"""What a shop learns from rounds on virtual elements, and that nonsense does not bend it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from host.proof.elements import MODEL, curve_of, free_lift
from proofbath.proof.lift_curve import LiftCurve
from proofbath.proof.trim_act import CLEAN, COPPER_MM3_PER_MG, OWN, Act, Donor, Fill, Part
from proofbath.proof.trim_knowledge import TrimKnowledge, TrimRound
from proofbath.proof.trim_moved import donor_from, moved
from proofbath.proof.trim_regression import Observed, regression
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.truth import pin_area_mm2

AREA = pin_area_mm2(MODEL)
FILL = Fill((Part(OWN, 2200.0),), AREA)
BEFORE = curve_of(free_lift(MODEL))
COPPER = 900.0


def element(wax_mg: float = 1300.0, lift_mm: float = 0.0, **changed: float) -> LiftCurve:
    unit = MODEL.model_copy(update={"wax_mg": wax_mg, "setting_mm": lift_mm, **changed})
    return curve_of(free_lift(unit))


def round_of(
    name: str, mg: float, *, true_mg: float | None = None, closing_mm: float = 0.0
) -> TrimRound:
    """A round of clean wax: `true_mg` went in where a slip of the pen says `mg`."""
    after = element(1300.0 + (mg if true_mg is None else true_mg), closing_mm)
    return TrimRound(name, BEFORE, after, Act(mass_in_mg=mg), FILL)


def ten_rounds(seed: int = 1) -> list[TrimRound]:
    rng = np.random.default_rng(seed)
    doses = [8.0, 12.0, 16.0, 20.0, 10.0, 6.0, 14.0, 18.0, 9.0, 15.0]
    return [
        round_of(f"u{n}", mg, true_mg=mg + rng.normal(), closing_mm=0.2 * rng.normal())
        for n, mg in enumerate(doses)
    ]


def knowing(rounds: list[TrimRound]) -> TrimKnowledge:
    knowledge = TrimKnowledge()
    knowledge.add(rounds)
    return knowledge


@pytest.mark.parametrize(("mm", "shift"), [(0.9, 0.0), (-0.7, 0.0), (0.5, -8.0), (-0.6, 5.0)])
def test_lift_and_shift_are_told_apart(mm: float, shift: float) -> None:
    """A setting and a melting point changed on the closed form; both are found from one curve."""
    after = element(lift_mm=mm, melting_c=MODEL.melting_c + shift)
    found = moved(BEFORE, after, 0.0, (shift * 0.9, 2.0 if shift else 0.0))
    assert found is not None
    assert found.lift_mm == pytest.approx(mm, abs=0.12)
    assert found.shift_k == pytest.approx(shift, abs=0.2)


@pytest.mark.parametrize("wax_mg", [1285.0, 1300.0, 1310.0])
def test_a_donor_is_known_by_its_own_melting_curve(wax_mg: float) -> None:
    """Another unit whose wax melts 18 K lower by the closed form, however full it is."""
    found = donor_from("T64", BEFORE, element(wax_mg, melting_c=MODEL.melting_c - 18.0))
    assert abs(found.full_shift_k + 18.0) < 2 * found.u_shift_k
    assert found.u_shift_k < 1.5


def test_the_prior_is_the_wax_over_the_pin() -> None:
    """1.10-1.30 mm³/mg over 14.5 mm²: 0.076 to 0.090 mm per mg, all of it within 2 sd."""
    mean, sd = TrimKnowledge().mm_per_mg(FILL)
    assert 0.076 < mean < 0.090
    assert mean - 2 * sd < 1.10 / AREA
    assert mean + 2 * sd > 1.25 / AREA
    assert TrimKnowledge(pin_known=False).mm_per_mg(FILL).sd > 4 * sd


def test_what_a_mg_does_is_learnt_from_rounds() -> None:
    """The closed form: volume of the wax where the valve begins to lift, over the pin's area."""
    true = MODEL.cavity_mm3 / MODEL.wax_mg / AREA
    prior, found = TrimKnowledge().mm_per_mg(FILL), knowing(ten_rounds()).mm_per_mg(FILL)
    assert abs(found.mean - true) < 2 * found.sd
    assert found.sd < prior.sd


def test_a_pin_nobody_measured_is_made_up_for_by_rounds() -> None:
    """Ten rounds tell what a mg does to some 5 %, where the prior knew 30 %."""
    knowledge = TrimKnowledge(pin_known=False)
    knowledge.add(ten_rounds())
    found = knowledge.mm_per_mg(FILL)
    true = MODEL.cavity_mm3 / MODEL.wax_mg / AREA
    assert abs(found.mean - true) < 2 * found.sd
    assert found.sd < 0.08 * found.mean


SLIPS = {
    "dose ten times": lambda: round_of("slip", 140.0, true_mg=14.0),
    "sign": lambda: round_of("slip", 16.0, true_mg=-16.0),
    "66 for 86": lambda: TrimRound(
        "slip", BEFORE, element(1314.0).after_exchange(-20.0, 1.0), Act(mass_in_mg=14.0), FILL
    ),
}


@pytest.mark.parametrize("slip", SLIPS)
@pytest.mark.parametrize("pin_known", [True, False])
@pytest.mark.parametrize("place", [0, 10])
def test_one_slip_among_ten_rounds_moves_little(slip: str, pin_known: bool, place: int) -> None:
    """Under a tenth of mm per mg, wherever it stands; and the advice is no surer for it."""
    rounds = ten_rounds()
    clean, bent = (TrimKnowledge(pin_known=pin_known) for _ in range(2))
    clean.add(rounds)
    bent.add([*rounds[:place], SLIPS[slip](), *rounds[place:]])
    before, after = clean.mm_per_mg(FILL), bent.mm_per_mg(FILL)
    assert after.mean == pytest.approx(before.mean, rel=0.1)
    assert after.sd > 0.97 * before.sd


@pytest.mark.parametrize("slip", SLIPS)
def test_nonsense_alone_makes_nothing_surer(slip: str) -> None:
    prior, bent = TrimKnowledge(), knowing([SLIPS[slip]()])
    assert bent.mm_per_mg(FILL).mean == pytest.approx(prior.mm_per_mg(FILL).mean, rel=0.1)
    assert bent.mm_per_mg(FILL).sd > 0.97 * prior.mm_per_mg(FILL).sd
    assert bent.closing_scatter_mm().mean > 0.99 * prior.closing_scatter_mm().mean


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_is_asked_about(slip: str) -> None:
    for knowledge in (TrimKnowledge(), knowing(ten_rounds())):
        found = knowledge.surprise(SLIPS[slip]())
        assert found is not None
        assert found.implausible


def test_a_usual_round_is_not_asked_about() -> None:
    for closing in (-0.4, 0.0, 0.4):
        found = TrimKnowledge().surprise(round_of("u", 12.0, closing_mm=closing))
        assert found is not None
        assert not found.implausible
        assert found.foretold_mm == pytest.approx(0.97, abs=0.05)
        assert found.found_mm - found.foretold_mm == pytest.approx(closing, abs=0.05)


def opened_only(scatter_mm: float, bias_mm: float, count: int = 12) -> list[TrimRound]:
    rng = np.random.default_rng(3)
    off = rng.normal(size=count)
    off = bias_mm + scatter_mm * (off - off.mean()) / off.std()
    return [
        TrimRound(f"o{n}", BEFORE, element(lift_mm=mm), Act(), FILL) for n, mm in enumerate(off)
    ]


@pytest.mark.parametrize("scatter_mm", [0.1, 0.4])
def test_closing_is_learnt_from_rounds_opened_with_nothing_added(scatter_mm: float) -> None:
    knowledge = knowing(opened_only(scatter_mm, 0.05))
    found = knowledge.closing_scatter_mm()
    assert abs(found.mean - scatter_mm) < max(2.5 * found.sd, 0.04)
    assert knowledge.closing_bias_mm().mean == pytest.approx(0.05, abs=0.05)


def test_a_bias_of_closing_does_not_count_as_wax() -> None:
    knowledge = knowing(opened_only(0.1, 0.15))
    assert knowledge.mm_per_mg(FILL).mean == pytest.approx(TrimKnowledge().mm_per_mg(FILL).mean)


def paste_round(name: str, filler: float, mg: float, closing_mm: float) -> TrimRound:
    unit: VirtualUnit = MODEL.model_copy(
        update={
            "wax_mg": MODEL.wax_mg + mg * (1 - filler),
            "cavity_mm3": MODEL.cavity_mm3 - COPPER_MM3_PER_MG * mg * filler,
            "setting_mm": closing_mm,
        }
    )
    act = Act(mass_in_mg=mg, source="paste")
    return TrimRound(name, BEFORE, curve_of(free_lift(unit)), act, FILL)


@pytest.mark.parametrize("filler", [0.0, 0.2, 0.41])
def test_metal_powder_is_learnt_by_source(filler: float) -> None:
    """Paste made of the closed form's wax and copper, dosed into the element."""
    rng = np.random.default_rng(2)
    rounds = [paste_round(f"p{n}", filler, 20.0, 0.2 * rng.normal()) for n in range(8)]
    knowledge = knowing(rounds)
    found = knowledge.filler("paste")
    assert abs(found.mean - filler) < 2.5 * found.sd
    assert found.sd < 0.085
    assert knowledge.filler(CLEAN) == (0.0, 0.0)
    assert knowledge.filler("another").sd == pytest.approx(0.144, abs=0.01)
    assert knowledge.mm_per_mg(FILL, "paste").mean < knowledge.mm_per_mg(FILL).mean + 0.003


def test_the_cold_pin_tells_the_metal_powder_before_heat() -> None:
    act = Act(mass_in_mg=40.0, source="paste", opened=True)
    lifted = 40 * (0.6 * 1.10 + 0.4 / 8.96) / AREA
    told = TrimRound("p", BEFORE, paste_round("p", 0.4, 40.0, 0.0).after, act, FILL, lifted)
    with_pin = knowing([told]).filler("paste")
    without = knowing([told._replace(stick_out_mm=None)]).filler("paste")
    assert with_pin.mean == pytest.approx(0.4, abs=0.06)
    assert with_pin.sd < 0.7 * without.sd


def test_an_exchange_teaches_metal_powder_and_shift_at_once() -> None:
    """A third of the fill for a paste of 20 % that melts 20 K lower, from the closed form."""
    out, given, filler = 700.0, 560.0, 0.2
    own = COPPER / 2200
    kept = (2200 - out) * (1 - own)
    more = given * (1 - filler)
    copper = (2200 - out) * own + given * filler
    unit = MODEL.model_copy(
        update={
            "wax_mg": kept + more,
            "melting_c": MODEL.melting_c - 20 * more / (kept + more),
            "cavity_mm3": MODEL.cavity_mm3 - COPPER_MM3_PER_MG * (copper - COPPER),
        }
    )
    donor = Donor("paste", -20.0, 0.5)
    act = Act(out, given, "paste", donor)
    after = curve_of(free_lift(unit))
    knowledge = knowing([TrimRound("x", BEFORE, after, act, FILL)])
    known = TrimKnowledge()
    assert knowledge.filler("paste").sd < known.filler("paste").sd
    by_both = knowledge.expected(act, FILL)
    true_shift = unit.melting_c - MODEL.melting_c
    assert float(np.mean(by_both.shift_k)) == pytest.approx(true_shift, rel=0.06)
    doubt, before = (float(np.std(x.lift_mm)) for x in (by_both, known.expected(act, FILL)))
    assert doubt < 0.1 * before


def test_a_spring_is_learnt_from_its_own_rounds() -> None:
    """A spring that moves twice the 0.24 K per MPa (from memory) that is believed beforehand."""
    rounds = [
        TrimRound(f"s{n}", BEFORE, BEFORE.after_exchange(0.48 * 7, 1.0), Act(spring_mpa=7.0), FILL)
        for n in range(5)
    ]
    found = knowing(rounds).spring_k_per_mpa()
    assert 0.34 < found.mean < 0.5
    assert found.sd < TrimKnowledge().spring_k_per_mpa().sd


def test_the_foot_of_a_type_is_learnt_from_its_units() -> None:
    """Ten elements whose wax melts along a logistic: that shape is believed, others less."""
    knowledge = TrimKnowledge()
    before = knowledge.shape_logs.copy()
    for n in range(10):
        knowledge.see(f"u{n}", BEFORE)
    gained = knowledge.shape_logs - before
    assert int(np.argmax(gained)) in (0, 4)
    assert gained.min() < gained.max() - 10


def test_the_same_rounds_give_the_same_samples() -> None:
    first, second = (knowing(ten_rounds()).samples(Act(), FILL) for _ in range(2))
    assert np.array_equal(first.theta.wax, second.theta.wax)
    assert np.array_equal(first.theta.closing_mm, second.theta.closing_mm)


def test_a_regression_without_nonsense_agrees_with_the_closed_form() -> None:
    """Weighted least squares of a line with a normal prior; belief in all of it all but full."""
    rng = np.random.default_rng(8)
    x, sd = rng.uniform(-1, 1, 40), 0.1
    y = 2.0 * x + sd * rng.normal(size=40)

    def observed(at: float, value: float) -> Observed:
        return Observed(lambda t: t[:, :1] * at, np.array([value]), np.full((1, 1, 1), sd**2))

    found = regression(
        [observed(a, b) for a, b in zip(x, y, strict=True)], np.zeros(1), np.ones(1), 1
    )
    precision = 1 + (x**2).sum() / sd**2
    assert found.theta[0, 0] == pytest.approx((x * y).sum() / sd**2 / precision, abs=0.01)
    assert math.sqrt(found.covariance[0, 0, 0]) == pytest.approx(precision**-0.5, rel=0.1)

"""What an act does, against the element's closed form and hand calculations."""

from __future__ import annotations

import math

import numpy as np
import pytest

from host.proof.elements import MODEL
from proofbath.errors import InputError
from proofbath.proof.trim_act import (
    CLEAN,
    OWN,
    Act,
    Donor,
    Errors,
    Fill,
    Part,
    Theta,
    check_act,
    effect,
)
from proofbath.virtual.truth import pin_area_mm2, volume_lift_mm

AREA = pin_area_mm2(MODEL)
FILL = Fill((Part(OWN, 2200.0),), AREA)
"""1300 mg of wax and 900 mg of copper powder: 41 % by mass."""
ONE = np.ones(1)


def theta(own: float = 900 / 2200, paste: float = 0.41, closing_mm: float = 0.0) -> Theta:
    filler = {OWN: own * ONE, "paste": paste * ONE}
    return Theta(ONE, closing_mm * ONE, ONE, ONE, filler)


def test_ten_mg_of_clean_wax_lift_by_their_volume() -> None:
    """0.76-0.90 mm for clean wax: 1.10-1.30 mm³/mg over the area of a 4.3 mm pin."""
    done = effect(Act(mass_in_mg=10.0), FILL, theta())
    assert 0.76 < done.lift_mm[0] < 0.90
    assert done.stretch[0] == pytest.approx(10 / 1300, rel=1e-3)
    assert done.shift_k[0] == 0.0


def test_ten_mg_of_paste_lift_by_less() -> None:
    """0.48-0.56 mm of lift for a paste with 41 % of metal powder (own computation)."""
    done = effect(Act(mass_in_mg=10.0, source="paste"), FILL, theta())
    assert 0.48 < done.lift_mm[0] < 0.56


def test_taking_out_and_putting_back_the_same_paste_changes_nothing() -> None:
    act = Act(500.0, 500.0, "paste", Donor("paste", 0.0, 0.5))
    done = effect(act, FILL, theta(own=0.41))
    assert (done.lift_mm[0], done.shift_k[0], done.stretch[0]) == pytest.approx((0, 0, 0), abs=1e-9)


def test_a_shim_lifts_by_itself_and_closing_by_the_areas() -> None:
    """0.05 mm over a 10 mm bore is as 3.4 mg of wax (own computation)."""
    assert effect(Act(shim_mm=0.3, opened=False), FILL, theta()).lift_mm[0] == pytest.approx(0.3)
    closing = effect(Act(closing_mm=0.05), FILL, theta()).lift_mm[0]
    wax = effect(Act(mass_in_mg=3.4), FILL, theta()).lift_mm[0]
    assert closing == pytest.approx(wax, rel=0.02)


def test_opening_alone_has_the_closing_bias() -> None:
    assert effect(Act(), FILL, theta(closing_mm=0.13)).lift_mm[0] == pytest.approx(0.13)
    assert effect(Act(opened=False), FILL, theta(closing_mm=0.13)).lift_mm[0] == 0.0


def test_a_stiffer_spring_opens_later() -> None:
    """100 N on a 4.3 mm pin is 6.9 MPa and 1.6 K (Clapeyron, from memory)."""
    stress = 100 / AREA
    assert stress == pytest.approx(6.9, abs=0.05)
    found = effect(Act(spring_mpa=stress, opened=False), FILL, theta()).shift_k[0]
    assert found == pytest.approx(1.6, abs=0.1)


def test_the_share_of_an_exchange_is_of_the_wax_by_mass() -> None:
    """650 mg of clean donor wax beside 650 mg of 1300 mg own wax: half way to its melting."""
    out = 1100.0
    act = Act(out, 650.0, CLEAN, Donor(CLEAN, -20.0, 0.0))
    assert effect(act, FILL, theta()).shift_k[0] == pytest.approx(-10.0)


def test_filled_by_the_pin_the_metal_powder_hardly_counts() -> None:
    """Any share from 0 to 0.5 in the donor: the pin as told, the lift within 0.2 mm of it."""
    act = Act(500.0, 500.0, "paste", Donor("paste", -20.0, 0.0), pin_stick_out_mm=0.0)
    for share in (0.0, 0.25, 0.5):
        done = effect(act, FILL, theta(paste=share))
        assert done.stick_out_mm[0] == pytest.approx(0.0, abs=1e-6)
        assert abs(done.lift_mm[0]) < 0.5
        by_balance = effect(act._replace(pin_stick_out_mm=None), FILL, theta(paste=share))
        if share != 0.5:
            assert abs(by_balance.lift_mm[0]) > 3 * abs(done.lift_mm[0])


def test_the_cold_pin_agrees_with_the_closed_form() -> None:
    """40 mg of wax into the model element: its lift at 20 °C and where it opens, anew."""
    more = MODEL.model_copy(update={"wax_mg": 1340.0})
    done = effect(Act(mass_in_mg=40.0, opened=False), FILL, theta())
    cold = volume_lift_mm(more, 20.0) - volume_lift_mm(MODEL, 20.0)
    assert done.stick_out_mm[0] == pytest.approx(cold, rel=0.03)
    warm = volume_lift_mm(more, 84.0) - volume_lift_mm(MODEL, 84.0)
    assert done.lift_mm[0] == pytest.approx(warm, rel=0.03)


def test_errors_of_the_balance_count_where_something_is_weighed() -> None:
    off = Errors(out_mg=ONE, in_mg=2 * ONE)
    per_mg = 1.16 / AREA
    added = effect(Act(mass_in_mg=10.0), FILL, theta(), off).lift_mm[0]
    assert added == pytest.approx(12 * per_mg)
    assert effect(Act(), FILL, theta(), off).lift_mm[0] == 0.0


def test_a_fill_is_what_it_was_mixed_from() -> None:
    """A quarter out, as much of another in: three quarters and one quarter, and so on again."""
    once = FILL.after(Act(550.0, 550.0, "paste"))
    assert once.parts == (Part(OWN, 1650.0), Part("paste", 550.0))
    twice = once.after(Act(550.0, 550.0, "paste"))
    assert twice.mass_mg == pytest.approx(2200.0)
    assert dict(twice.parts)["paste"] == pytest.approx(0.75 * 550 + 550)
    share = theta(own=0.4, paste=0.0).filler_in(once)[0]
    assert share == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (Act(mass_in_mg=-1.0), "0 or more"),
        (Act(mass_out_mg=2300.0), "holds 2200 mg"),
        (Act(mass_in_mg=1.0, opened=False), "not opened"),
    ],
)
def test_acts_that_cannot_be_are_refused(act: Act, words: str) -> None:
    with pytest.raises(InputError, match=words):
        check_act(act, FILL)
    check_act(Act(10.0, 5.0), FILL)
    assert math.isclose(FILL.mass_mg, 2200.0)

"""What a type's limits at set currents ask of a night: the profiles and their figures."""

from __future__ import annotations

import pytest

from host.workshop.heated_shop import LIFTS, OPENS, TYPE
from proofbath.errors import InputError
from proofbath.proof.specification import Limit, Specification
from proofbath.run.heated_profiles import HeatedFigures
from proofbath.workshop.powered_programme import Programme, programme_by_order, programme_for

START = Limit(quantity="unpowered_start_to_open_c", nominal=103.0, tolerance=2.0, threshold_mm=0.1)
STEADY = Limit(quantity="lift_at_current_mm", lower=2.0, largest_u=0.5, element_a=0.6, bath_c=94.0)


def asked(*limits: Limit) -> Specification:
    return Specification(unit_type=TYPE, version=1, limit=(START, *limits))


def test_a_type_without_limits_at_currents_asks_for_nothing() -> None:
    assert programme_for(asked()) == ((), HeatedFigures())


def test_each_kind_of_limit_asks_for_its_profile_at_its_own_currents() -> None:
    then, heated = programme_for(asked(OPENS, LIFTS, STEADY))
    assert then == ("currents-at-one-bath", "openings-at-currents")
    assert (heated.current_a, heated.opening_a, heated.bath_c) == ([0.6, 0.9], [0.8], 94.0)
    only_opens = programme_for(asked(OPENS))
    assert only_opens.then == ("openings-at-currents",)
    assert (only_opens.heated.current_a, only_opens.heated.bath_c) == (None, None)


def test_a_lift_after_some_time_needs_that_time_from_a_shut_valve() -> None:
    """The lift at 240 s is read a little longer than 240 s; a steady lift needs neither."""
    _, heated = programme_for(asked(LIFTS))
    assert heated.each_from_shut
    assert 240.0 + 3.0 < heated.held_s < 300.0
    _, steady = programme_for(asked(STEADY))
    assert (steady.each_from_shut, steady.held_s) == (False, HeatedFigures().held_s)


@pytest.mark.parametrize(("bath_c", "fits"), [(94.4, True), (94.6, False)])
def test_limits_in_two_baths_are_refused_with_both(bath_c: float, fits: bool) -> None:
    """A limit fits a result within 0.5 K of its bath."""
    limits = asked(LIFTS, STEADY.model_copy(update={"bath_c": bath_c}))
    if fits:
        assert programme_for(limits).heated.bath_c == 94.0
    else:
        with pytest.raises(InputError, match=r"baths of 94 and 94\.6 °C"):
            programme_for(limits)


def test_an_ordered_batch_shows_its_currents_below_where_its_units_open_now() -> None:
    """The marking's bath of 94 °C would find units open that were ordered to open at 90 °C."""
    then, heated = programme_by_order(asked(OPENS, LIFTS))
    assert then == ("currents-at-one-bath",)
    assert (heated.bath_c, heated.each_from_shut) == (None, True)
    assert heated.current_a == programme_for(asked(LIFTS)).heated.current_a
    assert programme_by_order(asked(OPENS)) == programme_by_order(asked()) == Programme()

"""Unit types: figures that fit together, and where a stroke ends."""

from __future__ import annotations

import math

import pytest

from host.run.workshop import HERON_103, TEAL_82
from proofbath.run.unit_type import UnitType


def changed(**figures: float) -> UnitType:
    return UnitType.model_validate(TEAL_82.model_dump() | figures)


def test_the_stroke_ends_beyond_the_stop_where_it_is_known() -> None:
    """By hand: 1.2 x 8 mm + 1 mm without a stop, 12 mm + 1 mm with one."""
    assert TEAL_82.stroke_mm() == pytest.approx(10.6)
    assert changed(greatest_lift_mm=12.0).stroke_mm() == pytest.approx(13.0)


def test_a_heated_units_stroke_ends_at_its_stop_or_nowhere() -> None:
    """At its greatest current the virtual Heron-103 lifts 11.9 mm, beyond 1.2 x 8 mm + 1 mm."""
    assert HERON_103.stroke_mm() == math.inf
    known = UnitType.model_validate(HERON_103.model_dump() | {"greatest_lift_mm": 12.0})
    assert known.stroke_mm() == pytest.approx(13.0)


def test_a_stop_below_the_rated_lift_is_refused() -> None:
    with pytest.raises(ValueError, match="greatest_lift_mm must not be less than full_lift_mm"):
        changed(greatest_lift_mm=7.0)

"""Where a broken run goes on: only on a branch that the bath has not left."""

from __future__ import annotations

import pytest

from host.run.workshop import F82, F103H
from proofbath.run.profile import resolve
from proofbath.run.profiles import shipped
from proofbath.run.resume import resume_point

LEGS = resolve(shipped("plain-as-left").step, F82, 103.0)
"""Conditioning 0-3, cycle 1 4-7, cycle 2 8-11, cycle 3 12-17, cool-down 18."""


@pytest.mark.parametrize(
    ("broken", "last_c", "now_c", "first", "spoiled"),
    [
        (4, 70.0, 60.0, 4, False),  # a soak is simply done again
        (5, 80.0, 79.9, 5, False),  # a rise that has not fallen goes on
        (5, 80.0, 76.0, 4, True),  # one that has begins anew with its soak
        (14, 80.0, 76.0, 12, True),
        (6, 97.0, 96.9, 6, False),
        (6, 97.0, 95.0, 4, True),
        (7, 85.0, 78.0, 7, False),  # a fall may fall on
        (7, 85.0, 86.0, 4, True),
        (18, 60.0, 50.0, 18, False),
    ],
)
def test_a_plain_night_goes_on_where_its_branch_allows(
    broken: int, last_c: float, now_c: float, first: int, spoiled: bool
) -> None:
    point = resume_point(LEGS, broken, last_c, now_c)
    assert (point.first, point.spoiled) == (first, spoiled)


def test_a_powered_cycle_always_begins_anew() -> None:
    legs = resolve(shipped("heater-assisted-as-found").step, F103H, 103.0)
    powered = next(i for i, leg in enumerate(legs) if leg.step.kind == "power")
    point = resume_point(legs, powered, 94.0, 94.0)
    assert point.spoiled
    assert legs[point.first].step.kind == "soak"
    assert legs[point.first].step.cycle == legs[powered].step.cycle
    assert "elements were off" in point.text

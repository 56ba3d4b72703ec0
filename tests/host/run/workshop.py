"""Unit types and profiles the tests of the run share: the ferry workshop's two."""

from __future__ import annotations

from proofbath.run.profile import Drive, Energise, Hold, Loading, PowerRamp, Ramp, Soak, Step
from proofbath.run.unit_type import UnitType

TEAL_82 = UnitType(
    name="Teal-82", nominal_start_to_open_c=82, full_open_c=95, full_lift_mm=8, cap_c=104
)
HERON_103 = UnitType(
    name="Heron-103",
    kind="heater-assisted",
    nominal_start_to_open_c=103,
    full_open_c=116,
    full_lift_mm=9,
    cap_c=110,
    element_max_a=0.9,
    element_ohm=15.0,
)
SHORT: list[Step] = [
    Soak(cycle=1, to_c=40.0, at_least_s=60.0),
    Ramp(cycle=1, to_c=42.0, rate_k_per_min=1.0),
    Ramp(cycle=1, to_c=44.0, rate_k_per_min=0.5),
    Hold(cycle=1, for_s=60.0),
    Ramp(purpose="cool-down", to_c=43.5, rate_k_per_min="attainable"),
]
"""A quarter of an hour of bench time: every step of a plain night."""
POWERED: list[Step] = [
    Drive(duty=1.0, for_s=600.0, until_c=39.0),
    Soak(cycle=1, to_c=40.0, at_least_s=60.0),
    Energise(cycle=1, element_a=0.3, at_least_s=60.0),
    PowerRamp(cycle=1, to_w=3.0, rate_w_per_min=1.0),
    PowerRamp(cycle=1, to_w=0.0, rate_w_per_min=2.0),
    Ramp(purpose="cool-down", to_c=39.5, rate_k_per_min="attainable"),
]
ASSISTED = Loading(max_a=(0.9,) * 5 + (0.0,), ohm=(15.0,) * 6)
"""Five units with element heaters and a plain reference unit."""

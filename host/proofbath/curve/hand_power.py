"""The power of an element fed by hand, and what stands for it where it is not known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from proofbath.curve.hand_instruments import Heater
from proofbath.curve.hand_record import HandPoint

OFF_A = 0.02
LEAST_OHM = 8.0  # from memory: elements for 12 V take 18 W at most
POWER_UNKNOWN = "the power is not known: give --element-ohm, or type the volts"


class Fed(NamedTuple):
    """What readings under one current were fed; W is null where neither volts nor ohms are known.

    `drive_w` grows with what heats the element all the same: it weighs one current against another.
    """

    element_a: float
    power_w: float | None
    power_u_w: float
    drive_w: float
    drive_u_w: float

    @property
    def by_power(self) -> bool:
        """Whether the drive is the power itself."""
        return self.drive_w == self.power_w


def fed(points: Sequence[HandPoint], heater: Heater | None) -> Fed:
    """Return the mean current of readings, and its power with the standard uncertainty."""
    element_a = math.fsum(point.element_a for point in points) / len(points)
    if element_a <= OFF_A:
        return Fed(element_a, 0.0, 0.0, 0.0, 0.0)
    power_w, power_u_w = _power(points, element_a, heater or Heater())
    if power_w is None:
        return by_current(Fed(element_a, None, 0.0, 0.0, 0.0), heater)
    return Fed(element_a, power_w, power_u_w, power_w, power_u_w)


def by_current(one: Fed, heater: Heater | None) -> Fed:
    """Let the least power a current usually brings stand for it: no slope is then too flat."""
    if one.element_a <= OFF_A:
        return one
    drive_w = one.element_a**2 * LEAST_OHM
    return one._replace(drive_w=drive_w, drive_u_w=drive_w * 2 * _meter_u(heater or Heater()))


def _meter_u(heater: Heater) -> float:
    """Return the relative standard uncertainty of one reading of a meter."""
    return heater.meter_expanded_u_percent / 200


def _power(
    points: Sequence[HandPoint], element_a: float, heater: Heater
) -> tuple[float | None, float]:
    """Return the element's power and its standard uncertainty, None where it is not known."""
    volts = [point.element_v for point in points if not math.isnan(point.element_v)]
    if volts:
        whole_w = element_a * math.fsum(volts) / len(volts)
        lead_u_w = element_a**2 * heater.lead_expanded_u_ohm / 2
        power_w = whole_w - element_a**2 * heater.lead_ohm
        if power_w > 0.0:
            return power_w, math.hypot(whole_w * _meter_u(heater) * math.sqrt(2), lead_u_w)
    if heater.element_ohm is None:
        return None, 0.0
    power_w = element_a**2 * heater.element_ohm
    return power_w, power_w * _meter_u(heater) * math.sqrt(5)  # current squared, and the resistance

"""Pots as a person reads them: rises of valves whose curve is known in closed form."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from proofbath.bench.hand_file import HandFile
from proofbath.curve.hand_instruments import (
    HandSetup,
    Heater,
    LiftKind,
    ThermometerKind,
    usual_lift_tool,
    usual_thermometer,
)
from proofbath.curve.hand_record import HandPoint

COARSE_C = [70.0, 74.0, 78.0, 80.0, 82.0, 84.0, 86.0, 88.0]
Lift = Callable[[float], float]


def straight(start_c: float, mm_per_k: float = 0.3) -> Lift:
    """A valve shut up to `start_c` and then of one slope."""
    return lambda bath_c: mm_per_k * max(bath_c - start_c, 0.0)


def rise(
    lift: Lift,
    baths_c: Sequence[float],
    rate_k_per_min: float = 1.0,
    begins_s: float = 0.0,
    element_a: float = 0.0,
    element_v: float = math.nan,
) -> list[HandPoint]:
    """Readings at bath temperatures met at one rate."""
    return [
        HandPoint(
            begins_s + 60 * (bath_c - baths_c[0]) / rate_k_per_min,
            bath_c,
            lift(bath_c),
            element_a,
            element_v,
        )
        for bath_c in baths_c
    ]


def setup(
    thermometer: ThermometerKind = "resistance",
    tool: LiftKind = "caliper",
    stirred: bool = True,
    heater: Heater | None = None,
) -> HandSetup:
    """A setup with the usual figures of each kind."""
    return HandSetup(
        thermometer=usual_thermometer(thermometer),
        lift_tool=usual_lift_tool(tool),
        stirred=stirred,
        heater=heater,
    )


class ScriptedPerson:
    """Types what is written down, says yes to everything, hears everything; time goes on by it."""

    def __init__(self, *lines: str, seconds: float = 60.0, agreeing: bool = True) -> None:
        self.heard: list[str] = []
        self.now_s = 1000.0
        self.file: HandFile | None = None
        self._lines = list(lines)
        self._seconds = seconds
        self._agreeing = agreeing

    def clock(self) -> float:
        return self.now_s

    def tell(self, text: str) -> None:
        self.heard.append(text)

    def wait(self, text: str) -> None:
        self.heard.append(text)

    def agrees(self, question: str) -> bool:
        self.heard.append(question)
        return self._agreeing

    def line(self, prompt: str) -> str:
        self.now_s += self._seconds
        self.heard.append(prompt)
        return self._lines.pop(0)

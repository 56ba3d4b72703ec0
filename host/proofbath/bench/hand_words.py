"""What a person is told who measures by hand: cautions, the usual errors, and hints as it goes."""

from __future__ import annotations

import math
from collections.abc import Sequence

from proofbath.curve.hand_instruments import HandSetup
from proofbath.curve.hand_power import OFF_A
from proofbath.curve.hand_record import HandPoint, same_current
from proofbath.curve.hand_result import FAST_K_PER_MIN
from proofbath.curve.hand_start import NEAR_BOILING_C
from proofbath.curve.hand_steps import ONE_TEMPERATURE_K, unsteady

CAUTIONS = (
    "SCALD: water at 60 °C burns in seconds. Gloves, glasses, a pot that cannot tip; cool below"
    " 45 °C before you reach in.",
    "MAINS: hot plate behind a residual-current device, cords and meters dry, drip loops.",
    "NEVER CLOSE THE POT: lid loose, no pressure. Water alone, or propylene glycol; ethylene"
    " glycol is poisonous.",
    "HOT WAX, OIL AND SPRINGS: never heat a cracked element, never past the type's cap.",
    "STAY WITH IT: no heat without somebody beside it. If this program is killed a supply keeps"
    " its last setting: switch it off by hand.",
    "HEATER: fused, low voltage, never energised in air or half under water: the wax is ruined.",
)
USUAL_ERRORS = (
    "Hang the unit in the middle by a wire: on the bottom or at the wall it opens degrees early.",
    "Thermometer beside the element, immersed as it is meant to be, touching nothing.",
    "Infrared on bright metal or through steam is wrong by tens of K: a probe in the water is"
    " better by far.",
    "Stir all the time; unstirred water differs by degrees from place to place.",
    "No more than 1 to 2 K a minute from 12 K below the mark on; read every half K near the start.",
    "Same two spots for every lift reading, from the shut valve on.",
)
COMMANDS = (
    "Type temperature and lift, as in  82.5 0.13  (or the temperature alone), the moment you read"
    " them; the program takes the time.\n"
    "boil 2.10 is a lift in boiling water, where altitude or pressure was given. Heated at one"
    " temperature: a current, then the lift every 2 min until two are equal, then the next higher"
    " current.\n"
    "u takes the last reading back · p pauses · heat 0.8 sets the heater to 0.8 A, heat 0 ends it"
    " · end ends · ? shows this. end, u and heat 0 leave every prompt."
)
BOIL = "boil"
JUMP_K, JUMP_S, JUMP_MM = 5.0, 60.0, 3.0
RECENT = 4


def hint(points: Sequence[HandPoint], setup: HandSetup) -> str:
    """Return what to say after the newest reading."""
    last = points[-1]
    said = [f"{len(points)}: {last.bath_c:g} °C, {_lift_words(last)}"]
    rate = recent_rate_k_per_min(points)
    if rate is not None:
        said.append(f"{rate:+.1f} K/min")
    if rate is not None and rate > FAST_K_PER_MIN:
        said.append("too fast: turn the heat down")
    if len(points) > 1 and _jumped(points[-2], last):
        said.append("a jump: mistyped? u takes it back")
    said += _step_words(points, setup)
    if last.bath_c > NEAR_BOILING_C and setup.heater is None:
        said.append("near boiling: bubbles lift the valve and the caliper")
    return "; ".join(said)


def _step_words(points: Sequence[HandPoint], setup: HandSetup) -> list[str]:
    """Say of a current held at one temperature whether its lift is steady."""
    held: list[HandPoint] = []
    for point in reversed(points):
        if point.element_a <= OFF_A or not same_current(point.element_a, points[-1].element_a):
            break
        held.insert(0, point)
    lifts = [point for point in held if not math.isnan(point.lift_mm)]
    baths = [point.bath_c for point in held]
    if not lifts or max(baths) - min(baths) > ONE_TEMPERATURE_K:
        return []
    return [unsteady(lifts, setup) or "steady: set the next higher current, or end"]


def recent_rate_k_per_min(points: Sequence[HandPoint]) -> float | None:
    """Return the rate over the last few readings under one current, None below two."""
    last, first = points[-1], points[-RECENT:][0]
    passed_s = last.t_s - first.t_s
    if passed_s <= 0.0:
        return None
    return 60 * (last.bath_c - first.bath_c) / passed_s


def _lift_words(point: HandPoint) -> str:
    heated = f", {point.element_a:g} A" if point.element_a else ""
    lift = "no lift read" if math.isnan(point.lift_mm) else f"{point.lift_mm:g} mm"
    return lift + heated


def _jumped(before: HandPoint, after: HandPoint) -> bool:
    soon = after.t_s - before.t_s < JUMP_S
    lifted_mm = abs(after.lift_mm - before.lift_mm)
    steady = same_current(before.element_a, after.element_a)
    return soon and (abs(after.bath_c - before.bath_c) > JUMP_K or (steady and lifted_mm > JUMP_MM))

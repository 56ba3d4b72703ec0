"""Bath and lid, and one station with its gauge: general arrangement, main dimensions."""

from __future__ import annotations

import math

from design_bath import EXPANSION_PER_K, FILL_MM, HEIGHT_MM, INNER_MM, ROD_MM, SPAN_K, SWITCH_MM
from sheet import LARGE, PLAIN, SMALL, THIN, Sheet

SCALE = 0.36
AXIS_X, FLOOR_Y = 86.0, 158.0
PLAN_X, PLAN_Y = 226.0, 82.0
PITCH_MM = 90.0
SEAT_MM, TIP_MM = 75.0, 40.0
"""Heights of the units' seats and of the probes' tips above the floor."""


def _x(mm: float) -> float:
    return AXIS_X + SCALE * mm


def _y(height_mm: float) -> float:
    return FLOOR_Y - SCALE * height_mm


def bath() -> str:
    """Return the drawing of bath and lid."""
    s = Sheet("5 of 6", "Bath and lid", "Dimensions in mm; not to scale.")
    s.text(
        14,
        17,
        "Vented, never a closed vessel. Hot: below 45 °C before the lid is lifted.",
        LARGE,
        bold=True,
    )
    _vessel(s)
    _inside(s)
    _stations(s)
    _names(s)
    _plan(s)
    return s.svg()


def _vessel(s: Sheet) -> None:
    half = INNER_MM / 2
    for side in (-1, 1):
        left = _x(side * half) if side > 0 else _x(-half) - 12
        s.hatch(left, _y(HEIGHT_MM), 12, SCALE * HEIGHT_MM + 12, 2.5)
        s.box(left, _y(HEIGHT_MM), 12, SCALE * HEIGHT_MM + 12, fill="none")
        s.line((_x(side * half), _y(HEIGHT_MM)), (_x(side * half), FLOOR_Y), width=0.7)
    s.line((_x(-half), FLOOR_Y), (_x(half), FLOOR_Y), width=0.7)
    s.hatch(_x(-half), FLOOR_Y, SCALE * INNER_MM, 12, 2.5)
    s.box(_x(-half), FLOOR_Y, SCALE * INNER_MM, 12, fill="none")
    s.line((_x(-half - 55), 174), (_x(half + 55), 174), width=0.7)
    for side in (-1, 1):
        s.line((_x(side * (half + 55)), 174), (_x(side * (half + 55)), 169), width=0.7)
    s.box(_x(-half - 40), _y(HEIGHT_MM) - 3, SCALE * (INNER_MM + 80), 3)
    for x in (x * 4.0 + _x(-half) for x in range(25)):
        s.line((x, _y(FILL_MM)), (x + 2.4, _y(FILL_MM)), width=THIN)


def _inside(s: Sheet) -> None:
    for side in (-1, 1):
        s.circle(_x(side * 80), _y(16), 1.8, "#000")
        s.circle(_x(side * 55), _y(16), 1.8, "#000")
        for height in (52, 72, 92, 112):
            s.circle(_x(side * 128), _y(height), 1.6)
    s.line((_x(-130), _y(34)), (_x(130), _y(34)), dash="1.5 1")
    for side in (-1, 1):
        s.line((_x(side * 42), _y(40)), (_x(side * 42), _y(104)), width=0.5)
    s.line((_x(0), _y(330)), (_x(0), _y(50)), width=0.7)
    s.line((_x(-30), _y(56)), (_x(30), _y(48)), width=0.7)
    s.line((_x(-30), _y(48)), (_x(30), _y(56)), width=0.7)
    s.box(_x(-22), _y(360), SCALE * 44, SCALE * 70)
    s.text(_x(0), _y(318), "M1", SMALL, "middle")
    s.box(_x(58) - 1, _y(300), 2, SCALE * (300 - TIP_MM))
    s.box(_x(-62) - 1, _y(300), 2, SCALE * (300 - TIP_MM))
    s.box(_x(112) - 1, _y(275), 2, SCALE * 250)
    s.line((_x(-112), _y(265)), (_x(-112), _y(SWITCH_MM)))
    s.box(_x(-112) - 2.5, _y(SWITCH_MM + 12), 5, SCALE * 24)
    s.line((_x(125), _y(HEIGHT_MM) - 3), (_x(125), _y(HEIGHT_MM) - 14), width=0.5)
    s.line((_x(135), _y(HEIGHT_MM) - 3), (_x(135), _y(HEIGHT_MM) - 14), width=0.5)
    s.line((_x(140), _y(6)), (_x(182), _y(6)), width=0.5)
    s.box(_x(182), _y(6) - 2, 5, 4)


def _stations(s: Sheet) -> None:
    for side in (-1, 1):
        x = _x(side * PITCH_MM)
        for rod in (-26, 26):
            s.line((x + SCALE * rod, _y(SEAT_MM)), (x + SCALE * rod, _y(SEAT_MM + ROD_MM)))
        s.box(x - 13, _y(SEAT_MM) - 0.8, 26, 1.6)
        s.box(x - 5, _y(SEAT_MM) + 0.8, 10, SCALE * 28)
        s.line((x, _y(SEAT_MM + 10)), (x, _y(SEAT_MM + ROD_MM)), width=0.5)
        s.box(x - 13, _y(SEAT_MM + ROD_MM) - 1.6, 26, 1.6)
        s.box(x - 3, _y(SEAT_MM + ROD_MM) - 17, 6, 15)


PARTS = (
    "vessel, stainless, insulated 30",
    "lid with vent, 30 bore",
    "perforated plate",
    "heater R1, under the plate",
    "cooling coil, open outlet",
    "stirrer M1 in its tube",
    "unit in its seat (stations 1 to 6)",
    "lift gauge on its bridge",
    "bath probe",
    "guard probe",
    "sensor of the cut-out S2",
    "level switch S3, at 80",
    "fill line, 130",
    "drain, with a cap",
    "drip tray, holds the whole fill",
)


def _names(s: Sheet) -> None:
    left, right = 16.0, 156.0
    half = INNER_MM / 2
    for number, at, to in (
        (1, (_x(half + 15), _y(190)), (right, 82.0)),
        (2, (_x(half - 12), _y(HEIGHT_MM) - 10), (right, 58.0)),
        (3, (_x(-120), _y(34)), (left, 134.0)),
        (4, (_x(-80), _y(16)), (left, 150.0)),
        (5, (_x(-128), _y(92)), (left, 112.0)),
        (6, (_x(42), _y(96)), (right, 124.0)),
        (7, (_x(PITCH_MM), _y(SEAT_MM - 14)), (right, 134.0)),
        (8, (_x(-PITCH_MM), _y(SEAT_MM + ROD_MM) - 10), (left, 40.0)),
        (9, (_x(58), _y(290)), (right, 34.0)),
        (10, (_x(-62), _y(290)), (left, 28.0)),
        (11, (_x(112), _y(268)), (right, 46.0)),
        (12, (_x(-112), _y(240)), (left, 56.0)),
        (13, (_x(100), _y(FILL_MM)), (right, 106.0)),
        (14, (_x(half + 25), _y(6)), (right, 150.0)),
        (15, (_x(-half - 40), 174), (left, 180.0)),
    ):
        s.balloon(at, to, number)
    for number, words in enumerate(PARTS):
        column, row = divmod(number, 8)
        x, y = 176 + 58 * column, 146 + 4.8 * row
        s.text(x, y, f"{number + 1}", SMALL, "end", bold=True)
        s.text(x + 2, y, words, SMALL)
    s.measure((_x(-half), 182), (_x(half), 182), f"{INNER_MM:g} inside")
    for height_mm, at_x in ((FILL_MM, _x(26)), (SEAT_MM, _x(-24))):
        s.measure((at_x, _y(height_mm)), (at_x, FLOOR_Y), f"{height_mm:g}")
    s.measure((_x(half) + 14, _y(HEIGHT_MM)), (_x(half) + 14, FLOOR_Y), f"{HEIGHT_MM:g}")
    s.text(
        14,
        193,
        "Probes, seats and float stand clear of coil and wall by 10. Probe tips at\n"
        "40: at the elements' foot, 40 under the level switch.",
        SMALL,
    )


def _plan(s: Sheet) -> None:
    s.text(PLAN_X - 62, 30, "From above, lid off", PLAIN, bold=True)
    s.circle(PLAN_X, PLAN_Y, SCALE * INNER_MM / 2)
    s.circle(PLAN_X, PLAN_Y, SCALE * 128, "none", dash="2 1")
    s.circle(PLAN_X, PLAN_Y, SCALE * 42)
    s.text(PLAN_X, PLAN_Y + 1, "stirrer", SMALL, "middle")
    for number in range(6):
        angle = math.radians(60 * number - 60)
        x = PLAN_X + SCALE * PITCH_MM * math.cos(angle)
        y = PLAN_Y + SCALE * PITCH_MM * math.sin(angle)
        s.circle(x, y, SCALE * 30)
        s.text(x, y + 1.5, str(number + 1), LARGE, "middle", bold=True)
    for number, degrees, to in (
        (9, -90, (PLAN_X, 26.0)),
        (10, 90, (PLAN_X, 137.0)),
        (11, 30, (PLAN_X + 54, 114.0)),
        (12, 150, (PLAN_X - 54, 114.0)),
        (2, -30, (PLAN_X + 54, 50.0)),
    ):
        angle = math.radians(degrees)
        radius = SCALE * (64 if abs(degrees) == 90 else 112)
        at = (PLAN_X + radius * math.cos(angle), PLAN_Y + radius * math.sin(angle))
        s.circle(*at, 1.4)
        s.balloon(at, to, number)
    s.text(PLAN_X - 62, 40, f"pitch circle\n{2 * PITCH_MM:g}", SMALL)


def station() -> str:
    """Return the drawing of one station with unit and gauge."""
    s = Sheet("6 of 6", "Station and gauge fixture", "One of six; dimensions in mm, not to scale.")
    s.text(14, 17, "Rods and push rod from one bar: they grow together", LARGE, bold=True)
    top, seat, axis = 66.0, 156.0, 92.0
    s.box(axis - 34, top - 4, 68, 4)
    s.hatch(axis - 34, top - 4, 68, 4, 2)
    s.line((axis - 46, 98), (axis - 30, 98), width=0.7)
    s.line((axis + 30, 98), (axis + 46, 98), width=0.7)
    for side in (-1, 1):
        s.box(axis + side * 25 - 1.5, top, 3, seat - top)
    s.box(axis - 30, seat, 60, 3)
    s.box(axis - 1.2, top + 4, 2.4, seat - top - 10)
    s.box(axis - 8, seat - 6, 16, 2)
    s.box(axis - 14, seat - 3, 28, 3)
    s.box(axis - 7, seat + 3, 14, 16)
    s.line((axis - 4, seat + 19), (axis - 4, seat + 22), (axis - 26, seat + 22), (axis - 26, 60))
    s.box(axis - 5, 30, 10, top - 34)
    s.line((axis, top - 4), (axis, top + 4), width=0.7)
    s.line((axis, 30), (axis, 26), (axis + 10, 26))
    for x in range(10):
        s.line((axis - 44 + 9 * x, 116), (axis - 39 + 9 * x, 116), width=THIN)
    for at, to, words in (
        (
            (axis + 3, 42),
            (140.0, 36.0),
            "lift gauge, 20 of travel; force 0.5 N or less; pre-load 0.4",
        ),
        (
            (axis + 20, top - 2),
            (140.0, 50.0),
            "bridge: stands on the vessel's rim on 3 points, not on the lid",
        ),
        ((axis + 1, 84), (140.0, 64.0), "push rod 4, ball end on the valve plate"),
        ((axis + 25, 90), (140.0, 78.0), "2 rods, 6; the lid has holes 2 clear of them"),
        ((axis + 40, 98), (140.0, 88.0), "lid"),
        ((axis + 36, 116), (140.0, 98.0), "fill line"),
        ((axis + 6, seat - 5), (140.0, 112.0), "valve plate; vent pin held clear of the push rod"),
        (
            (axis + 26, seat + 1.5),
            (140.0, 128.0),
            "seat ring with 3 clamps: takes the unit's flange",
        ),
        ((axis + 5, seat + 14), (140.0, 142.0), "element of the unit, 15 clear of its neighbours"),
        ((axis - 26, 70), (44.0, 62.0), "element\nlead, 4 wires\nto the plug"),
    ):
        s.leader(at, to, words)
    s.measure((50, top), (50, seat), f"{ROD_MM:g}", side=-1)
    s.text(
        14,
        188,
        f"Growth of {ROD_MM:g} mm over {SPAN_K:g} K: "
        + ", ".join(
            f"{name} {per_k * ROD_MM * SPAN_K:.2f} mm" for name, per_k in EXPANSION_PER_K.items()
        )
        + ".\nWhat is left of it a blank night measures: a solid bar in the unit's place.",
        SMALL,
    )
    return s.svg()

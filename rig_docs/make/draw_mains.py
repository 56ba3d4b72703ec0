"""The mains side: from the socket to heater, stirrer and supplies."""

from __future__ import annotations

from sheet import LARGE, PLAIN, SMALL, STEP, Path, Sheet, earth, link

TOP, BUS_L, BUS_N = 24.0, 66.0, 70.0
EARTH_Y = 170.0


def mains() -> str:
    """Return the drawing of the mains side."""
    s = Sheet("1 of 6", "Mains side", "One phase, 230 V shown; at 120 V see design calculations.")
    s.text(
        14,
        16,
        "Work here belongs to a licensed electrician. Isolate, lock off, prove dead.",
        LARGE,
        bold=True,
    )
    _supply(s)
    _heater(s)
    _stirrer(s)
    _supplies(s)
    _earth(s)
    return s.svg()


def _supply(s: Sheet) -> None:
    s.text(18, TOP + 1, "L", PLAIN, "middle", bold=True)
    s.text(30, TOP + 1, "N", PLAIN, "middle", bold=True)
    live, neutral = Path(s, 18, TOP + 3), Path(s, 30, TOP + 3)
    y = live.y
    live.contact(breaker=True)
    neutral.contact("F1  residual current\n30 mA, type A, 2-pole", breaker=True)
    link(s, (18, 30), y)
    # The controller's own supply is taken off here, ahead of the bench's isolator.
    y = live.y
    s.dot(18, y + 1)
    s.line((18, y + 1), (72, y + 1), (72, 36), (78, 36))
    s.dot(30, y + 4)
    s.line((30, y + 4), (78, y + 4))
    for path in (live, neutral):
        path.wire(6)
    y = live.y
    live.contact()
    neutral.contact("Q1  main isolator\nlockable, 2-pole, 25 A")
    link(s, (18, 30), y)
    live.to(BUS_L)
    neutral.to(BUS_N)
    s.line((18, BUS_L), (260, BUS_L), width=0.5)
    s.line((30, BUS_N), (264, BUS_N), width=0.5)
    s.labelled(78, 31, 46, 15, "F6 2 A, G3: controller 5 V\nSTAYS LIVE WITH Q1 OFF:\nmark it so")


def _branch(s: Sheet, x: float) -> tuple[Path, Path]:
    s.dot(x, BUS_L)
    s.dot(x + 12, BUS_N)
    live, neutral = Path(s, x, BUS_L), Path(s, x + 12, BUS_N)
    live.to(74)
    neutral.to(74)
    return live, neutral


def _two_pole(s: Sheet, live: Path, neutral: Path, words: str, breaker: bool = False) -> None:
    y = live.y
    live.contact(breaker=breaker)
    neutral.contact(words, breaker=breaker)
    link(s, (live.x, neutral.x), y)


def _heater(s: Sheet) -> None:
    live, neutral = _branch(s, 44)
    _two_pole(s, live, neutral, "F2  breaker 16 A, 2-pole", breaker=True)
    _two_pole(s, live, neutral, "K1  contactor, 2-pole, 25 A\nmirror contact: sheet 3")
    live.fuse()
    neutral.wire(STEP)
    s.text(60, live.y - 5, "F3  fast fuse for K2", SMALL)
    live.transistor()
    neutral.wire(STEP)
    s.text(60, live.y - 7, "K2  solid-state relay, zero-cross,\n40 A, on heat sink", SMALL)
    s.circle(live.x, live.y + 4, 3, "none")
    live.wire(8)
    neutral.wire(8)
    s.text(60, live.y - 4, "B1  current relay 0.5 A (heater live)", SMALL)
    _two_pole(s, live, neutral, "Q2  heater's own isolator, 2-pole")
    y = live.y
    s.line((44, y), (44, y + 5))
    s.line((56, y), (56, y + 5))
    s.labelled(41, y + 5, 18, 9, "R1 2 kW")
    s.text(62, y + 11, "bath heater, sheath earthed", SMALL)
    s.line((50, y + 14), (50, EARTH_Y), dash="2 1")


def _stirrer(s: Sheet) -> None:
    live, neutral = _branch(s, 126)
    _two_pole(s, live, neutral, "F4  breaker 6 A, 2-pole", breaker=True)
    live.contact()
    neutral.wire(STEP)
    s.text(142, live.y - 5, "K4  stirrer relay", SMALL)
    _two_pole(s, live, neutral, "Q3  switch at the drive")
    y = live.y
    s.line((126, y), (126, y + 10))
    s.line((138, y), (138, y + 10))
    s.circle(132, y + 12, 7)
    s.text(132, y + 13.2, "M1", PLAIN, "middle")
    s.text(
        142, y + 8, "stirrer drive,\nthermally protected;\nB2 rotation relay\non its shaft", SMALL
    )
    s.line((132, y + 19), (132, EARTH_Y), dash="2 1")


def _supplies(s: Sheet) -> None:
    for x, fuse, name, words in (
        (190, "F5  4 A", "G1", "24 V, 5 A: contactor chain,\nrelays, cooling valve"),
        (238, "F7  4 A", "G2", "18 V, 8 A: element channels\n(sheet 4)"),
    ):
        live, neutral = _branch(s, x)
        _two_pole(s, live, neutral, fuse, breaker=True)
        live.wire(6)
        neutral.wire(6)
        s.box(x - 4, live.y, 20, 14)
        s.line((x - 4, live.y + 14), (x + 16, live.y))
        s.text(x - 2, live.y + 5, "~", LARGE)
        s.text(x + 10, live.y + 12, "=", LARGE)
        s.text(x + 18, live.y + 8, name, PLAIN, bold=True)
        s.text(x - 4, live.y + 19, words, SMALL)
        s.line((x + 6, live.y + 14), (x + 6, live.y + 15.5))
    s.text(
        190,
        136,
        "G1, G2, G3: safety isolating supplies for protective\n"
        "extra-low voltage; all 0 V joined and earthed at\none point.",
        SMALL,
    )


def _earth(s: Sheet) -> None:
    s.line((18, EARTH_Y), (200, EARTH_Y), dash="2 1", width=0.5)
    s.text(14, EARTH_Y - 2, "PE", PLAIN, bold=True)
    for x, words in (
        (84, "vessel"),
        (104, "lid"),
        (120, "bridge"),
        (158, "housing"),
        (180, "coil"),
    ):
        s.dot(x, EARTH_Y)
        s.line((x, EARTH_Y), (x, EARTH_Y + 4))
        s.text(x, EARTH_Y + 8, words, SMALL, "middle")
    for x in (50, 132):
        s.dot(x, EARTH_Y)
    s.line((18, EARTH_Y), (18, EARTH_Y + 5))
    earth(s, 18, EARTH_Y + 5)
    s.text(
        14,
        196,
        "Contacts are drawn without power. Each metal part has its own earth wire to one "
        "bar; no part is earthed through another.",
        SMALL,
    )

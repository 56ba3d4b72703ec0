"""The contactor chain: what must be closed, without any software, before heat can flow."""

from __future__ import annotations

from sheet import LARGE, PLAIN, SMALL, Path, Sheet

PLUS_Y, ZERO_Y = 30.0, 166.0


def chain() -> str:
    """Return the drawing of the contactor chain."""
    s = Sheet("3 of 6", "Contactor chain", "24 V from G1, protective extra-low voltage.")
    s.text(
        14,
        17,
        "Every contact of path 1 opens the main contactor with the controller dead.",
        LARGE,
        bold=True,
    )
    for y, words in ((PLUS_Y, "+24 V"), (ZERO_Y, "0 V")):
        s.line((24, y), (222, y), width=0.5)
        s.text(12, y + 1, words, SMALL)
    end_y = _chain(s)
    _heat_users(s, end_y)
    _level(s)
    _others(s)
    _inputs(s)
    s.text(
        14,
        178,
        "K6 to K10 and V1 are driven by the controller. Path 1 passes with: no button "
        "pressed, cut-out reset by hand,\ncoolant over the switch, controller LIVE. Each driver "
        "is a transistor with a pull-down at its input: a reset, a\nloose wire or a dead "
        "controller is off. Each coil has its own suppression diode.\nK1 and K3 have mirror "
        "contacts (mechanically linked).",
        SMALL,
    )
    return s.svg()


def _chain(s: Sheet) -> float:
    path = Path(s, 34, PLUS_Y)
    path.fuse("F8  2 A")
    path.contact(
        "S1  emergency stop, every button in\nseries, locks in, positive opening", closed=True
    )
    path.contact(
        "S2  OVER-TEMPERATURE CUT-OUT\nown sensor in the bath, set 5 K above the\n"
        "guard limit, MANUAL RESET, opens when its\nsensor breaks",
        closed=True,
    )
    path.contact("K5  level relay, contact delayed:\nopens 2 s after the float has fallen")
    path.wire(2)
    y = path.y
    s.dot(34, y)
    path.contact("K6  contactor")
    path.to(ZERO_Y - 12)
    path.coil("K1  main\ncontactor")
    s.dot(34, PLUS_Y)
    s.dot(34, ZERO_Y)
    s.text(30, 25, "1", PLAIN, "middle", bold=True)
    return y


def _heat_users(s: Sheet, y: float) -> None:
    """Element feed and relay control take their current behind the chain as well."""
    s.line((34, y), (112, y))
    for number, (x, contact, coil) in enumerate(
        (
            (80, "K7  element\nfeed", "K3  element\nfeed contactor"),
            (
                112,
                "V1  heater: optocoupler,\n10 decisions a second",
                "K2  control of the\nsolid-state relay",
            ),
        ),
        start=2,
    ):
        path = Path(s, x, y)
        s.dot(x, y)
        if contact.startswith("V"):
            path.transistor(contact)
        else:
            path.contact(contact)
        path.to(ZERO_Y - 12)
        path.coil(coil)
        s.dot(x, ZERO_Y)
        s.text(x - 4, y - 2, str(number), PLAIN, "middle", bold=True)


def _level(s: Sheet) -> None:
    path = Path(s, 154, PLUS_Y)
    s.dot(154, PLUS_Y)
    s.text(150, 25, "4", PLAIN, "middle", bold=True)
    path.contact("S3  float switch:\nclosed while\ncovered")
    path.to(ZERO_Y - 12)
    path.coil("K5  level\nrelay")
    s.dot(154, ZERO_Y)


def _others(s: Sheet) -> None:
    for number, (x, words, coil) in enumerate(
        ((184, "K9\nstirrer", "K4  stirrer\nrelay"), (211, "K10\ncooling", "Y1  cooling\nvalve")),
        start=5,
    ):
        path = Path(s, x, PLUS_Y)
        s.dot(x, PLUS_Y)
        s.text(x - 4, 25, str(number), PLAIN, "middle", bold=True)
        path.contact(words)
        if coil.startswith("K4"):
            path.contact("S1, further\ncontact", closed=True)
        path.to(ZERO_Y - 12)
        path.coil(coil)
        s.dot(x, ZERO_Y)


def _inputs(s: Sheet) -> None:
    """The same parts' second contacts, to ground, are what the controller sees."""
    s.box(229, 52, 58, 82, dash="2 1")
    s.text(232, 58, "The controller sees (contacts to\nits ground):", SMALL, bold=True)
    rows = (
        ("emergency_stop_closed", "S1, second contact of each\nbutton, in series"),
        ("level_ok", "K5, contact without delay"),
        ("contactor_open", "K1, mirror contact: closed\nwhile the contactor is open"),
        ("heater_live", "B1: closed while heater\ncurrent flows"),
        ("stirrer_turning", "B2: closed while the shaft turns"),
    )
    for number, (name, words) in enumerate(rows):
        y = 70 + 13 * number
        s.text(232, y, name, SMALL, bold=True)
        s.text(235, y + 3.6, words, SMALL)

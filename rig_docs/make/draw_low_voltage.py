"""The low-voltage side: controller, converters, probes, gauges; and one element channel."""

from __future__ import annotations

from sheet import LARGE, PLAIN, SMALL, Path, Sheet


def low_voltage() -> str:
    """Return the drawing of controller and measuring parts."""
    s = Sheet("2 of 6", "Low-voltage side", "5 V from G3; RTD converters 3.3 V. Pins: pin_map.md.")
    s.text(14, 17, "Measuring and control: nothing here may reach mains", LARGE, bold=True)
    _controller(s)
    _bus(s)
    _probes(s)
    _gauges(s)
    s.text(
        14,
        178,
        "Decoder with active-low outputs: the number on its three lines is the part that "
        "is selected,\n7 is none; pull-ups on the three lines keep 7 through a reset. One bus, "
        "1 MHz, lines under 0.3 m.\nInputs: contact to ground, 1 kohm in series, 100 nF. "
        "Outputs: driver with a pull-down of 10 kohm.\nCable to the host: isolated USB or isolated "
        "serial, 115200 baud; its reset line is not connected.",
        SMALL,
    )
    return s.svg()


def _controller(s: Sheet) -> None:
    s.box(16, 28, 44, 136)
    s.text(38, 35, "Controller", PLAIN, "middle", bold=True)
    s.text(38, 39.5, "8-bit AVR, 5 V, 16 MHz", SMALL, "middle")
    for y, words in (
        (52, "select A, B, C"),
        (60, "clock"),
        (66, "data out"),
        (72, "data in"),
        (100, "5 inputs"),
        (116, "6 outputs"),
        (132, "station switch 1 to 6"),
        (150, "serial port"),
    ):
        s.text(58, y + 1, words, SMALL, "end")
    for y, words in (
        (
            100,
            "contacts, sheet 3: emergency_stop_closed, level_ok,\n"
            "contactor_open, heater_live, stirrer_turning",
        ),
        (
            116,
            "drivers, sheet 3: contactor, heater, element_feed,\n"
            "stirrer, cooling, horn (not on the small board)",
        ),
        (132, "station switches, sheet 4"),
        (150, "isolator, then the host"),
    ):
        s.line((60, y), (70, y))
        s.text(72, y + 1, words, SMALL)


def _bus(s: Sheet) -> None:
    s.labelled(70, 44, 20, 16, "decoder\n3 to 8")
    s.line((60, 52), (70, 52), width=0.7)
    s.text(65, 50.5, "3", SMALL, "middle")
    s.line((60, 60), (64, 60), (64, 69), (286, 69), width=0.7)
    s.line((60, 66), (64, 66))
    s.line((60, 72), (64, 72), (64, 69))
    s.text(68, 67.5, "SPI: clock, data out, data in", SMALL)
    s.line((90, 47), (270, 47))
    s.text(94, 45.5, "selects 0 to 5", SMALL)
    parts = (
        (112, "0  RTD\n3.3 V, bath"),
        (140, "1  RTD\n3.3 V, guard"),
        (168, "2  ADC\nlift"),
        (196, "3  ADC\ncurrent"),
        (224, "4  ADC\nvoltage"),
        (252, "5  DAC\nset-points"),
    )
    for x, words in parts:
        s.labelled(x, 51, 22, 14, words)
        s.line((x + 11, 47), (x + 11, 51))
        s.dot(x + 11, 47)
        s.line((x + 11, 65), (x + 11, 69))
        s.dot(x + 11, 69)
    s.box(109, 49.2, 56, 17.6, dash="1.5 1", fill="none")
    s.text(110, 36, "3.3 V behind a regulator; level\nshifters in, buffers out: wiring.md", SMALL)
    s.text(
        182,
        36,
        "current, voltage: channels 0 to 5 from sheet 4;\n"
        "7: 1/3 and 2/3 of the reference, from a SECOND one",
        SMALL,
    )
    s.text(256, 36, "channels 0 to 5\nto sheet 4", SMALL)


def _probes(s: Sheet) -> None:
    s.text(150, 80, "One of two probes: platinum, 100 ohm, 4 wires", PLAIN, bold=True)
    s.labelled(150, 84, 24, 30, "RTD\nconverter\n3.3 V\n\nRref 400\n(or 430) ohm\n0.1 %")
    for y, words in ((88, "F+"), (95, "S+"), (103, "S-"), (110, "F-")):
        s.line((174, y), (212, y))
        s.text(176, y - 1, words, SMALL)
    s.line((212, 88), (218, 88), (218, 93))
    s.line((212, 95), (215, 95), (215, 91), (218, 91))
    s.box(216.2, 93, 3.6, 11)
    s.line((218, 104), (218, 110), (212, 110))
    s.line((212, 103), (215, 103), (215, 107), (218, 107))
    s.dot(218, 91)
    s.dot(218, 107)
    s.box(184, 85.5, 26, 27, dash="1.5 1", fill="none")
    s.text(197, 101, "screened cable", SMALL, "middle")
    s.text(
        223,
        96,
        "sheath 6 mm, earthed;\nscreen earthed at the\nconverter only. 10 Mohm\n"
        "from S+ to the bias: a\nbroken S+ reads open.",
        SMALL,
    )


def _gauges(s: Sheet) -> None:
    s.text(150, 124, "One of six lift gauges: ratiometric, 20 mm", PLAIN, bold=True)
    s.labelled(150, 128, 24, 34, "ADC\nlift\n\nreference =\ngauge\nsupply")
    s.line((174, 132), (206, 132))
    s.line((174, 161), (206, 161))
    s.text(176, 131, "supply 5 V", SMALL)
    s.text(176, 160, "0 V", SMALL)
    s.box(204.2, 136, 3.6, 14)
    s.line((206, 132), (206, 136))
    s.line((206, 150), (206, 161))
    s.line((214, 143), (208, 143))
    s.line((210, 142), (208, 143), (210, 144))
    s.line((214, 143), (214, 154), (174, 154))
    s.text(176, 153, "channel n", SMALL)
    s.text(
        217,
        137,
        "slider; 1 Mohm to 0 V at\nthe ADC: an open wire\nleaves the window of\n41 to 4054 codes",
        SMALL,
    )
    s.line((206, 132), (254, 132), (254, 135))
    s.line((206, 161), (254, 161), (254, 155))
    s.box(252.2, 135, 3.6, 8)
    s.box(252.2, 147, 3.6, 8)
    s.line((254, 143), (254, 147))
    s.line((254, 145), (259, 145))
    s.dot(254, 145)
    s.text(261, 141, "channel 7:\ntwo equal\nresistors\n0.1 %, beside\nthe gauges", SMALL)


def element_channel() -> str:
    """Return the drawing of one element channel."""
    s = Sheet("4 of 6", "Element channel", "One of six (two on the small controller).")
    s.text(14, 17, "Energise an element only when it is immersed", LARGE, bold=True)
    path = Path(s, 60, 30)
    s.line((24, 30), (200, 30), width=0.5)
    s.text(12, 31, "+18 V", SMALL)
    s.dot(60, 30)
    path.contact("K3  element feed contactor, one for all stations (sheet 3)")
    path.wire(3)
    path.fuse("F11 to F16  2 A, one a station")
    path.wire(3)
    path.transistor("V11 to V16  station switch, high side")
    path.wire(6)
    y = path.y
    s.dot(60, y)
    path.wire(6)
    s.box(52, path.y - 2, 56, 16, dash="2 1", fill="none")
    path.resistor(
        "element heater 14 to 18 ohm,\nin the bath (commissioning:\ndummy load 10 to 20 ohm)"
    )
    path.wire(8)
    bottom = path.y
    s.dot(60, bottom)
    path.wire(4)
    path.transistor("V21 to V26  current sink,\non heat sink")
    path.wire(8)
    s.dot(60, path.y)
    sense = path.y
    path.resistor("R21 to R26  shunt 0.1 ohm,\n0.1 %, 4 wires")
    path.wire(6)
    s.line((24, path.y), (200, path.y), width=0.5)
    s.text(12, path.y + 1, "0 V", SMALL)
    s.dot(60, path.y)
    _sense(s, y, bottom, sense, path.y)
    _bypass(s, sense)
    s.text(
        14,
        184,
        "A short at the element is limited by the sink and switched off 0.8 s later "
        "by the controller;\nthe fuse is for a sink that fails short. Bypass: a plug for "
        "commissioning, removed otherwise.",
        SMALL,
    )
    return s.svg()


def _sense(s: Sheet, top: float, bottom: float, sense: float, zero: float) -> None:
    s.line((60, top), (132, top), (132, top + 4))
    s.line((60, bottom), (132, bottom), (132, bottom - 4))
    s.labelled(
        122,
        top + 4,
        60,
        bottom - top - 8,
        "voltage: difference amplifier 1 : 5,\ninput 50 kohm or more,\n"
        "5 mV at the terminals a code",
    )
    middle = (top + bottom) / 2
    s.line((182, middle), (214, middle))
    s.text(216, middle + 1, "ADC voltage, channel n", SMALL)
    s.labelled(122, bottom + 5, 60, 10, "error amplifier:\nset-point against current")
    s.line((182, bottom + 8), (214, bottom + 8))
    s.text(216, bottom + 9, "DAC, channel n: 0.5 mA a code", SMALL)
    s.line((122, bottom + 13.5), (114, bottom + 13.5), (114, bottom + 14.5), (64, bottom + 14.5))
    s.line((64, bottom + 14.5), (64, bottom + 12))
    s.line((60, sense), (118, sense), (118, sense + 8), (122, sense + 8))
    s.labelled(122, sense + 3, 60, zero - sense - 5, "current: amplifier x 20,\n0.5 mA a code")
    middle = (sense + zero) / 2 + 0.5
    s.line((182, middle), (214, middle))
    s.text(216, middle + 1, "ADC current, channel n", SMALL)
    s.line((192, middle), (192, bottom + 12), (182, bottom + 12))
    s.dot(192, middle)


def _bypass(s: Sheet, sense: float) -> None:
    s.dot(36, 30)
    path = Path(s, 36, 30)
    path.wire(24)
    path.resistor()
    path.wire(20)
    path.contact()
    path.to(sense)
    s.line((36, sense), (60, sense))
    s.text(14, 60, "R31 to R36\n47 ohm\n15 W", SMALL)
    s.text(14, 92, "bypass link,\na plug used\nat commis-\nsioning", SMALL)

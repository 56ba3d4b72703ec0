"""The pin map page, from the firmware's own tables: board.h and board_avr_pins.h."""

from __future__ import annotations

import re
from typing import NamedTuple

from controller_source import constant, constants, source
from page_table import table

# Silk-screen names of the two usual boards' headers by port and bit, from memory.
LARGE_BOARD = (
    {f"A{n}": f"D{22 + n}" for n in range(8)}
    | {f"C{n}": f"D{37 - n}" for n in range(8)}
    | {f"F{n}": f"A{n}" for n in range(8)}
    | {f"L{n}": f"D{49 - n}" for n in range(8)}
    | {"B0": "D53", "B1": "D52", "B2": "D51", "B3": "D50"}
)
SMALL_BOARD = (
    {f"D{n}": f"D{n}" for n in range(8)}
    | {f"B{n}": f"D{8 + n}" for n in range(6)}
    | {f"C{n}": f"A{n}" for n in range(6)}
)
BOARDS = {"atmega2560": LARGE_BOARD, "atmega328p": SMALL_BOARD}
OUTPUTS = ("contactor", "heater", "element_feed", "stirrer", "cooling", "horn")
INPUTS = ("level_ok", "stirrer_turning", "emergency_stop_closed", "heater_live", "contactor_open")
BUS = ("bus_select", "clock", "data_out", "data_in")
MEANING = {
    "contactor": "output: coil of the two-pole main contactor (K6)",
    "heater": "output: relay of the bath heater (V1)",
    "element_feed": "output: supply contactor of all elements (K7)",
    "stirrer": "output: motor relay (K9)",
    "cooling": "output: solenoid valve (K10)",
    "horn": "output: relay of the horn with its lamp (K11), while heat goes on with everything off",
    "level_ok": "input: float switch, closed = covered",
    "stirrer_turning": "input: rotation relay, closed = turning",
    "emergency_stop_closed": "input: loop through every stop button",
    "heater_live": "input: current relay behind the heater relay, closed = current",
    "contactor_open": "input: mirror contact, closed = contactor open",
    "bus_select": "must be an output; connected to nothing unless it serves a station",
    "clock": "SPI clock",
    "data_out": "SPI data to the parts",
    "data_in": "SPI data from the parts",
}


class Wire(NamedTuple):
    """One wire: its name in the firmware, port and bit, and the header's name of the pin."""

    name: str
    port: str
    header: str
    meaning: str


def wires(board: str) -> list[Wire]:
    """Return every wire of a board in the order of the firmware's PinMap."""
    table = re.search(rf"{board}_pins = \{{(.*?)\n\}};", source("board_avr_pins.h"), re.DOTALL)
    if table is None:
        raise LookupError(f"board_avr_pins.h has no table of the {board}")
    code = re.sub(r"//[^\n]*", "", table[1])
    pins = [port + bit for port, bit, _ in re.findall(r"\{'([A-L])', (\d)\}|(no_pin)", code)]
    stations = len(pins) - len(OUTPUTS) - len(INPUTS) - 3 - len(BUS)
    names = [*OUTPUTS, *INPUTS, *(f"select {c}" for c in "ABC"), *BUS]
    names += [f"station_switch {n}" for n in range(1, stations + 1)]
    there = [(name, pin) for name, pin in zip(names, pins, strict=True) if pin]
    return [Wire(name, pin, BOARDS[board][pin], _meaning(name)) for name, pin in there]


def _meaning(name: str) -> str:
    if name.startswith("select"):
        return f"decoder input {name[-1]}" + (", lowest" if name[-1] == "A" else "")
    if name.startswith("station"):
        return f"output: station switch {name[-1]}"
    return MEANING[name]


def chips() -> list[tuple[int, str, str]]:
    """Return number, name and remark of each part on the bus, in the order of board.h."""
    listed = re.search(r"enum class Chip : uint8_t \{(.*?)\};", source("board.h"), re.DOTALL)
    if listed is None:
        raise LookupError("board.h lists no parts on the bus")
    rows = re.findall(r"^\s*(\w+),?\s*// (.*)$", listed[1], re.MULTILINE)
    return [(number, name, remark.strip()) for number, (name, remark) in enumerate(rows)]


def page() -> str:
    """Return the whole page."""
    lines = [
        "# Pin map of the controller",
        "",
        "Generated from `firmware/rig_controller/board.h` and `board_avr_pins.h` by",
        "`rig_docs/make/book.py`; do not edit.",
        "",
        "Outputs are high = on, with a pull-down at the driver. Inputs are contacts to ground",
        "against the processor's pull-up, low = the wording of the name; a loose wire reads as",
        "level low, stirrer still, emergency stop pressed, heater dead, contactor closed. Ports",
        "and bits bind; the header's names are those of the usual boards (from memory). The",
        "ATmega328P has no pin left for a horn: there the host alone calls.",
    ]
    for board in BOARDS:
        lines += ["", f"## {board}", ""]
        rows = [(w.name, f"P{w.port}", w.header, w.meaning) for w in wires(board)]
        lines.append(table(("wire", "port", "header", "what"), rows))
    parts = [(str(number), name, remark) for number, name, remark in chips()]
    parts.append(("7", "none", "pull-ups on A, B, C keep it there through a reset"))
    lines += [
        "",
        "The serial port is the processor's first: PE0 and PE1 (D0, D1) on the ATmega2560,",
        "PD0 and PD1 (D0, D1) on the ATmega328P.",
        "",
        "## Parts on the bus",
        "",
        table(("select", "part", "remark"), parts),
        "",
        "The RTD converters are 3.3 V parts: level shifters on select, clock and data to them, a",
        "buffer on data from them, see [wiring](wiring.md#rtd-converters).",
        "",
        f"Channel {constant('board.h', 'reference_channel')} of each ADC carries its own code:",
        f"{', '.join(map(str, constants('board.h', 'reference_code')))}, in the order above",
        "(see [self-tests](self_tests.md)).",
        "",
    ]
    return "\n".join(lines)

"""The pages of warnings and trips, and the faults with pictures, against the sources."""

from __future__ import annotations

import ast
import re
import sys
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pytest

import proofbath
from proofbath.bench.preflight import check_cool, check_disk, check_rest
from proofbath.run.input_words import WORDS
from proofbath.run.reading import Reading
from proofbath.wire.table import STATIONS, State, TripReason
from proofbath.wire.trip_words import TRIP_WORDS, Clears
from proofbath.workshop.blocks import INFORMS

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "rig_docs"
HOST = Path(proofbath.__file__).parent
MAKE = str(DOCS / "make")
THINGS = WORDS.values()
SMALLEST_MM = 2.5
LARGEST_BYTES = 60_000


def page(name: str) -> str:
    return (DOCS / f"{name}.md").read_text(encoding="utf-8")


def part(text: str, heading: str) -> str:
    """Return a page's part below a heading, up to the next of its kind."""
    return text.split(f"\n## {heading}\n")[1].split("\n## ")[0]


def first_cells(text: str) -> list[str]:
    """Return the code in each table row's first cell."""
    return re.findall(r"^\| `(.+?)` \|", text, re.MULTILINE)


# ---- Trips ---------------------------------------------------------------------------------------


def test_what_a_boot_alone_clears_is_what_the_self_tests_say() -> None:
    by_boot = [r.name.lower() for r, words in TRIP_WORDS.items() if words.clears is Clears.BOOT]
    said = re.search(
        r"^`(\w+)` and `(\w+)` stand until the next boot", page("self_tests"), re.MULTILINE
    )
    assert said is not None
    assert sorted(by_boot) == sorted(said.groups())


# ---- Codes of the analysis -----------------------------------------------------------------------


def codes_in(name: str) -> set[str]:
    """Return the codes that a module of the curve room may warn of."""
    tree = ast.parse((HOST / "curve" / f"{name}.py").read_text(encoding="utf-8"))
    return {
        node.args[0].value
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Name)
        and node.func.id in ("Finding", "Warned")
        and node.args
        and isinstance(node.args[0], ast.Constant)
        and isinstance(node.args[0].value, str)
    }


def test_every_code_of_a_curve_has_a_row() -> None:
    modules = {path.stem for path in (HOST / "curve").glob("*.py")} - {"batch_trust"}
    wanted = set().union(*(codes_in(name) for name in modules))
    assert len(wanted) > 20
    assert sorted(first_cells(part(page("warnings"), "Of a curve"))) == sorted(wanted)


def test_what_a_code_means_for_the_certificate_is_said_rightly() -> None:
    rows = re.findall(
        r"^\| `(\w+)` \|[^|]+\|[^|]+\| (yes|no) \|", part(page("warnings"), "Of a curve"), re.M
    )
    assert len(rows) > 20
    assert {code for code, may in rows if may == "yes"} == INFORMS


def test_every_code_of_a_batch_has_a_row() -> None:
    rows = first_cells(part(page("warnings"), "Of a batch"))
    assert sorted(rows) == sorted(codes_in("batch_trust"))


def test_every_code_of_a_measurement_by_hand_has_a_row() -> None:
    """They are the keys of one table, told as `Warned` in a loop."""
    tree = ast.parse((HOST / "curve/hand_result.py").read_text(encoding="utf-8"))
    (function,) = (
        n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef) and n.name == "_warnings"
    )
    (table,) = (n for n in ast.walk(function) if isinstance(n, ast.Dict))
    wanted = [key.value for key in table.keys if isinstance(key, ast.Constant)]
    assert len(wanted) > 2
    assert first_cells(part(page("warnings"), "Of a measurement by hand")) == wanted


def test_what_a_code_spoils_is_said_rightly() -> None:
    """Where the source gives nothing or everything to spoil, the page says so."""
    trust = import_module("proofbath.curve.trust")
    text = (HOST / "curve/trust.py").read_text(encoding="utf-8")
    rows = dict(
        re.findall(
            r"^\| `(\w+)` \| [^|]+ \| ([^|]+) \|", part(page("warnings"), "Of a curve"), re.M
        )
    )
    for code, spoils in re.findall(r'Finding\("(\w+)", text(?: \+ "[^"]*")?(, ALL)?\)', text):
        assert (rows[code] == "everything") == bool(spoils), code
        if not spoils:
            assert rows[code].startswith("nothing"), code
    assert trust.ALL > trust.TEMPERATURES


# ---- Messages of plans, runs and checks ----------------------------------------------------------

MESSAGES = (
    *("faults", "check", "forecast", "heat_watch", "station_watch", "input_watch", "course"),
    *("execution", "in_turn", "sequencer", "one_at_a_time", "no_value"),
    *("elements", "feed_faults", "power_reach"),
)
NO_MESSAGE = {
    # parts of others
    *("bath's limit", "lowest cap of what hangs", "back to … °C, station …"),
    *("to_w = …", "element_a = …", "element_v = …"),
    *("… K/W, the type's", "… K/W, as none is given for the type"),
    *("level is low", "stirrer does not turn", "emergency stop is pressed"),
    *("heater takes current unasked", "elements are off during a pause"),
    *("bath went back … K while the link was down", "elements were off while the link was down"),
    "its wet check did not get its current",
    *("ready_by: the data", "cold_by: a cold bath", "…, station …", " to ", ", "),
    # told as what went well
    *("took … min, bath at … °C", "… steps, bath at … °C"),
    # states of a table
    *("all station switches open", "a switch closes, no current", "current flows"),
    *("current falls to zero", "a switch opens, no current"),
}


def _skeleton(node: ast.AST) -> str | None:
    """Return a text with "…" in the place of what is put in."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(
            v.value if isinstance(v, ast.Constant) and isinstance(v.value, str) else "…"
            for v in node.values
        )
    return None


def messages(name: str) -> Iterator[str]:
    """Yield every text with a space in a module of the run room, docstrings left out."""
    tree = ast.parse((HOST / "run" / f"{name}.py").read_text(encoding="utf-8"))
    inside: set[int] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr):
            inside.add(id(node.value))
        if isinstance(node, ast.JoinedStr):
            inside |= {id(value) for value in node.values}
    for node in ast.walk(tree):
        text = None if id(node) in inside else _skeleton(node)
        if text and " " in text and text not in NO_MESSAGE:
            yield text


def test_every_message_of_a_plan_or_a_run_has_a_row() -> None:
    text = page("warnings")
    rows = first_cells(part(text, "Of a plan, before any heat"))
    running = part(text, "While it runs")
    for block in ("told", "ended"):
        made = running.split(f"<!-- make {block} -->")[1].split("<!-- end -->")[0]
        running = running.replace(made, "")
    rows += first_cells(running)
    wanted = {message for name in MESSAGES for message in messages(name)}
    assert sorted(set(rows) - wanted) == [], "rows of messages that nothing says"
    assert sorted(wanted - set(rows)) == [], "messages without a row"
    assert len(rows) == len(set(rows))


def test_every_check_before_heat_has_a_row(tmp_path: Path) -> None:
    none = (0.0,) * STATIONS
    reading = Reading(
        *(0.0, 1, State.READY, TripReason.NONE, 20.0, 20.0, none, none, none),
        *(0.0, 0.0, (0,) * STATIONS, 0, 0, 0),
    )
    checks = [*check_rest([reading], [1]), check_cool(20.0, 90.0), check_disk(tmp_path, 1)]
    wanted = [check.what.replace("station 1", "station …") for check in checks]
    text = part(page("warnings"), "Of a bench at rest")
    assert sorted(first_cells(text)) == sorted(wanted)
    states = dict(re.findall(r"^\| `(.+?)` \| `(.+?)` \|", text, re.MULTILINE))
    assert states == {c.what: c.wanted for c in checks if c.what in {w.thing for w in THINGS}}


# ---- Faults with pictures ------------------------------------------------------------------------

FAULTS = (
    *("ramp_too_fast", "bubbles", "air", "gauge_sticking", "stuck", "wax_leak", "weak_spring"),
    *("vent_pin", "stratified", "probe", "hysteresis", "overheated", "over_stroke", "supply"),
)
"""What goes wrong in the trade, each with a signature of its own (common practice, no source)."""


def test_the_page_says_of_each_fault_what_a_run_says() -> None:
    """The nights are run again; codes, alarms and reasons must be those on the page."""
    before = set(sys.modules)
    sys.path.insert(0, MAKE)
    try:
        made = import_module("troubleshooting")
        text = page("troubleshooting")
        assert set(FAULTS) <= set(made.CASES)
        quiet = {"hysteresis", "supply"}
        for name in made.CASES:
            shown = text.split(f"<!-- make {name} -->")[1].split("<!-- end -->")[0]
            assert _gist(shown) == _gist(made.block(name)), name
            assert name in quiet or made.said(name), f"{name}: nothing was said of it"
    finally:
        sys.path.remove(MAKE)
        for name in set(sys.modules) - before:
            if str(getattr(sys.modules[name], "__file__", "")).startswith(MAKE):
                del sys.modules[name]


def _gist(block: str) -> str:
    """A block without its numbers, whose last digits another compiler may move."""
    return re.sub(r"\d+(\.\d+)?", "#", block).strip()


def test_every_case_is_read_by_its_picture_and_an_advice() -> None:
    text = page("troubleshooting")
    for section in text.split("\n## ")[1:]:
        assert re.search(r"\*\*You see\*\*", section), section[:40]
        assert re.search(r"!\[.+\]\(figures/\w+\.svg\)", section), section[:40]
        assert re.search(r"^\*\*Do\*\*", section, re.MULTILINE), section[:40]


@pytest.mark.parametrize("path", sorted((DOCS / "figures").glob("*.svg")), ids=lambda p: p.stem)
def test_picture_is_small_and_legible_in_black_and_white(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.encode()) <= LARGEST_BYTES
    shades = set(re.findall(r'(?:stroke|fill)="([^"]+)"', text))
    assert shades <= {"#000", "#fff", "none"}
    sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)"', text)]
    assert min(sizes) >= SMALLEST_MM
    looks = re.findall(r'<polyline[^>]*stroke-width="([\d.]+)"( stroke-dasharray="[^"]*")?', text)
    drawn = [look for look in looks if float(look[0]) >= 0.3]
    assert len(set(drawn)) == len(drawn) / 2, "each line has a look of its own, shown in the key"

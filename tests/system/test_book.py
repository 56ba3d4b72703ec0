"""The bench book: what it generates is current, its numbers are right, its drawings legible."""

from __future__ import annotations

import importlib
import json
import math
import re
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest
from click.testing import CliRunner

from proofbath.bench.interlocks import wanted_rows
from proofbath.cli.night import command as night
from proofbath.cli.virtual import command as virtual

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "rig_docs"
PAGES = (
    *("architecture", "build", "design_calculations", "first_power_up", "flashing", "method"),
    *("parts", "pin_map", "safety", "wiring"),
)
SVG = "{http://www.w3.org/2000/svg}"
SMALLEST_MM = 2.5
"""Height of letters that people read on paper: 7 point (common practice, no source)."""
LETTER_WIDTH = 0.62
"""Of a bold letter's height, on average and on the safe side, in a usual sans-serif face."""


@pytest.fixture(scope="module")
def make() -> Iterator[None]:
    """The generators on the path, gone again afterwards."""
    folder = DOCS / "make"
    names = {path.stem for path in folder.glob("*.py")}
    sys.path.insert(0, str(folder))
    yield
    sys.path.remove(str(folder))
    for name in names:
        sys.modules.pop(name, None)


@pytest.fixture(scope="module")
def design(make: None) -> ModuleType:
    return importlib.import_module("design")


def number(design: ModuleType, table: str, what: str, place: int = 0) -> float:
    """Return a number out of the row of a table whose name begins so."""
    row = next(row for row in design.TABLES[table]() if row.what.startswith(what))
    return float(re.findall(r"\d+(?:\.\d+)?", row.value)[place])


def test_everything_generated_is_as_the_sources_stand(make: None) -> None:
    """If this fails: python rig_docs/make/book.py"""
    wanted = importlib.import_module("book").wanted()
    stale = [path.name for path, text in wanted.items() if path.read_text("utf-8") != text]
    assert stale == []


def test_safety_page_lists_the_rows_of_the_commissioning() -> None:
    text = (DOCS / "safety.md").read_text(encoding="utf-8")
    block = text.split("<!-- make proofs -->")[1].split("<!-- end -->")[0]
    listed = [line.split("|")[1].strip() for line in block.strip().splitlines()[2:]]
    assert [name.replace("station n", "station 1") for name in listed] == wanted_rows([1])


@pytest.mark.parametrize("page", PAGES)
def test_every_page_cautions_and_its_links_lead_somewhere(page: str) -> None:
    text = (DOCS / f"{page}.md").read_text(encoding="utf-8")
    for target, anchor in re.findall(r"\]\(([^)#]*)(?:#([^)]*))?\)", text):
        path = DOCS / target if target else DOCS / f"{page}.md"
        assert path.exists(), target
        if anchor:
            heads = re.findall(r"^#+ (.*)$", path.read_text(encoding="utf-8"), re.MULTILINE)
            assert anchor in [
                re.sub(r"[^a-z0-9 -]", "", h.lower()).replace(" ", "-") for h in heads
            ]
    if page != "pin_map":
        assert re.search(r"^(> |## Cautions)", text, re.MULTILINE)


# ---- Drawings ------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", sorted((DOCS / "drawings").glob("*.svg")), ids=lambda p: p.stem)
def test_drawing_is_legible_in_black_and_white_on_a4(path: Path) -> None:
    root = ET.parse(path).getroot()
    assert (root.get("width"), root.get("height")) == ("297mm", "210mm")
    shades = {e.get(k) for e in root.iter() for k in ("stroke", "fill")} - {None}
    assert shades <= {"#000", "#fff", "none"}
    for element in root.iter():
        assert float(element.get("stroke-width") or 1) >= 0.18  # a hairline that copies
    boxes = [_extent(text) for text in root.iter(f"{SVG}text")]
    for left, top, right, bottom in boxes:
        assert 8 < left < right < 289, (left, right)
        assert 8 < top < bottom < 202
    overlapping = [(a, b) for i, a in enumerate(boxes) for b in boxes[i + 1 :] if _overlap(a, b)]
    assert overlapping == []


def _extent(text: ET.Element) -> tuple[float, float, float, float]:
    size = float(text.get("font-size") or 0)
    assert size >= SMALLEST_MM
    width = LETTER_WIDTH * size * len(text.text or "") * (1.0 if text.get("font-weight") else 0.82)
    x, y = float(text.get("x") or 0), float(text.get("y") or 0)
    left = {"start": x, "middle": x - width / 2, "end": x - width}[text.get("text-anchor") or ""]
    return left, y - 0.7 * size, left + width, y + 0.2 * size


def _overlap(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def test_every_reference_of_the_drawings_stands_in_the_parts_list() -> None:
    """A range such as "F4 to F7" names all between; station parts are listed by function."""
    parts = (DOCS / "parts.md").read_text(encoding="utf-8")
    listed = set(re.findall(r"\b[FGKQRSMVBY]\d{1,2}\b", parts))
    for kind, low, high in re.findall(r"\b([FK])(\d+) to \1(\d+)\b", parts):
        listed |= {f"{kind}{n}" for n in range(int(low), int(high) + 1)}
    drawn = set()
    for path in (DOCS / "drawings").glob("*.svg"):
        drawn |= set(re.findall(r"\b[FGKQRSMVBY]\d{1,2}\b", path.read_text(encoding="utf-8")))
    per_station = {name for name in drawn if name[0] in "FVR" and int(name[1:]) > 10}
    assert drawn - per_station <= listed


# ---- Pin map -------------------------------------------------------------------------------------


def test_pins_are_unique_and_named_as_the_boards_name_them(make: None) -> None:
    pin_map = importlib.import_module("pin_map")
    for board, wires in ((b, pin_map.wires(b)) for b in ("atmega2560", "atmega328p")):
        shared = [w.port for w in wires if w.name != "bus_select"]
        assert len(set(shared)) == len(shared), board
    assert len(pin_map.wires("atmega2560")) == 24
    assert len(pin_map.wires("atmega328p")) == 19
    assert [number for number, _, _ in pin_map.chips()] == [0, 1, 2, 3, 4, 5]


@pytest.mark.parametrize(("board", "variant"), [("atmega2560", "mega"), ("atmega328p", "standard")])
def test_headers_are_those_of_the_arduino_core(make: None, board: str, variant: str) -> None:
    """Order of the core's tables digital_pin_to_port_PGM and digital_pin_to_bit_mask_PGM."""
    core = Path(f"/usr/share/arduino/hardware/arduino/avr/variants/{variant}/pins_arduino.h")
    if not core.exists():
        pytest.skip("no arduino core; apt-get install arduino-core-avr")
    text = core.read_text(encoding="utf-8", errors="replace")

    def table(name: str) -> list[str]:
        block = re.search(rf"{name}\[\] = \{{(.*?)\}};", text, re.DOTALL)
        assert block is not None
        return re.findall(r"^\s*(P\w|_BV\(\s*\d\s*\))", re.sub(r"/\*.*?\*/", "", block[1]), re.M)

    ports, bits = table("digital_pin_to_port_PGM"), table("digital_pin_to_bit_mask_PGM")
    first_analog = len(ports) - (16 if board == "atmega2560" else 6)
    for wire in importlib.import_module("pin_map").wires(board):
        at = int(wire.header[1:]) + (first_analog if wire.header[0] == "A" else 0)
        assert ports[at] + re.sub(r"\D", "", bits[at]) == f"P{wire.port}", wire


# ---- Flashing ------------------------------------------------------------------------------------


@pytest.mark.parametrize("board", ["atmega2560", "atmega328p"])
def test_fuses_are_what_the_page_says(board: str) -> None:
    """avr-libc's own names of the fuse bits; programmed is 0."""
    compiler = shutil.which("avr-gcc")
    if compiler is None:
        pytest.skip("no avr-gcc; apt-get install gcc-avr avr-libc")
    high = "FUSE_SPIEN & FUSE_EESAVE"  # no BOOTRST, no debug port, no WDTON
    extended = "FUSE_BODLEVEL0 & FUSE_BODLEVEL1"  # 4.3 V
    source = (
        "#include <avr/io.h>\n"
        f'_Static_assert((unsigned char)({high}) == 0xD7, "high");\n'
        f'_Static_assert((unsigned char)({extended}) == 0xFC, "extended");\n'
    )
    command = [compiler, f"-mmcu={board}", "-x", "c", "-fsyntax-only", "-"]
    subprocess.run(command, input=source, text=True, check=True)
    page = (DOCS / "flashing.md").read_text(encoding="utf-8")
    assert page.count("-U lfuse:w:0xFF:m -U hfuse:w:0xD7:m -U efuse:w:0xFC:m") == 2


# ---- Design calculations -------------------------------------------------------------------------


def test_heater_and_cooling_by_hand(design: ModuleType) -> None:
    """(P - L) 60 / C; C = 8 x 3.82 + 0.4 = 30.96 kJ/K, L = 1.7 x 70 + 90 = 209 W at 90 °C."""
    assert number(design, "heater", "8 l (31", 1) == pytest.approx(
        (1500 - 209) * 60 / 30960, abs=0.06
    )
    assert number(design, "cooling", "8 l: heat") == pytest.approx(
        30960 / 60 - 1.7 * 52 - 90 * 34.0 / 70.1,
        abs=2.0,  # vapour pressures in kPa (IAPWS-IF97)
    )


def test_electrical_figures_by_hand(design: ModuleType) -> None:
    """Ohm's and Joule's laws with the numbers of the drawings."""
    assert number(design, "relay", "2 kW at 230 V") == pytest.approx(2000 / 230, abs=0.05)
    assert number(design, "channel", "shunt and") == pytest.approx(0.1 * 20)
    assert number(design, "channel", "heat of the shunt") == pytest.approx(1.5**2 * 0.1)
    hot = 15 * (1 + 4e-4 * 75)
    assert number(design, "channel", "compliance", 1) == pytest.approx(
        17.5 / (hot + 0.4), abs=0.005
    )
    assert number(design, "channel", "power in") == pytest.approx(0.81 * hot, abs=0.06)
    assert number(design, "channel", "bypass") == pytest.approx(18 / 47, abs=0.005)


def test_probe_figures_from_the_standards_table(design: ModuleType) -> None:
    """Resistances of IEC 60751:2022, table 1; codes are R / 400 ohm x 4 x 32768."""
    for at_c, ohm in ((0, 100.0), (82, 131.66), (100, 138.51), (125, 147.95)):
        row = f"at {at_c} °C"
        assert number(design, "probe", row) == pytest.approx(ohm, abs=0.006)
        assert number(design, "probe", row, 1) == pytest.approx(ohm / 400 * 131072, abs=2.0)
    assert number(design, "probe", "ceiling of the probes") == pytest.approx(125.0, abs=0.05)


def test_resolution_noise_and_evaporation_by_hand(design: ModuleType) -> None:
    assert number(design, "resolution", "lift") == pytest.approx(20e3 / 4095, abs=0.001)
    step_um = 20e3 / 4095 / math.sqrt(12)
    assert number(design, "noise", "lift") == pytest.approx(math.hypot(2, step_um) / 2, abs=0.01)
    lost_kg = 90 * 36000 / 2.283e6
    assert number(design, "evaporation", "water lost") == pytest.approx(lost_kg, abs=0.006)
    assert number(design, "evaporation", "fall of the level") == pytest.approx(
        lost_kg / (math.pi * 0.14**2), abs=0.6
    )
    assert number(design, "fixture", "190 mm of stainless", 0) == pytest.approx(
        17.3e-6 * 190 * 70, abs=0.001
    )


# ---- The method's worked example and the way by hand ---------------------------------------------


def test_worked_example_adds_up_on_paper() -> None:
    """JCGM 100:2008: eq. 10, Welch-Satterthwaite (G.2b), from the page's own printed table."""
    page = (DOCS / "method.md").read_text(encoding="utf-8")
    block = page.split("<!-- make budget -->")[1].split("<!-- end -->")[0]
    rows = [[cell.strip() for cell in line.split("|")[1:-1]] for line in block.splitlines()]
    shares = [
        (float(r[3]) / 1000, r[4]) for r in rows if len(r) == 5 and re.match(r"[\d.]+$", r[3])
    ]
    u_k = math.sqrt(sum(share**2 for share, _ in shares))
    spread = sum(share**4 / float(freedom) for share, freedom in shares if freedom != "∞")
    stated = re.search(r"u = ([\d.]+) K.*freedom (\d+), k = ([\d.]+), \*\*U = ([\d.]+) K", block)
    assert stated is not None
    assert float(stated[1]) == pytest.approx(u_k, abs=2e-4)
    assert float(stated[2]) == pytest.approx(u_k**4 / spread, abs=1.0)
    assert float(stated[3]) == pytest.approx(2.02, abs=0.01)  # t for 95 %, 40: GUM table G.2
    assert float(stated[4]) == pytest.approx(u_k * float(stated[3]), abs=0.006)
    value = re.search(r"zero rate: \*\*([\d.]+) °C.*true value: ([\d.]+) °C", block)
    assert value is not None
    assert abs(float(value[1]) - float(value[2])) < float(stated[4])


SHORT_NIGHT = """
[[station]]
station = 2
serial = "T82-0417"

[[station]]
station = 6
serial = "T82-REF"
role = "reference"
"""
STEP = """
[[step]]
{step}
cycle = {cycle}
purpose = "recorded"
"""


def test_start_to_open_is_recomputed_by_hand_from_raw_counts(make: None, tmp_path: Path) -> None:
    """Two cycles at two rates on the virtual bench; numpy alone must find the same numbers."""
    _run(virtual, "examples", str(tmp_path / "shop"))
    plan = (tmp_path / "shop/teal_82_plan.toml").read_text().split("[[station]]")[0]
    plan = plan.replace('profile = "plain-as-left"\n', "") + SHORT_NIGHT
    for cycle, rate in ((1, 1.5), (2, 0.75)):
        for step in (
            'kind = "soak"\nto_c = 71.0\nat_least_s = 120',
            f'kind = "ramp"\nto_c = 90.0\nrate_k_per_min = {rate}',
            'kind = "hold"\nfor_s = 200',
            'kind = "ramp"\nto_c = 71.0\nrate_k_per_min = 2.0',
        ):
            plan += STEP.format(step=step, cycle=cycle)
    (tmp_path / "plan.toml").write_text(plan)
    bench = (tmp_path / "shop/teal_82_batch.toml").read_text()
    bench = bench.replace("[virtual.bath]", "[virtual.bath]\nstart_c = 68.0")
    (tmp_path / "bench.toml").write_text(bench)
    out = tmp_path / "out"
    files = [str(tmp_path / "plan.toml"), "--bench", str(tmp_path / "bench.toml")]
    _run(night, *files, "--clear-trip", "--out", str(out), "--json")
    found = json.loads((out / "run-1.json").read_text())
    answers = importlib.import_module("by_hand").recompute(out / "journal.sqlite", found, 1)
    assert [answer["serial"] for answer in answers] == ["T82-0417", "T82-REF"]
    for answer in answers:
        assert len(answer["starts_c"]) == 2
        assert answer["starts_c"] == pytest.approx(answer["stated_starts_c"], abs=1e-9)
        assert answer["rates_k_per_min"] == pytest.approx(
            answer["stated_rates_k_per_min"], abs=1e-9
        )
        assert answer["zero_rate_c"] == pytest.approx(answer["stated_zero_rate_c"], abs=1e-9)
        assert answer["u_k"] == pytest.approx(answer["stated_u_k"], abs=1e-9)


def test_by_hand_needs_nothing_of_proofbath() -> None:
    text = (DOCS / "make/by_hand.py").read_text(encoding="utf-8")
    imported = set(re.findall(r"^(?:from|import) (\w+)", text, re.MULTILINE))
    assert imported - set(sys.stdlib_module_names) == {"numpy"}


def _run(command: object, *arguments: str) -> None:
    done = CliRunner().invoke(command, arguments, standalone_mode=False)  # type: ignore[arg-type]
    if done.exception is not None:
        raise done.exception

"""What the mutation benchmarks change, and that no module of the judging rooms is left out."""

from __future__ import annotations

import pytest

from benchmarks.firmware_mutants import CONTROLLER, FILES
from benchmarks.mutants import ROOT, Survivor, plan_of
from host.number_changes import level_changes, number_changes, steps

SOURCE = '''"""Ten (10) in a text is no number."""
LEAST, MOST = 0.25, 10
"""µm in a text shifts bytes from letters."""
class Limits:
    bath_c: Annotated[float, Field(ge=40, le=115)] = 108.0
    open = True
def limit(): return 7
'''


@pytest.mark.parametrize(
    ("number", "tried"),
    [
        (True, ["False"]),
        (1, ["2", "0"]),
        (9, ["10", "8"]),
        (40, ["44", "36"]),
        (0.5, ["0.55", "0.45"]),
        (0.0, ["0.1", "-0.1"]),
    ],
)
def test_a_number_is_tried_a_tenth_higher_and_lower(number: float, tried: list[str]) -> None:
    """By hand; a whole number moves by one at least."""
    assert steps(number) == tried


def test_numbers_of_assignments_are_changed_where_they_stand() -> None:
    found = number_changes(SOURCE)
    assert [change.name for change in found] == [
        *["(LEAST, MOST)"] * 4, *["bath_c"] * 6, "open",
    ]  # fmt: skip
    for change in found:
        before, after = SOURCE.splitlines(), change.within(SOURCE).splitlines()
        differ = [n for n, line in enumerate(before, 1) if line != after[n - 1]]
        assert differ == [change.line(SOURCE)]
    lines = [c.within(SOURCE).splitlines()[c.line(SOURCE) - 1].strip() for c in found]
    assert lines[2] == "LEAST, MOST = 0.25, 11"
    assert "    bath_c: Annotated[float, Field(ge=40, le=126)] = 108.0".strip() in lines
    assert lines[-1] == "open = False"


def test_levels_of_a_source_are_its_constexpr_numbers() -> None:
    source = """
constexpr uint16_t level_low_ms = 1000;  // 20 in a comment
static constexpr uint8_t ticks = 10;
constexpr uint16_t low = board::reference_code - 41;
constexpr uint8_t stations = 6;
constexpr wire::Board kind = wire::Board::native;
int other = 5;
"""
    found = level_changes(source)
    assert [(c.name, source[c.start : c.end], c.text) for c in found] == [
        ("level_low_ms", "1000", "1100"), ("level_low_ms", "1000", "900"),
        ("ticks", "10", "11"), ("ticks", "10", "9"),
        ("low", "41", "45"), ("low", "41", "37"),
    ]  # fmt: skip
    assert "level_low_ms = 1100;" in found[0].within(source)


def test_survivors_are_told_apart() -> None:
    assert Survivor("m", '-    x = f("low")\n+    x = f("XXlowXX")').kind() == "text"
    assert Survivor("m", "-    if a < 2:\n+    if a <= 2:").kind() == "logic"
    assert Survivor("m", '-    raise E("a")\n+    raise E(None)').kind() == "logic"
    assert Survivor("m", "-a\n+b", reached=False).kind() == "unreached"


def test_every_module_of_the_judging_rooms_has_its_tests() -> None:
    plan = plan_of("")
    planned = [module for modules in plan.values() for module in modules]
    assert len(planned) == len(set(planned))
    for room in ("run", "proof"):
        there = {f"{room}/{path.name}" for path in (ROOT / "host/proofbath" / room).glob("*.py")}
        assert there - {f"{room}/__init__.py"} <= set(planned)
    assert all(tests and all((ROOT / test).is_file() for test in tests) for tests in plan)
    assert all((ROOT / "host/proofbath" / module).is_file() for module in planned)
    assert [m for modules in plan_of("proof/verdict.py").values() for m in modules] == [
        "proof/verdict.py"
    ]
    assert plan_of("nowhere.py") == {}


def test_the_firmwares_levels_are_found() -> None:
    sources = [(ROOT / CONTROLLER / name).read_text() for name in FILES]
    levels = {change.name for source in sources for change in level_changes(source)}
    assert len(levels) >= 20

"""Tables at a narrow place: each figure stands whole in what is printed, in one line where it goes.

The width of 80 columns is a terminal's by default (ECMA-48 devices, common practice).
"""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from proofbath.cli.curve_tables import print_currents
from proofbath.cli.whole_table import Table
from proofbath.curve.current_rows import CurrentRow
from proofbath.curve.result import Electrical, HeaterStep
from proofbath.quantity.quantity import Quantity

AT_80 = "80"


def found(value: float, u: float) -> Quantity:
    return Quantity(value, u / 2, u, 2.0, 50.0, ())


def step(current_a: float, lift_mm: float) -> HeaterStep:
    took = Electrical(current_a, 12.0, 14.1, 15.1)
    lift = found(lift_mm, 0.16)
    return HeaterStep(
        0.0, 600.0, 95.0, 0.0, took, took, 0.1, {0.1: 129.0}, 458.0, 122.0, None, lift
    )


ROWS = [
    CurrentRow(0.0, 0.0, found(102.75, 0.29), found(110.31, 0.41), found(100.12, 0.43)),
    CurrentRow(
        *(0.5, 3.8, found(101.89, 10.33), found(102.34, 10.29), found(100.32, 10.36)),
        extrapolated=True,
    ),
    CurrentRow(0.75, 8.6, step=step(0.75, 12.0)),
    CurrentRow(0.95, 14.2, step=step(0.95, 11.14)),
]


def test_currents_at_80_columns_show_each_figure_in_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", AT_80)
    print_currents("H103-0219", ROWS)
    lines = capsys.readouterr().out.splitlines()
    assert max(map(len, lines)) <= 80
    assert "…" not in "".join(lines)
    for row in ROWS:
        begins = f"│ {row.element_a:.2f} │"
        shown = " ".join(line for line in lines if line.startswith(begins))
        for cell in filter(None, row.cells()):
            assert f" {cell} " in shown, cell


def rendered(table: Table, width: int) -> str:
    out = io.StringIO()
    Console(file=out, width=width, highlight=False).print(table)
    return out.getvalue()


def wide_table(columns: int) -> Table:
    table = Table(title="Six nights", title_justify="left")
    table.add_column("unit")
    for n in range(columns):
        table.add_column(f"night {n}", justify="right")
    table.add_row("H103-0207", *(f"10{n}.75 ± 0.29" for n in range(columns)))
    return table


@pytest.mark.parametrize("width", [200, 80, 60, 40, 24])
@pytest.mark.parametrize("columns", [2, 4, 6, 9])
def test_no_width_cuts_a_figure(columns: int, width: int) -> None:
    shown = rendered(wide_table(columns), width)
    words = shown.split()
    assert "…" not in shown
    assert max(map(len, shown.splitlines())) <= width
    assert words.count("H103-0207") == 1
    assert [word for word in words if word.startswith("10")] == [
        f"10{n}.75" for n in range(columns)
    ]
    assert words.count("0.29") == columns


def test_text_folds_before_figures_do() -> None:
    table = Table()
    table.add_column("unit")
    table.add_column("measured", justify="right")
    table.add_column("advice")
    table.add_row("H103-0207", "102.75 ± 0.29", "take it out of its seat and look at its cup " * 3)
    assert "│ 102.75 ± 0.29 │" in rendered(table, 60)

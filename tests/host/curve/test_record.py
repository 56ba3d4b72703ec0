"""Curve CSV: what passes, and one line for each thing that does not."""

from __future__ import annotations

import numpy as np
import pytest

from proofbath.curve.record import CurveRecord, parse_csv, to_csv
from proofbath.errors import InputError, RecordError

HEADER = "t_s,bath_c,lift_mm\n"


def rows(count: int = 30, first: int = 0) -> str:
    return "".join(f"{i},{20 + i / 10},{i / 100}\n" for i in range(first, first + count))


def test_a_record_survives_its_own_csv() -> None:
    t_s = np.arange(50) / 10
    record = CurveRecord(t_s, 80 + t_s, t_s / 7, t_s / 10, 12 + t_s)
    back = parse_csv(to_csv(record), "again")
    assert np.allclose(back.t_s, record.t_s, atol=1e-3)
    assert np.allclose(back.bath_c, record.bath_c, atol=1e-4)
    assert np.allclose(back.lift_mm, record.lift_mm, atol=1e-5)
    assert back.element_a is not None
    assert back.element_v is not None
    assert np.allclose(back.element_v, 12 + t_s, atol=1e-3)


def test_further_columns_quotes_empty_cells_and_windows_lines_pass() -> None:
    text = '\ufeff"t_s",note,bath_c,lift_mm\r\n' + "".join(
        f'{i},"a, b",80.{i},{"" if i == 3 else i}\r\n' for i in range(30)
    )
    record = parse_csv(text, "f.csv")
    assert len(record.t_s) == 30
    assert np.isnan(record.lift_mm[3])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"),
        ("\x00\x01\x02", "binary"),
        ("time,temp\n1,2\n", "no column t_s, bath_c, lift_mm"),
        ("t_s;bath_c;lift_mm\n1;2;3\n", "semicolons"),
        ("t_s,bath_c,lift_mm,t_s\n", "stands twice"),
        (HEADER + rows() + "30,x,1\n", "line 32: bath_c is not a number: 'x'"),
        (HEADER + "0,1,82,5,0,1\n" * 30, "line 2: decimal commas"),
        (HEADER + rows() + "30,1\n", "line 32: 2 cells, the header has 3"),
        (HEADER + rows() + "5,80,1\n", "line 32: time goes back, 5 s after 29 s"),
        (HEADER + rows() + "nan,80,1\n", "line 32: t_s is not a finite number"),
        (HEADER + rows() + "31,inf,1\n", "line 32: bath_c is not a finite number"),
        (HEADER + rows(10), "too short: 10 samples"),
        (HEADER, "too short: 0 samples"),
    ],
)
def test_bad_text_is_refused_in_one_line(text: str, said: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_csv(text, "f.csv")
    assert said in caught.value.faults[0]
    assert caught.value.faults[0].startswith("f.csv: ")
    assert all("\n" not in fault for fault in caught.value.faults)


def test_many_faults_are_one_line_each_and_end() -> None:
    with pytest.raises(InputError) as caught:
        parse_csv(HEADER + "0,1,x\n" * 1000, "f.csv")
    assert len(caught.value.faults) == 6


def test_arrays_that_do_not_fit_are_refused() -> None:
    t_s = np.arange(50.0)
    with pytest.raises(RecordError, match="another length"):
        CurveRecord(t_s, t_s, t_s[:-1])
    with pytest.raises(RecordError, match="time goes back at sample 50"):
        CurveRecord(np.append(t_s[:-1], 3.0), t_s, t_s)

"""The clock of a run in rows: it goes on over a wrap, and over a controller's new start."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from proofbath.bench.record import times_ms
from proofbath.store.row import ROW
from proofbath.wire.session import passed_ms
from proofbath.wire.table import U32


def rows(*clock: tuple[int, int, int]) -> np.ndarray:
    made = np.zeros(len(clock), ROW)
    for row, (boot_id, sequence, device_ms) in zip(made, clock, strict=True):
        row["boot_id"], row["sequence"], row["device_ms"] = boot_id, sequence, device_ms
    return made


def test_the_clock_goes_on_over_its_wrap() -> None:
    found = times_ms(rows((1, 7, U32 - 49), (1, 8, 50), (1, 9, 150)))
    assert np.diff(found).tolist() == [100, 100]


def test_a_new_boots_clock_goes_on_from_the_last_row() -> None:
    found = times_ms(rows((1, 70, 7000), (2, 3, 300), (2, 4, 400)))
    assert found.tolist() == [7000, 7300, 7400]


def test_a_virtual_bench_made_anew_has_no_new_boot_but_begins_again() -> None:
    found = times_ms(rows((1, 70, 7000), (1, 3, 300), (1, 4, 400)))
    assert found.tolist() == [7000, 7300, 7400]


@given(st.lists(st.tuples(st.integers(1, 200), st.integers(0, U32)), min_size=1, max_size=20))
def test_the_journal_tells_the_time_the_run_was_told(parts: list[tuple[int, int]]) -> None:
    """Whatever the clock says beside the sequence: one rule, for one sample and for many."""
    steps, clocks = zip(*parts, strict=True)
    sequences = np.cumsum(steps).tolist()
    told, before = [clocks[0]], clocks[0]
    for step, clock_ms in zip(steps[1:], clocks[1:], strict=True):
        told.append(told[-1] + passed_ms(step, clock_ms - before))
        before = clock_ms
    found = times_ms(rows(*((1, s, c) for s, c in zip(sequences, clocks, strict=True))))
    assert found.tolist() == told
    assert all(then >= now for now, then in pairwise(told))

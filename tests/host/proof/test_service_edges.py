"""Logs from an engine at the edges of what is believed, and what a drift over logs needs."""

from __future__ import annotations

import math

import numpy as np
import pytest

from proofbath.errors import InputError
from proofbath.proof.engine_log import EngineLog, read_log
from proofbath.proof.service import drift_text


def log(times: list[float], coolant_c: float = 90.0) -> str:
    return "t_s,coolant_c\n" + "".join(f"{t},{coolant_c}\n" for t in times)


def every(step_s: float, count: int) -> list[float]:
    return [n * step_s for n in range(count)]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (log([n * 600 / 18 for n in range(19)]), "19 samples of different times, at least 20"),
        (log([n * 600 / 19 for n in range(20)]), ""),
        (log([*every(10.0, 60), 599.0]), "599 s long, at least 600 s needed"),
        (log([*every(10.0, 60), 600.0]), ""),
        (log([100 + t for t in [*every(10.0, 60), 599.0]]), "599 s long"),
        (log(every(65.0, 60)), ""),
        (log(every(65.1, 60)), "a sample every 65 s, at most a minute apart"),
        (log(every(20.0, 60), -50.0), ""),
        (log(every(20.0, 60), -50.1), "coolant -50.1 °C, believable are -50 to 160 °C"),
        (log(every(20.0, 60), 160.0), ""),
        (log(every(20.0, 60), 160.1), "coolant 160.1 °C, believable are -50 to 160 °C"),
    ],
)
def test_a_log_is_long_dense_and_believable_enough(text: str, said: str) -> None:
    """20 samples, ten minutes, one in a minute: common practice, no source."""
    if not said:
        assert len(read_log(text, "log.csv").log.t_s) >= 20
        return
    with pytest.raises(InputError) as refused:
        read_log(text, "log.csv")
    assert said in str(refused.value)
    assert str(refused.value).startswith("log.csv: ")


def test_five_faults_are_told_and_no_more_and_empty_lines_are_none() -> None:
    with pytest.raises(InputError) as refused:
        read_log("t_s,coolant_c\n" + "x,y\n" * 9, "log.csv")
    assert len(refused.value.faults) == 5
    lines = log(every(20.0, 60)).replace("20.0,90.0", "\n20.0,90.0", 1)
    assert len(read_log(lines, "log.csv").log.t_s) == 60
    assert len(read_log("\ufeff" + lines, "log.csv").log.t_s) == 60


@pytest.mark.parametrize(
    ("interval_s", "gap_s", "bridged"),
    [(1.0, 60.0, True), (1.0, 61.0, False), (20.0, 100.0, True), (20.0, 101.0, False)],
)
def test_a_gap_of_a_minute_or_five_intervals_is_bridged(
    interval_s: float, gap_s: float, bridged: bool
) -> None:
    before = np.array(every(interval_s, 40))
    t_s = np.concatenate([before, before[-1] + gap_s + np.array(every(interval_s, 40))])
    grid = EngineLog(t_s, np.full(80, 90.0)).on_grid()
    assert bool(np.isfinite(grid.coolant_c).all()) is bridged
    assert math.isclose(float(np.nanmean(grid.coolant_c)), 90.0)


def test_a_drift_says_what_it_may_mean() -> None:
    """Wax that is lost opens hotter; a valve that stays open runs colder."""
    assert "it may lose wax" in drift_text(0.5, "K/h")
    assert "it may not close fully" in drift_text(-0.5, "K/h")
    assert "drifts slowly by +0.5 K/h" in drift_text(0.5, "K/h")

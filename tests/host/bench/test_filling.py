"""The level switch proven at a filling: what is watched, what is kept, what it allows."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from host.bench.nights import BENCH, bench_file
from proofbath.bench.filling import prove_filling
from proofbath.bench.filling_record import Filling, filling_path, load_filling, save_filling
from proofbath.bench.person import Act
from proofbath.errors import BenchFaultError, InputError, RecordError

AT = "2031-03-01T18:00:00+00:00"
NOW = "2031-03-20T18:00:00+00:00"
FILLING = Filling(
    bench="quay", virtual=False, serial_number=7, litres=8.0, low_s=2.0, right_s=5.0,
    at=AT, person="Ada Quay",
)  # fmt: skip


class Onlooker:
    """Is only told what the virtual person does."""

    def __init__(self) -> None:
        self.told: list[str] = []

    def tell(self, text: str) -> None:
        self.told.append(text)

    def wait(self, text: str) -> None:
        raise AssertionError(text)

    def act(self, act: Act) -> None:
        raise AssertionError(act)

    def agrees(self, question: str) -> bool:
        raise AssertionError(question)

    def reads(self, what: str, wanted: str) -> str:
        raise AssertionError(what)


def filled(path: Path, bench: str = BENCH, litres: float = 8.0) -> Filling:
    return prove_filling(bench_file(bench), path, Onlooker(), "Ada Quay", litres, lambda: AT)


def test_a_float_that_falls_and_rises_is_kept_with_its_litres(tmp_path: Path) -> None:
    path = filling_path(tmp_path / "quay.toml")
    kept = filled(path)
    assert load_filling(path) == kept
    assert (kept.litres, kept.person, kept.at, kept.virtual) == (8.0, "Ada Quay", AT, True)
    assert kept.low_s >= 2.0
    assert kept.right_s >= 5.0


def test_a_float_that_stays_low_proves_nothing(tmp_path: Path) -> None:
    dry = BENCH + '[[virtual.fault]]\nkind = "level_low"\n'
    path = tmp_path / "quay.filling.json"
    with pytest.raises(BenchFaultError, match="still reads low after 60 min"):
        filled(path, dry)
    assert load_filling(path) is None


def test_a_hot_bath_is_not_filled(tmp_path: Path) -> None:
    hot = BENCH.replace("seed = 3", "seed = 3\nbath.start_c = 60.0")
    with pytest.raises(BenchFaultError, match="let it cool first"):
        filled(tmp_path / "f.json", hot)


def test_litres_no_bath_holds_are_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="60 l at most"):
        filled(tmp_path / "f.json", litres=80.0)


def test_a_changed_record_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "f.json"
    save_filling(path, FILLING)
    path.write_text(path.read_text().replace("8.0", "9.0"))
    with pytest.raises(RecordError, match="prove the level switch again"):
        load_filling(path)


def test_a_record_holds_for_its_bath_its_filling_and_a_month() -> None:
    def fault(
        bench: str = "quay", fill_l: float = 8.0, on: dt.date | None = None, now: str = NOW
    ) -> str:
        return FILLING.fault(bench, fill_l, on, now)

    assert fault() == ""
    assert fault(on=dt.date(2031, 3, 1)) == ""
    assert "filled on 2031-03-02" in fault(on=dt.date(2031, 3, 2))
    assert "the bench file says 12.0 l" in fault(fill_l=12.0)
    assert "not on pier" in fault(bench="pier")
    # From 1 March 18:00 a month of 31 days ends on 1 April 18:00.
    assert fault(now="2031-04-01T17:00:00+00:00") == ""
    assert "32 days ago, limit 31" in fault(now="2031-04-02T18:00:00+00:00")

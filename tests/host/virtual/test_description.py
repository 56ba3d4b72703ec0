"""Descriptions of a virtual bench: every mistake at once with its place, every field accepted."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from proofbath.bench.description import BenchFile
from proofbath.description import parse_toml
from proofbath.errors import BenchFaultError, InputError
from proofbath.virtual.description import (
    FAULTS_MAX,
    VirtualFault,
    VirtualSection,
    VirtualStation,
    VirtualUnit,
)
from proofbath.virtual.native import fault_kinds, keys, library
from proofbath.virtual.plant import Drive, VirtualPlant
from proofbath.virtual.truth import rising_c
from proofbath.wire.table import STATIONS

WRONG = """
seed = -1
[bath]
fill_l = 800
fil_l = 8
[bath_probe]
lag_s = "slow"
[[unit]]
serial = "-"
station = 7
[[unit]]
serial = "T82-0413"
station = 2
wax_mg = nan
[[fault]]
kind = "gauge_opened"
station = 2
[[fault]]
kind = "level_low"
station = 2
"""


def every_field() -> VirtualSection:
    numbers = range(1, STATIONS + 1)
    return VirtualSection(
        station=tuple(VirtualStation(station=n) for n in numbers),
        unit=tuple(VirtualUnit(serial=f"T82-{n}", station=n) for n in numbers),
    )


def nudge(value: Any) -> Any:
    """Every float a little larger, through tables and lists."""
    if isinstance(value, dict):
        return {k: nudge(v) for k, v in value.items()}
    if isinstance(value, tuple):
        return tuple(nudge(v) for v in value)
    return value + 0.0007 if isinstance(value, float) else value


def faults_of(text: str) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        parse_toml(text, VirtualSection, "bench.toml")
    return caught.value.faults


def test_all_mistakes_are_listed_with_their_place() -> None:
    faults = faults_of(WRONG)
    places = ["seed", "bath.fill_l", "bath.fil_l", "bath_probe.lag_s", "unit[1].serial"]
    places += ["unit[1].station", "unit[2].wax_mg", "fault[1]", "fault[2]"]
    for place in places:
        assert any(f.startswith(f"bench.toml: {place}:") for f in faults), (place, faults)
    assert len(faults) == len(places)
    assert any("did you mean 'fill_l'?" in f for f in faults)
    assert any("gauge_open," in f for f in faults)
    assert any("level_low takes no station" in f for f in faults)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[station]]\nstation=2\n" * 2, "station 2 is described twice"),
        ('[[unit]]\nserial="A"\nstation=2\n[[unit]]\nserial="B"\nstation=2', "holds two units"),
        ('[[unit]]\nserial="A"\nstation=2\n[[unit]]\nserial="A"\nstation=3', "A stands twice"),
        ('[[station]]\nstation=2\nblank=true\n[[unit]]\nserial="A"\nstation=2', "holds a blank"),
        ('[[fault]]\nkind="bubbles"\nstation=1', "needs a size: mm of the largest bubble"),
        ('[[fault]]\nkind="level_low"\nsize=1.0', "takes no size"),
        ('[[fault]]\nkind="gauge_open"', "needs a station"),
        ('[[fault]]\nkind="level_low"\nat_s=9\nuntil_s=9', "must be after"),
        ('[[fault]]\nkind="level_low"\n' * (FAULTS_MAX + 1), f"at most {FAULTS_MAX} items"),
    ],
)
def test_what_does_not_fit_together_is_refused(text: str, said: str) -> None:
    assert any(said in fault for fault in faults_of(text))


def test_description_names_every_parameter_of_the_plant_and_no_other() -> None:
    described = [key for key, _ in every_field().parameters()]
    assert sorted(described) == sorted(keys())


def test_defaults_are_those_of_the_plant() -> None:
    plain = VirtualPlant(VirtualSection())
    for key, value in every_field().parameters():
        if not key.endswith(".present"):
            assert plain.get(key) == value, key


def test_plant_takes_every_field() -> None:
    """Each value moved off its default arrives where its name says."""
    section = VirtualSection.model_validate(nudge(every_field().model_dump()))
    plant = VirtualPlant(section)
    for key, value in section.parameters():
        assert plant.get(key) == value, key


def test_plant_takes_as_many_faults_as_a_description_may_hold() -> None:
    """Each has half a second of its own: the last one counts like the first."""
    faults = [VirtualFault(kind="level_low", at_s=n, until_s=n + 0.5) for n in range(FAULTS_MAX)]
    plant = VirtualPlant(VirtualSection(fault=tuple(faults)))
    plant.advance(0.25, Drive())
    seen = [plant.advance(0.5, Drive()).level_ok for _ in range(2 * FAULTS_MAX)]
    assert seen == [True, False] * (FAULTS_MAX - 1) + [True, True]
    with pytest.raises(ValidationError, match="fault"):
        VirtualSection(fault=(*faults, faults[0]))


def test_fault_kinds_say_what_they_need() -> None:
    assert fault_kinds()["gauge_sticking"].at_station
    assert fault_kinds()["gauge_sticking"].size.startswith("mm ")
    assert not fault_kinds()["heater_welded"].at_station


def test_missing_or_foreign_library_is_named_with_the_way_out(tmp_path: Path) -> None:
    with pytest.raises(BenchFaultError, match=r"build_hook\.py"):
        library(tmp_path / "libproofbath.so")
    foreign = tmp_path / "foreign.so"
    foreign.write_bytes(b"not a library")
    with pytest.raises(BenchFaultError, match="does not load"):
        library(foreign)


@pytest.mark.parametrize(("name", "start_c"), [("teal_82_batch", 82), ("heron_103_batch", 103)])
def test_examples_are_bench_files_with_five_units_and_a_reference(name: str, start_c: int) -> None:
    """Nominal start-to-open of the two demonstration types (their design values)."""
    text = (files("proofbath.virtual") / "examples" / f"{name}.toml").read_text("utf-8")
    bench = parse_toml(text, BenchFile, name)
    assert bench.coolant.glycol == "propylene"  # the book's safety page
    virtual = bench.virtual
    assert virtual is not None
    assert [u.station for u in virtual.unit] == [1, 2, 3, 4, 5, 6]
    starts = [rising_c(u, 0.1) for u in virtual.unit]
    typical = sorted(c for c in starts[:5] if c is not None)[2]
    assert typical == pytest.approx(start_c, abs=1.0)
    assert starts[5] == pytest.approx(82.0, abs=0.5)

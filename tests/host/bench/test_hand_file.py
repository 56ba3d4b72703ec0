"""The files of a hand measurement: nothing typed is lost, nothing typed is rubbed out."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from host.bench.hand_pot import COARSE_C, rise, setup, straight
from proofbath.bench.hand_file import HandFile, HandNotes, load_notes, save_notes
from proofbath.curve.hand_instruments import Heater
from proofbath.curve.hand_record import HandPoint, read_points
from proofbath.curve.record import parse_csv
from proofbath.errors import InputError, RecordError

BEGAN = "2025-10-01T08:00:00+00:00"


def begun(path: Path, heater: Heater | None = None) -> HandFile:
    return HandFile.begin(path, HandNotes(began=BEGAN, setup=setup(heater=heater)))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "pot.csv"


def test_each_reading_is_in_the_file_before_the_next(path: Path) -> None:
    file = begun(path, Heater())
    points = rise(straight(82.0, 0.25), COARSE_C, element_a=0.8, element_v=12.2)
    for count, point in enumerate(points, start=1):
        file.add(point)
        assert read_points(path.read_text(), "pot") == points[:count]


def test_the_file_is_a_curve_csv(path: Path) -> None:
    """Read by the reader of curves, which wants twenty samples; a missing lift is a NaN."""
    file = begun(path)
    file.add(HandPoint(0.0, 70.0, math.nan))
    for point in rise(straight(75.0), [70.5 + 0.5 * n for n in range(20)], begins_s=30.0):
        file.add(point)
    record = parse_csv(path.read_text(), "pot")
    assert len(record.t_s) == 21
    assert record.bath_c[:3].tolist() == [70.0, 70.5, 71.0]
    assert math.isnan(record.lift_mm[0])
    assert record.lift_mm[-1] == pytest.approx(1.5)


def test_what_was_taken_back_stays_in_the_file(path: Path) -> None:
    file = begun(path)
    for point in rise(straight(82.0), [70.0, 72.0, 74.0]):
        file.add(point)
    before = path.read_bytes()
    taken = file.take_back(200.0)
    assert taken is not None
    assert taken.bath_c == 74.0
    assert path.read_bytes().startswith(before), "only ever added to"
    assert [p.bath_c for p in read_points(path.read_text(), "pot")] == [70.0, 72.0]
    file.take_back(201.0)
    file.add(HandPoint(210.0, 73.0, 0.0))
    file.take_back(220.0)
    assert [p.bath_c for p in read_points(path.read_text(), "pot")] == [70.0]
    file.take_back(221.0)
    assert file.take_back(222.0) is None


@pytest.mark.parametrize("cut", [1, 4, 9])
def test_a_row_torn_by_a_power_cut_is_left_out(path: Path, cut: int) -> None:
    file = begun(path)
    for point in rise(straight(82.0), [70.0, 72.0, 74.0]):
        file.add(point)
    path.write_bytes(path.read_bytes()[:-cut])
    again = HandFile.go_on(path)
    assert [p.bath_c for p in again.points] == [70.0, 72.0]
    again.add(HandPoint(300.0, 75.0, 0.0))
    assert [p.bath_c for p in read_points(path.read_text(), "pot")] == [70.0, 72.0, 75.0]


def test_time_goes_on_from_the_beginning(path: Path) -> None:
    file = begun(path)
    file.add(HandPoint(90.0, 70.0, 0.0))
    assert HandFile.go_on(path).passed_s("2025-10-01T08:10:00+00:00") == 600.0
    assert file.passed_s("2025-10-01T07:00:00+00:00") == 90.0, "a clock set back"


def test_the_notes_are_kept_whole_with_the_result(path: Path) -> None:
    file = begun(path)
    file.end({"kind": "hand measured"})
    notes = load_notes(path)
    assert notes is not None
    assert (notes.result, notes.setup) == ({"kind": "hand measured"}, setup())
    assert [p.name for p in path.parent.iterdir() if p.name.startswith(".")] == []
    with pytest.raises(InputError, match="has ended"):
        HandFile.go_on(path)


def test_no_file_takes_the_place_of_another(path: Path) -> None:
    begun(path)
    with pytest.raises(InputError, match="exists already"):
        begun(path)
    with pytest.raises(InputError, match="must end in"):
        begun(path.with_suffix(".txt"))
    with pytest.raises(InputError, match="was not begun here"):
        HandFile.go_on(path.with_name("other.csv"))
    with pytest.raises(InputError, match="no such folder"):
        begun(path.parent / "nowhere" / "pot.csv")


def test_damaged_notes_are_refused(path: Path) -> None:
    begun(path)
    path.with_suffix(".json").write_text("{")
    with pytest.raises(RecordError, match="is damaged"):
        load_notes(path)
    with pytest.raises(InputError, match="cannot be written"):
        save_notes(path.parent / "nowhere" / "pot.csv", HandNotes(began=BEGAN, setup=setup()))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "line 1: no column t_s, bath_c, lift_mm"),
        ("t_s bath_c lift_mm\n", "parted by commas or semicolons"),
        ("t_s,bath_c,lift_mm\n", "holds no reading; write one a line"),
        ("t_s;bath_c;lift_mm\n", "holds no reading; write one a line"),
        ("t_s,bath_c,lift_mm,element_v\n0,70,0,7.6\n", "no column element_a"),
        ("t_s,bath_c,lift_mm,element_a,element_v\n0,70,0,,7.6\n", "element_v without element_a"),
        ("t_s,bath_c,lift_mm\n0,70,0\n60,72,5,0,1\n", "line 3: 3 cells are needed"),
        ("t_s,bath_c,lift_mm\n0,hot,0\n", "line 2: bath_c is not a number: 'hot'"),
        ("t_s,bath_c,lift_mm\n,70,0\n", "line 2: t_s is missing"),
        ("t_s,bath_c,lift_mm\n0,,0\n", "line 2: the temperature is missing"),
        ("t_s,bath_c,lift_mm\n0,700,0\n", "line 2: temperature 700 °C, possible are -10 to 130"),
        ("t_s,bath_c,lift_mm\n0,70,inf\n", "line 2: lift_mm is not a number: 'inf'"),
        ("t_s,bath_c,lift_mm\n9,70,0\n5,71,0\n", "time goes back, 5 s after 9 s"),
        ("t_s,bath_c,lift_mm,element_a\n0,70,0,16\n", "line 2: element 16 A, possible are 0 to"),
        ("t_s,bath_c,lift_mm,taken_back\n0,70,0,\n5,,,2\n", "line 3: taken_back '2' is no reading"),
    ],
)
def test_a_written_file_is_refused_in_one_line(text: str, words: str) -> None:
    with pytest.raises(InputError) as refused:
        read_points(text, "paper.csv")
    assert len(refused.value.faults) == 1
    assert words in refused.value.faults[0]


def test_all_faults_of_a_written_file_are_found_in_one_pass() -> None:
    with pytest.raises(InputError) as refused:
        read_points("t_s,bath_c,lift_mm\n0,a,0\n5,71,b\n3,900,0\n", "paper.csv")
    assert len(refused.value.faults) == 3


def test_a_table_parted_by_semicolons_is_read_with_its_decimal_commas() -> None:
    """As a spreadsheet writes it where the comma is the decimal sign."""
    text = "t_s;bath_c;lift_mm;element_a;element_v\n0;70,5;41,30;0;\n60;72;;0,5;7,6\n"
    first, second = read_points(text, "paper.csv")
    assert (first.bath_c, first.lift_mm, first.element_a) == (70.5, 41.3, 0.0)
    assert (second.element_a, second.element_v) == (0.5, 7.6)
    assert math.isnan(second.lift_mm)


def test_a_heated_file_needs_its_currents() -> None:
    with pytest.raises(InputError, match="no column element_a"):
        read_points("t_s,bath_c,lift_mm\n0,70,0\n", "paper.csv", heated=True)

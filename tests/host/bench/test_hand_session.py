"""The led measurement: what a person types, what is kept of it, and when the heater goes off."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import pytest

from host.bench.fake_supply import FakeSupply
from host.bench.hand_pot import ScriptedPerson, setup
from proofbath.bench.clock import monotonic_s
from proofbath.bench.hand_file import HandFile, HandNotes
from proofbath.bench.hand_heater import SWITCH_OFF, HandHeater, HandSupply, SetByHand, SetByScpi
from proofbath.bench.hand_session import HandSession, caution
from proofbath.bench.hand_typed import parse_reading
from proofbath.bench.hand_words import CAUTIONS, USUAL_ERRORS
from proofbath.bench.scpi_worker import SupplyWorker
from proofbath.bench.stream import open_stream
from proofbath.curve.hand_instruments import Heater
from proofbath.errors import BenchFaultError, InputError

BEGAN = "2025-10-01T08:00:00+00:00"


@pytest.fixture
def file(tmp_path: Path) -> HandFile:
    made = setup(heater=Heater())
    return HandFile.begin(tmp_path / "pot.csv", HandNotes(began=BEGAN, setup=made))


def led(file: HandFile, person: ScriptedPerson, heater: HandHeater | None = None) -> list[str]:
    """Run a whole measurement and return what was said."""
    HandSession(file, heater, person, person.clock).run()
    return person.heard


def test_the_program_takes_the_time(file: HandFile) -> None:
    led(file, ScriptedPerson("70 3.00", "72,5 3,02", "75", "end", seconds=90.0))
    assert [(p.t_s, p.bath_c) for p in file.points] == [(90.0, 70.0), (180.0, 72.5), (270.0, 75.0)]
    assert [p.lift_mm for p in file.points[:2]] == [3.0, 3.02]
    assert math.isnan(file.points[2].lift_mm)


def test_a_measurement_that_goes_on_keeps_its_time(file: HandFile) -> None:
    person = ScriptedPerson("70 0", "end")
    HandSession(file, None, person, person.clock, begun_s=600.0).run()
    assert [p.t_s for p in file.points] == [660.0]


@pytest.mark.parametrize(
    ("line", "reading"),
    [
        ("82.5 0.13", (82.5, 0.13)),
        ("82,5 0,13", (82.5, 0.13)),
        ("82.5,0.13", (82.5, 0.13)),
        ("82,5;0,13", (82.5, 0.13)),
        ("82.5, 0.13", (82.5, 0.13)),
        ("82 -0.1", (82.0, -0.1)),
        ("hot", None),
        ("82 0.1 7", None),
        ("nan 0.1", None),
    ],
)
def test_readings_are_understood_as_people_type_them(
    line: str, reading: tuple[float, float] | None
) -> None:
    assert parse_reading(line) == reading


def test_the_last_reading_is_taken_back(file: HandFile) -> None:
    said = led(file, ScriptedPerson("u", "70 0", "720 0", "27 0", "u", "72 0", "end"))
    assert [p.bath_c for p in file.points] == [70.0, 72.0]
    assert "nothing to take back" in said
    assert any(text.startswith("not kept: temperature 720 °C") for text in said)
    assert "27 °C taken back" in said


def test_hints_as_it_goes(file: HandFile) -> None:
    person = ScriptedPerson("70 0", "79 0", "80 9", "what", "", "end", seconds=30.0)
    said = led(file, person)
    assert any(text.startswith("2: 79 °C, 0 mm; +18.0 K/min; too fast") for text in said)
    assert sum("a jump: mistyped?" in text for text in said) == 2
    assert "'what' is no reading; ? shows what can be typed" in said


def test_cautions_come_first_and_are_read() -> None:
    """The hazards of the work and the usual errors: common practice, no source."""
    person = ScriptedPerson()
    caution(person)
    assert tuple(person.heard[: len(CAUTIONS)]) == CAUTIONS
    assert "Go on when all of them hold" in person.heard[len(CAUTIONS)]
    words = " ".join(CAUTIONS).lower()
    assert all(hazard in words for hazard in ("scald", "mains", "glycol", "wax", "in air", "lid"))
    errors = " ".join(USUAL_ERRORS).lower()
    assert all(error in errors for error in ("infrared", "steam", "bright metal", "stir", "bottom"))


def test_no_current_in_air(file: HandFile) -> None:
    """Before the first temperature, and without the word that it hangs under water, none flows."""
    volts = iter([12.2])
    person = ScriptedPerson("heat 0.8", "70 0", "heat 0.8", "71 0", "end", agreeing=False)
    said = led(file, person, SetByHand(person.tell, lambda: next(volts)))
    assert any("never energise an element in air" in text for text in said)
    assert "Does the unit hang wholly under water, fused, and you stay?" in said
    assert [p.element_a for p in file.points] == [0.0, 0.0]


def test_a_supply_set_by_hand_is_told_and_noted(file: HandFile) -> None:
    volts = iter([12.2])
    person = ScriptedPerson("70 0", "heat 0,8", "71 0", "heat 0", "72 0", "heat x", "p", "end")
    said = led(file, person, SetByHand(person.tell, lambda: next(volts)))
    fed = [(p.element_a, p.element_v) for p in file.points]
    assert fed[1] == (0.8, 12.2)
    assert [a for a, _ in fed] == [0.0, 0.8, 0.0]
    assert "Set the supply to 0.8 A, output on." in said
    assert "Switch the supply's output OFF now." in said
    assert any("give the current in A" in text for text in said)


def test_a_current_no_element_takes_is_not_set_by_hand(file: HandFile) -> None:
    """Every reading under it would be refused: an element takes 1.5 A at most."""
    person = ScriptedPerson("70 0", "heat 3", "71 0", "end")
    said = led(file, person, SetByHand(person.tell, lambda: 12.0))
    assert "3 A, an element takes 0 to 1.5; set less" in said
    assert not any(text.startswith("Set the supply") for text in said)
    assert [p.element_a for p in file.points] == [0.0, 0.0]


def test_an_element_is_not_fed_for_long(file: HandFile) -> None:
    person = ScriptedPerson("70 0", "heat 0.8", *["71 0"] * 4, "end", seconds=500.0)
    said = led(file, person, SetByHand(person.tell, lambda: 12.0))
    assert "heater on for over 20 min: off now" in said
    assert [p.element_a for p in file.points] == [0.0, 0.8, 0.8, 0.8, 0.0]


def test_without_a_heater_none_is_set(file: HandFile) -> None:
    said = led(file, ScriptedPerson("70 0", "heat 0.8", "end"))
    assert any("begun without a heater" in text for text in said)


@pytest.fixture
def fake() -> Iterator[FakeSupply]:
    with FakeSupply() as supply:
        yield supply


def worker(fake: FakeSupply, lease_s: float = 60.0) -> SupplyWorker:
    settings = HandSupply(
        url=fake.url, timeout_s=0.5, max_voltage_v=13.5, max_current_a=1.0, current_settle_s=0.05
    )
    return SupplyWorker(lambda: open_stream(fake.url, 9600, 0.05), settings, monotonic_s, lease_s)


def test_a_supply_is_driven_and_read_back(file: HandFile, fake: FakeSupply) -> None:
    """0.8 A through 15 ohm are 12 V by Ohm's law; 1.2 A are above its limit."""
    person = ScriptedPerson("70 0", "heat 0.8", "71 0", "heat 1.2", "heat 0", "72 0", "end")
    with worker(fake) as running:
        said = led(file, person, SetByScpi(running, monotonic_s))
    first, second, third = file.points
    assert (second.element_a, second.element_v) == pytest.approx((0.8, 12.0), abs=1e-3)
    assert (first.element_a, third.element_a) == (0.0, 0.0)
    assert any("outside 0 to 1 A" in text for text in said)
    assert not fake.on


def test_whatever_happens_the_supply_is_off_afterwards(file: HandFile, fake: FakeSupply) -> None:
    person = ScriptedPerson("70 0", "heat 0.8")  # then no more lines: IndexError
    with pytest.raises(IndexError), worker(fake) as running:
        led(file, person, SetByScpi(running, monotonic_s))
    assert "OUTP ON" in fake.log
    assert not fake.on
    assert len(file.points) == 1


def test_a_supply_goes_off_when_nobody_types(file: HandFile, fake: FakeSupply) -> None:
    """A lease of no time at all is over at once; the next reading says so."""
    person = ScriptedPerson("70 0", "end")
    with worker(fake, lease_s=0.3) as running:
        heater = SetByScpi(running, monotonic_s)
        session = HandSession(file, heater, person, person.clock)
        session.take("70 0")
        session.take("heat 0.8")
        fake.wait_until(lambda supply: not supply.on)
        fake.wait_polled()
        session.take("71 0")
    assert "the supply went off by itself: nothing was typed for too long" in person.heard
    assert file.points[-1].element_a == 0.0


def test_a_supply_that_fails_ends_the_measurement_with_all_kept(
    file: HandFile, fake: FakeSupply
) -> None:
    person = ScriptedPerson("70 0", "heat 0.8", "71 0", "end")
    fake.misbehaves = "keeps current"
    with pytest.raises(BenchFaultError, match="keeps 0 after CURR"), worker(fake) as running:
        led(file, person, SetByScpi(running, monotonic_s))
    assert [p.bath_c for p in file.points] == [70.0]
    assert SWITCH_OFF in person.heard


def test_a_supply_on_the_bench_top_still_has_its_limits() -> None:
    with pytest.raises(InputError, match=r"outside 0 to 0\.5 A"):
        SetByScpi(_Limited(), monotonic_s).set_current(0.8)


class _Limited(SupplyWorker):
    """A worker that was never started: the refusal comes before anything is sent."""

    def __init__(self) -> None:
        settings = HandSupply(url="socket://nowhere:1", max_voltage_v=12.0, max_current_a=0.5)
        super().__init__(lambda: open_stream(settings.url, 9600, 0.05), settings, monotonic_s)

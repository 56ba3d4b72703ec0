"""`record` as a person meets it: led by prompts, from paper, broken off, and put on record."""

from __future__ import annotations

import json
import os
import pty
import select
import signal
import subprocess
import sys
from contextlib import closing
from io import StringIO
from pathlib import Path
from typing import Any, Self

import pytest

from host.bench.fake_supply import FakeSupply
from host.bench.hand_pot import COARSE_C, rise, straight
from host.cli.conftest import Call
from proofbath.cli import VERBS
from proofbath.curve.hand_record import header, read_points, reading_row
from proofbath.store.kinds import HandMeasurement, Person, Unit
from proofbath.store.records import Records, Stamp

KINDS = ("--thermometer", "resistance", "--lift-tool", "caliper")
AT = "2025-10-01T08:00:00+00:00"
SHOP = """
[workshop]
name = "River Ferry Works"
address = ["Slipway 4", "Quayside"]
contact = "office@ferry.example"
"""


@pytest.fixture(autouse=True)
def verb(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(VERBS, "record", "Measure a unit by hand.")


@pytest.fixture
def paper(tmp_path: Path) -> Path:
    """0.3 mm/K from 82 °C on, read every 2 K at 1 K/min and written on paper."""
    path = tmp_path / "paper.csv"
    rows = [reading_row(point, False) for point in rise(straight(82.0), COARSE_C)]
    path.write_text(header(False) + "".join(rows))
    return path


def types(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    monkeypatch.setattr("sys.stdin", StringIO("".join(f"{line}\n" for line in lines)))


def test_readings_from_paper_give_the_start(call: Call, paper: Path) -> None:
    """By hand: the middle of 82.333 and 84 less 17 s at 1 K/min, 82.883 °C."""
    said = call("record", "--from", paper, *KINDS, "--json")
    told = json.loads(said.out)
    assert (said.status, said.err) == (0, "")
    assert told["start_to_open_c"]["value"] == pytest.approx(82.883, abs=1e-3)
    assert (told["kind"], told["certified"]) == ("hand measured", False)
    assert told["hand_measurement"] is None
    shown = call("record", "--from", paper, *KINDS)
    assert "never certified" in shown.out
    assert "82.9 ± 1.3 °C" in shown.out
    assert "wide_gap" in shown.out


def test_a_person_is_led_from_cautions_to_the_result(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "pot.csv"
    readings = [f"{p.bath_c} {p.lift_mm + 3:.2f}" for p in rise(straight(82.0), COARSE_C)]
    asked = ("", "glass", "0.8", "caliper", "", "y", "n")
    types(monkeypatch, *asked, *readings[:2], "99 3", "u", *readings[2:], "end")
    said = call("record", path, "--json")
    told = json.loads(said.out)
    assert said.status == 0
    assert said.err.startswith("SCALD")
    assert said.err.index("NEVER CLOSE THE POT") < said.err.index("Kind of thermometer")
    assert "infrared: infrared, aimed at a dull black surface; usually within 5 K" in said.err
    assert told["setup"]["thermometer"]["expanded_u_k"] == 0.8
    assert told["setup"]["lift_tool"]["expanded_u_mm"] == 0.05
    assert told["setup"]["heater"] is None
    assert told["readings"] == 8
    points = read_points(path.read_text(), "pot")
    assert [p.bath_c for p in points] == COARSE_C
    beside = json.loads(path.with_suffix(".json").read_text())
    assert beside["result"]["start_to_open_c"] == told["start_to_open_c"]
    again = json.loads(call("record", "--from", path, "--json").out)
    assert again["start_to_open_c"] == told["start_to_open_c"], "the notes beside it are used"
    assert "type each reading when you take it" in told["start_to_open_c"]["reason"]


def test_a_supply_is_driven_and_is_off_in_the_end(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """0.8 A through 15 ohm: 12 V read back, less 0.2 ohm of leads 9.472 W."""
    path = tmp_path / "pot.csv"
    types(monkeypatch, "", "", "", "y", "y", "50 3", "heat 0.8", "y", "52 3", "55 3.5", "end")
    with FakeSupply() as fake:
        said = call("record", path, *KINDS, "--supply", fake.url, "--json")
        on = fake.on
    told = json.loads(said.out)
    assert (said.status, on) == (0, False)
    assert told["heater"][0]["power_w"] == pytest.approx(9.472, abs=0.01)
    assert told["shift_k_per_w"]["value"] is None
    assert [p.element_a for p in read_points(path.read_text(), "")] == pytest.approx([0, 0.8, 0.8])


def test_a_broken_off_measurement_is_gone_on_with(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "pot.csv"
    types(monkeypatch, "", "", "", "y", "n", "70 3", "72 3")  # then the keyboard is gone
    said = call("record", path, *KINDS)
    assert (said.status, said.out) == (130, "")
    assert f"all readings are in {path}: --go-on goes on with it" in said.err
    types(monkeypatch, "", "75 3", "end")
    again = call("record", path, "--go-on", "--json")
    assert (again.status, json.loads(again.out)["readings"]) == (0, 3)


STEPS = """t_s,bath_c,lift_mm,element_a
0,20.0,41.30,0
300,60.0,41.30,0
600,99.6,41.30,0
720,99.6,42.36,0.5
840,99.6,42.36,0.5
960,99.6,46.10,0.7
1080,99.6,46.10,0.7
"""


@pytest.mark.parametrize(
    ("options", "power_w"),
    [(("--heater",), None), (("--no-heater",), None), (("--element-ohm", "15"), 0.25 * 15)],
)
def test_currents_without_volts_give_lifts_and_watts_only_where_ohms_are_known(
    call: Call, tmp_path: Path, options: tuple[str, ...], power_w: float | None
) -> None:
    """0.5 A through 15 ohm are 3.75 W by Joule."""
    path = tmp_path / "steps.csv"
    path.write_text(STEPS)
    said = call("record", "--from", path, *KINDS, "--stirred", *options, "--json")
    told = json.loads(said.out)
    assert said.status == 0
    lifts = [step["steady_lift_mm"]["value"] for step in told["current_steps"]]
    assert lifts == pytest.approx([1.06, 4.8])
    assert told["current_steps"][0]["power_w"] == power_w
    assert told["opening_current_a"]["value"] is not None
    assert (told["opening_power_w"]["value"] is None) == (power_w is None)


def test_a_pot_that_boils_is_told_in_words_that_hold(call: Call, tmp_path: Path) -> None:
    """A valve shut at 0.3 A is no lift of nought give or take: it is shut, or open by so much."""
    path = tmp_path / "steps.csv"
    path.write_text(STEPS.replace("720,", "601,99.6,41.30,0.3\n719,99.6,41.30,0.3\n720,"))
    shown = call("record", "--from", path, *KINDS, "--stirred", "--heater").out
    words = " ".join(shown.replace("│", " ").split())
    assert "heat on" not in words
    assert "water boils there" in words
    assert "9 readings in 1 heating; read from" in words
    assert "shut: 0 to 0." in words
    assert "0.00 ±" not in words


@pytest.mark.parametrize("options", [("--heater",), ("--element-ohm", "15")])
def test_paper_of_a_heated_unit_without_its_currents_is_refused(
    call: Call, paper: Path, options: tuple[str, ...]
) -> None:
    said = call("record", "--from", paper, *KINDS, *options)
    assert (said.status, said.out, said.err.count("\n")) == (2, "", 1)
    assert "no column element_a" in said.err


def test_ohms_given_when_it_goes_on_are_used_and_kept(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "pot.csv"
    types(monkeypatch, "", "", "", "y", "y", "70 3")  # then the keyboard is gone
    assert call("record", path, *KINDS).status == 130
    types(monkeypatch, "", "end")
    told = json.loads(call("record", path, "--go-on", "--element-ohm", "15", "--json").out)
    assert told["setup"]["heater"]["element_ohm"] == 15.0
    assert told["setup"]["thermometer"]["kind"] == "resistance"
    kept_setup = json.loads(path.with_suffix(".json").read_text())["setup"]
    assert kept_setup == told["setup"]


BEGUN = ("", "", "", "y", "y", "60 3", "heat 0,5", "y")
OFF = "Switch the supply's output OFF now."


@pytest.mark.parametrize(
    ("typed", "status", "volts"),
    [
        (("7,6", "61 3", "end"), 0, [None, 7.6]),
        (("", "61 3", "end"), 0, [None, None]),
        (("nan", "61 3", "end"), 0, [None, None]),
        (("warm", "-7.6", "76", "7.6", "61 3", "end"), 0, [None, 7.6]),
        (("end",), 0, [None]),
        (("u", "61 3", "end"), 0, [None, None]),
        (("heat 0", "61 3", "end"), 0, [None, None]),
        (("p", "", "end"), 0, [None]),
        ((), 130, [None]),
        (("7.6", "heat 0.7", "end"), 0, [None]),
        (("7.6", "heat 0.7", "what", "heat 0", "61 3", "end"), 0, [None, None]),
        (("7.6", "heat 0.7"), 130, [None]),
    ],
)
def test_every_prompt_can_be_left_and_the_supply_is_always_told_off(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    typed: tuple[str, ...], status: int, volts: list[float | None],
) -> None:  # fmt: skip
    """Typed after `heat 0,5`, at the prompt for the volts and at the question under water."""
    path = tmp_path / "pot.csv"
    types(monkeypatch, *BEGUN, *typed)
    said = call("record", path, *KINDS)
    assert said.status == status
    points = read_points(path.read_text(), "pot")
    assert [None if p.element_v != p.element_v else p.element_v for p in points] == volts
    assert said.err.rindex(OFF) > said.err.index("Set the supply to 0.5 A, output on.")
    last_on = said.err.rindex("Set the supply to")
    assert said.err.rindex(OFF) > last_on
    if "heat 0" in typed or "u" in typed:
        assert [p.element_a for p in points] == [0.0, 0.0]


@pytest.mark.parametrize("line", ["end", "u", "heat 0"])
@pytest.mark.parametrize("before", [(), ("",), ("", "0,8"), ("", "0,8", "0,03")])
def test_what_is_asked_first_can_be_left_too_and_nothing_is_begun(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, line: str, before: tuple[str, ...]
) -> None:
    path = tmp_path / "pot.csv"
    types(monkeypatch, *before, line)
    said = call("record", path, *KINDS)
    assert (said.status, said.out) == (130, "")
    assert not path.exists()


def test_numbers_of_instruments_are_typed_with_a_comma_too(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    types(monkeypatch, "", "glas", "glass", "0,8", "caliper", "50", "0,03", "y", "n", "70 3", "end")
    told = json.loads(call("record", tmp_path / "pot.csv", "--json").out)
    assert told["setup"]["thermometer"]["expanded_u_k"] == 0.8
    assert told["setup"]["lift_tool"]["expanded_u_mm"] == 0.03


def shop_with(tmp_path: Path) -> Path:
    path = tmp_path / "workshop.toml"
    path.write_text(SHOP)
    with closing(Records(tmp_path / "records.sqlite")) as records:
        ada = records.add(Person(name="Ada", rights=("certifier",)), Stamp(AT))
        records.add(Person(name="Vi", rights=("viewer",)), Stamp(AT, ada))
        records.add(Unit(serial="T82-0412", unit_type="Teal-82"), Stamp(AT, ada))
    return path


def kept(tmp_path: Path) -> list[Any]:
    with closing(Records(tmp_path / "records.sqlite")) as records:
        return records.current(HandMeasurement)


def test_it_is_put_on_record_with_its_unit(call: Call, paper: Path, tmp_path: Path) -> None:
    where = ("--shop", shop_with(tmp_path), "--unit", "T82-0412", "--by", "Ada")
    said = call("record", "--from", paper, *KINDS, *where, "--stage", "as-found", "--json")
    told = json.loads(said.out)
    (one,) = kept(tmp_path)
    assert (said.status, one.root, one.entry.stage) == (0, told["hand_measurement"], "as-found")
    assert one.entry.content["kind"] == "hand measured"
    assert one.entry.content["start_to_open_c"] == told["start_to_open_c"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (("--unit", "T82-0412", "--by", "Vi"), "Vi has not the right operator or certifier"),
        (("--unit", "T82-0412", "--by", "Bo"), "no person of name 'Bo'"),
        (("--unit", "T82-9", "--by", "Ada"), "no unit of serial 'T82-9'"),
        (("--unit", "T82-0412"), "say who measures, --by NAME"),
        (("--thermometer-u-k", "50"), "expanded_u_k: input should be less than or equal to 20"),
    ],
)
def test_a_refusal_is_one_line_before_anything_is_measured(
    call: Call, paper: Path, tmp_path: Path, options: tuple[str, ...], words: str
) -> None:
    said = call("record", "--from", paper, *KINDS, "--shop", shop_with(tmp_path), *options)
    assert (said.status, said.out) == (2, "")
    assert words in said.err
    assert said.err.count("\n") == 1
    assert kept(tmp_path) == []


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((), "name the FILE to write, or --from"),
        (("pot.csv", "--from", "paper.csv"), "name the FILE to write, or --from"),
        (("pot.txt",), "must end in .csv"),
        (("--from", "nowhere.csv"), "no such file"),
        (("pot.csv", "--supply", "x", "--supply-max-a", "7"), "max_current_a: input should be"),
        (("pot.csv", "--go-on"), "was not begun here"),
    ],
)
def test_what_cannot_be_begun_is_one_line(
    call: Call, tmp_path: Path, arguments: tuple[str, ...], words: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    said = call("record", *arguments)
    assert (said.status, said.out, said.err.count("\n")) == (2, "", 1)
    assert words in said.err


def test_paper_without_instruments_is_refused(call: Call, paper: Path) -> None:
    said = call("record", "--from", paper)
    assert (said.status, said.out) == (2, "")
    assert "--thermometer KIND and --lift-tool KIND" in said.err


RUN = """
import sys
from proofbath.cli import VERBS, main
VERBS["record"] = ""
main(sys.argv[1:])
"""


@pytest.mark.parametrize("end", [signal.SIGKILL, signal.SIGTERM, signal.SIGHUP])
def test_a_killed_program_loses_no_reading(tmp_path: Path, end: signal.Signals) -> None:
    """On a real terminal; all but SIGKILL switch the supply off, and say where the readings are."""
    path = tmp_path / "pot.csv"
    with FakeSupply() as fake:
        options = (*KINDS, "--thermometer-u-k", "0.5", "--lift-u-mm", "0.05", "--stirred")
        with _Terminal("record", path, *options, "--heater", "--supply", fake.url) as terminal:
            terminal.answer("Go on when all of them hold", "")
            terminal.answer("°C mm", "70.5 3.01")
            terminal.answer("1: 70.5 °C", "heat 0.8")
            terminal.answer("wholly under water", "y")
            terminal.answer("heater at 0.8 A", "72 3.02")
            terminal.wait_for("2: 72 °C")
            terminal.end(end)
            if end != signal.SIGKILL:
                assert not fake.on
                terminal.wait_for("--go-on")
                assert terminal.process.returncode == 130
    assert [p.bath_c for p in read_points(path.read_text(), "pot")] == [70.5, 72.0]


class _Terminal:
    """The program on a terminal of its own."""

    def __init__(self, *arguments: object) -> None:
        self._master, slave = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-c", RUN, *map(str, arguments)],
            stdin=slave, stdout=slave, stderr=slave,
        )  # fmt: skip
        os.close(slave)
        self._seen = ""

    def answer(self, question: str, line: str) -> None:
        self.wait_for(question)
        os.write(self._master, f"{line}\n".encode())

    def wait_for(self, words: str) -> None:
        while words not in self._seen:
            ready, _, _ = select.select([self._master], [], [], 20.0)
            assert ready, f"no {words!r} in {self._seen[-500:]!r}"
            try:
                self._seen += os.read(self._master, 4096).decode(errors="replace")
            except OSError as error:  # Linux says so when the program has gone
                raise AssertionError(f"no {words!r} in {self._seen[-500:]!r}") from error

    def end(self, by: signal.Signals) -> None:
        """Send a signal; again where it fell between the last instruction and the read of a key."""
        self.process.send_signal(by)
        try:
            self.process.wait(5)
        except subprocess.TimeoutExpired:
            self.process.send_signal(by)
            self.process.wait(20)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.wait()
        os.close(self._master)

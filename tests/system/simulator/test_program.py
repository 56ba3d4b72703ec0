"""The simulator as a program: its help, its refusals, its parameter file."""

from __future__ import annotations

import re
import subprocess
from contextlib import closing
from pathlib import Path

import pytest

from proofbath.bench.port import PortLostError
from proofbath.bench.simulator_port import PROGRAM, Simulator, open_simulator
from proofbath.errors import BenchFaultError, InputError
from proofbath.virtual.description import VirtualSection
from proofbath.wire.table import BootCause


def run(build: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [str(build / PROGRAM), *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


def test_help_names_every_option_and_command(build: Path) -> None:
    done = run(build, "--help")
    assert done.returncode == 0
    source = Path(__file__).parents[3] / "firmware" / "simulator"
    options = re.findall(r'\{"([a-z-]+)", \w+_argument', (source / "main.cpp").read_text())
    commands = re.findall(r'^    \{"(\w+)", \1,', (source / "commands.cpp").read_text(), re.M)
    assert len(options) > 5 < len(commands)
    for word in (*(f"  --{o}" for o in options), *(f"\n  {c} " for c in commands)):
        assert word in done.stdout


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("nowhere.elf",), "nowhere.elf: cannot be read"),
        ((__file__,), "no firmware of an ATmega2560 or ATmega328P"),
        (("--seed", "one", "x.elf"), "one is no whole number"),
        (("--serial-port", "70000", "x.elf"), "no whole number up to 65535"),
        (("--speed", "-1", "x.elf"), "--speed needs 0 or more"),
    ],
)
def test_wrong_input_is_refused_in_one_line(
    build: Path, arguments: tuple[str, ...], said: str
) -> None:
    done = run(build, *arguments)
    assert done.returncode == 1
    assert said in done.stderr
    assert done.stderr.count("\n") == 1


def test_parameters_come_from_a_file_of_keys_and_values(mega: Path, tmp_path: Path) -> None:
    parameters = tmp_path / "bench.txt"
    parameters.write_text("# a small warm bath\nbath.fill_l 6.5\n\nunit.2.present 1\n")
    options = ("--set", str(parameters))
    with closing(Simulator(mega, VirtualSection(), options=options)) as simulator:
        assert simulator.get("unit.2.present") == 1
    parameters.write_text("bath.fill_l 6.5\nbath.colour 3\n")
    with pytest.raises(BenchFaultError, match=r"bench\.txt:2: needs the name of a plant parameter"):
        Simulator(mega, VirtualSection(), options=options)


def test_unknown_words_are_refused_and_the_simulator_goes_on(mega: Path) -> None:
    with closing(Simulator(mega)) as simulator:
        for command in (
            "dance", "advance soon", "boot watchdog", "set bath.colour 1", "get colour",
            "fault heater_welded 3 0 1 0", "write_eeprom f", "run backwards",
        ):  # fmt: skip
            with pytest.raises(ValueError, match=f"simulator, {command.split()[0]}: "):
                simulator.command(command)
        with pytest.raises(ValueError, match="no cause watchdog"):
            simulator.boot(BootCause.WATCHDOG)
        assert b"sample 1 1 100 " in simulator.advance(b"")


def test_an_ended_simulator_is_a_lost_port(mega: Path) -> None:
    with closing(open_simulator(f"simulator:{mega}", None)) as port:
        assert port.read()
        with closing(Simulator(mega)) as other:
            other.command("quit")
            with pytest.raises(PortLostError):
                other.advance(b"")


def test_missing_firmware_is_said_with_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="build it: make -C firmware"):
        open_simulator(f"simulator:{tmp_path / 'no.elf'}", None)

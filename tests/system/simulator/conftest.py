"""What the simulator's tests share: both firmwares and the simulator, built once; benches ended."""

from __future__ import annotations

import fcntl
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from system.simulator.bench import SimulatedBench

FIRMWARE = Path(__file__).parents[3] / "firmware"
INSTALL = (
    "apt-get install --no-install-recommends "
    "gcc-avr avr-libc arduino-core-avr libsimavr-dev libelf-dev make g++"
)
TOOLS = ("make", "g++", "avr-g++", "avr-size", "avr-objcopy")
FILES = ("/usr/include/simavr/sim_avr.h", "/usr/share/arduino/hardware/arduino/avr/platform.txt")

NewBench = Callable[..., SimulatedBench]


@pytest.fixture(scope="session")
def build() -> Path:
    """Folder with the ELF of both boards and the simulator beside them."""
    missing = [t for t in TOOLS if not shutil.which(t)] + [f for f in FILES if not Path(f).exists()]
    if missing:
        text = f"{', '.join(missing)} missing; {INSTALL}"
        if os.environ.get("CI"):
            pytest.fail(text)
        pytest.skip(text)
    folder = FIRMWARE / "build"
    folder.mkdir(exist_ok=True)
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        subprocess.run(["make", "-s", "-C", str(FIRMWARE), "all", "simulator"], check=True)
    return folder


@pytest.fixture(scope="session")
def mega(build: Path) -> Path:
    """Firmware of the board with six stations."""
    return build / "rig_controller_atmega2560.elf"


@pytest.fixture
def new_bench(mega: Path) -> Iterator[NewBench]:
    """Make simulated benches that end with the test; `elf` names another firmware."""
    benches = []

    def make(
        seed: int = 1, elf: Path = mega, options: tuple[str, ...] = (), **parameters: float
    ) -> SimulatedBench:
        benches.append(SimulatedBench(elf, seed, options, **parameters))
        return benches[-1]

    yield make
    for bench in benches:
        bench.simulator.close()


@pytest.fixture
def bench(new_bench: NewBench) -> SimulatedBench:
    """A warm bench with six units."""
    return new_bench(bath__start_c=60.0)

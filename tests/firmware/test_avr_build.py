"""The firmware of both boards builds without a warning, fits, and its budget can fail."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from binascii import crc_hqx
from pathlib import Path

import pytest

FIRMWARE = Path(__file__).parents[2] / "firmware"
MEMORY = {
    ("atmega2560", "flash"): 253_952,
    ("atmega2560", "RAM"): 8_192,
    ("atmega328p", "flash"): 32_256,
    ("atmega328p", "RAM"): 2_048,
}
"""Bytes of each processor (its data sheet), flash less the boot loader section of the boards."""
LINE = re.compile(r"(\w+) (flash|RAM): (\d+) of (\d+) bytes used, (\d+) allowed")


@pytest.fixture(scope="module")
def build(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder of a clean build, with what it printed in `log`."""
    missing = [t for t in ("make", "avr-g++", "avr-objcopy", "avr-size") if not shutil.which(t)]
    if missing:
        text = (
            f"{', '.join(missing)} missing; apt-get install gcc-avr avr-libc arduino-core-avr make"
        )
        if os.environ.get("CI"):
            pytest.fail(text)
        pytest.skip(text)
    folder = tmp_path_factory.mktemp("avr")
    done = run_make(folder)
    assert done.returncode == 0, done.stdout + done.stderr
    (folder / "log").write_text(done.stdout)
    return folder


def run_make(folder: Path, *options: str) -> subprocess.CompletedProcess[str]:
    command = ["make", "-C", str(FIRMWARE), f"BUILD={folder}", *options]
    return subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)


def test_both_boards_fit_with_a_margin(build: Path) -> None:
    found = {
        (m[1], m[2]): tuple(map(int, m.groups()[2:]))
        for m in LINE.finditer((build / "log").read_text())
    }
    assert {key: size for key, (_, size, _) in found.items()} == MEMORY
    for used, size, allowed in found.values():
        assert 0 < used <= allowed < size
    for board in ("atmega2560", "atmega328p"):
        hexadecimal = (build / f"rig_controller_{board}.hex").read_text().splitlines()
        assert hexadecimal[-1] == ":00000001FF"  # end record of the Intel HEX format


def test_printed_use_is_that_of_the_file(build: Path) -> None:
    """Sections as `avr-size -A` lists them; Berkeley sums are what the budget reads."""
    for board in ("atmega2560", "atmega328p"):
        listed = subprocess.run(
            ["avr-size", "-A", str(build / f"rig_controller_{board}.elf")],
            capture_output=True, text=True, check=True,
        ).stdout  # fmt: skip
        size = {m[1]: int(m[2]) for m in re.finditer(r"^\.(\w+)\s+(\d+)", listed, re.MULTILINE)}
        used = {
            m[2]: int(m[3]) for m in LINE.finditer((build / "log").read_text()) if m[1] == board
        }
        assert used["flash"] == size["text"] + size["data"]
        assert used["RAM"] == size["data"] + size["bss"] + size["noinit"]


def test_hex_carries_length_and_checksum_of_itself(build: Path) -> None:
    """CRC-16/XMODEM by Python's own binascii, over records of the Intel HEX format."""
    for board in ("atmega2560", "atmega328p"):
        image = bytearray()
        for text in (build / f"rig_controller_{board}.hex").read_text().split():
            record = bytes.fromhex(text[1:])
            if record[3] == 0:
                assert int.from_bytes(record[1:3], "big") == len(image)
                image += record[4:-1]
        at = image.index(b"program=") + 8
        assert int.from_bytes(image[at : at + 2], "little") == len(image)
        crc = crc_hqx(image[: at + 2] + image[at + 4 :], 0)
        assert int.from_bytes(image[at + 2 : at + 4], "little") == crc


def test_only_a_firmware_is_stamped(build: Path, tmp_path: Path) -> None:
    """A second stamp is that of the same image; an ELF without a place for it is refused."""
    elf = build / "rig_controller_atmega328p.elf"
    stamp = [sys.executable, str(FIRMWARE / "stamp_program.py")]
    again = tmp_path / "again.elf"
    again.write_bytes(elf.read_bytes())
    subprocess.run([*stamp, str(again)], check=True)
    assert again.read_bytes() == elf.read_bytes()
    again.write_bytes(elf.read_bytes().replace(b"program=", b"program?"))
    done = subprocess.run([*stamp, str(again)], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "exactly once" in done.stderr


def test_nothing_is_built_twice(build: Path) -> None:
    assert "Nothing to be done" in run_make(build).stdout


def test_over_the_budget_the_build_fails(build: Path) -> None:
    done = run_make(build, "RAM_SHARE=10", "-B", "atmega328p")
    assert done.returncode != 0
    assert "atmega328p: over the size budget" in done.stdout


def test_no_floating_point_and_no_heap(build: Path) -> None:
    """Nothing in the binary comes from soft floating point or an allocator."""
    for board in ("atmega2560", "atmega328p"):
        names = subprocess.run(
            ["avr-nm", str(build / f"rig_controller_{board}.elf")],
            capture_output=True, text=True, check=True,
        ).stdout.split()  # fmt: skip
        assert not {"malloc", "__addsf3", "__mulsf3", "__divsf3", "__fixsfsi"} & set(names)

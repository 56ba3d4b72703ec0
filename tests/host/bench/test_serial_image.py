"""A controller's serial number: an image that the firmware reads and that spoils nothing else."""

from __future__ import annotations

import ctypes
import json
import re
import shutil
import subprocess
from binascii import crc_hqx
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from proofbath.bench.serial_image import (
    EEPROM_BYTES,
    ITEM_SIZES,
    copy_places,
    from_hex,
    onto,
    serial_bytes,
    serial_in,
    to_hex,
)
from proofbath.cli.flash import PARTS, command
from proofbath.errors import InputError
from proofbath.virtual.native import library
from proofbath.wire.line import decode, encode
from proofbath.wire.table import (
    OFFSET_MIDDLE,
    PROTOCOL,
    BootCause,
    Hello,
    Identity,
    Limits,
    LimitsInForce,
    Message,
    TripReason,
)

MEMORY_H = Path(__file__).parents[3] / "firmware/rig_controller/memory.h"
LIMITS = Limits(
    44000, 44500, 504, OFFSET_MIDDLE, 315, 36000, 0, 0,
    (2400,) * 6, (3600,) * 6, (25,) * 6, (4075,) * 6, (3000,) * 6, 0, 0, (0,) * 6,
)  # fmt: skip


class Controller:
    """The native controller with its EEPROM in reach."""

    def __init__(self, seed: int) -> None:
        self._library = library()
        self._handle = self._library.pb_create(seed)

    def __del__(self) -> None:
        self._library.pb_destroy(self._handle)

    def tick(self, *messages: Message) -> list[Message]:
        data = b"".join(map(encode, messages))
        out = ctypes.create_string_buffer(65536)
        count = self._library.pb_advance(self._handle, data, len(data), out, 65536)
        return [decode(line) for line in out.raw[:count].splitlines()]

    def identity(self) -> Identity:
        return next(m for m in self.tick(Hello(PROTOCOL)) if isinstance(m, Identity))

    def limits(self) -> LimitsInForce:
        return next(m for m in self.tick(Hello(PROTOCOL)) if isinstance(m, LimitsInForce))

    def boot(self) -> None:
        self._library.pb_boot(self._handle, BootCause.EXTERNAL)

    def read(self) -> dict[int, int]:
        memory = (ctypes.c_uint8 * 4096)()
        self._library.pb_eeprom(ctypes.c_void_p(self._handle), memory, 4096, 0)
        return dict(enumerate(memory))

    def write(self, image: dict[int, int]) -> None:
        """Write the image's bytes only, as a programmer does that leaves holes alone."""
        memory = (ctypes.c_uint8 * 4096)(*(self.read() | image).values())
        self._library.pb_eeprom(ctypes.c_void_p(self._handle), memory, 4096, 1)


def used_controller() -> Controller:
    """Number 7, with limits in force and the trip of power-on latched."""
    controller = Controller(seed=7)
    controller.tick(LIMITS)
    for _ in range(10):
        controller.tick()
    return controller


def flash(*arguments: str) -> Result:
    return CliRunner().invoke(command, ["serial", *arguments], standalone_mode=False)


def test_layout_is_that_of_the_firmware() -> None:
    text = MEMORY_H.read_text()
    names = re.search(r"enum class Item : uint8_t \{([^}]*)\}", text)
    sizes = re.search(r"item_size\[items\] = \{([^}]*)\}", text)
    assert names is not None
    assert sizes is not None
    assert [name.strip() for name in names[1].split(",")] == list(ITEM_SIZES)
    assert [int(size) for size in sizes[1].split(",")] == list(ITEM_SIZES.values())
    assert copy_places("serial") == (38, 45)


@pytest.mark.parametrize("number", [1, 12, 4711, 0xFFFFFFFF])
def test_new_controller_says_the_number_it_was_given(number: int) -> None:
    controller = Controller(seed=99)
    controller.write(dict.fromkeys(range(4096), 255))
    controller.boot()
    assert controller.identity().serial_number == 0
    controller.write(serial_bytes(number))
    controller.boot()
    assert controller.identity().serial_number == number


def test_each_copy_serves_alone() -> None:
    for spoiled in copy_places("serial"):
        controller = Controller(seed=99)
        controller.write(serial_bytes(12) | {spoiled + 2: 0x55})
        controller.boot()
        assert controller.identity().serial_number == 12


def test_trip_limits_and_boots_of_a_used_controller_stay() -> None:
    controller = used_controller()
    before = controller.identity()
    controller.write(onto(controller.read(), 12, "atmega2560", "read back"))
    controller.boot()
    after = controller.identity()
    assert after.serial_number == 12
    assert after.boot_id == before.boot_id + 1
    assert (after.trip_number, after.trip_reason) == (before.trip_number, TripReason.POWER_ON)
    assert controller.limits() == (1, *LIMITS)


@pytest.mark.parametrize("page", [8, 4], ids=["atmega2560", "atmega328p"])
def test_image_alone_would_harm_a_used_controller_where_a_page_is_blanked_first(page: int) -> None:
    """Why it is read back first: programmers write whole EEPROM pages (sizes: data sheets)."""
    there = used_controller().read()
    image = serial_bytes(12)
    touched = {a for p in {a // page for a in image} for a in range(p * page, (p + 1) * page)}
    assert any(there[address] != 0xFF for address in touched - image.keys())


def test_hex_records_are_as_the_format_wants_them() -> None:
    """Two's complement of the bytes' sum; the end record is fixed (Intel HEX)."""
    lines = to_hex(serial_bytes(12)).split()
    assert lines[-1] == ":00000001FF"
    assert lines[0].startswith(":0E002600")  # 14 bytes at 38
    checked = bytes([1, 12, 0, 0, 0])
    crc = crc_hqx(checked, 0xA502)
    assert lines[0][9:23] == (checked + crc.to_bytes(2, "big")).hex().upper()
    assert all(sum(bytes.fromhex(line[1:])) % 256 == 0 for line in lines)


def test_binutils_reads_the_same_bytes(tmp_path: Path) -> None:
    objcopy = shutil.which("objcopy") or shutil.which("avr-objcopy")
    if objcopy is None:
        pytest.skip("no objcopy; apt-get install binutils")
    image = serial_bytes(4711)
    (tmp_path / "serial.eep").write_text(to_hex(image))
    subprocess.run(
        [objcopy, "-I", "ihex", "-O", "binary", "serial.eep", "serial.bin"],
        cwd=tmp_path,
        check=True,
    )
    assert (tmp_path / "serial.bin").read_bytes() == bytes(image[a] for a in sorted(image))


def test_command_changes_the_number_of_a_read_back_only(tmp_path: Path) -> None:
    there = used_controller().read()
    (tmp_path / "before.eep").write_text(to_hex(there))
    out = tmp_path / "after.eep"
    done = flash("12", "--onto", str(tmp_path / "before.eep"), "--out", str(out), "--json")
    assert done.exception is None
    said = json.loads(done.stdout)
    assert (said["before"], said["serial_number"]) == (7, 12)
    assert said["avrdude"].endswith(f"-U eeprom:w:{out}:i")
    after = from_hex(out.read_text(), "after")
    assert serial_in(after) == 12
    changed = {address for address in there if there[address] != after[address]}
    assert changed <= serial_bytes(12).keys()


def test_newest_copy_counts() -> None:
    older, newer = serial_bytes(5), serial_bytes(6)
    second = copy_places("serial")[1]
    body = bytes([2]) + bytes(newer[second + at] for at in range(1, 5))
    crc = crc_hqx(body, 0xA502).to_bytes(2, "big")
    mixed = older | {second + at: byte for at, byte in enumerate(body + crc)}
    assert serial_in(mixed) == 6
    assert serial_in({}) is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "is cut off"),
        (":0E0026000112\n", "no Intel HEX record"),
        (":0100000055AB\n:00000001FF", "sum is wrong"),
        ("hello", "no Intel HEX record"),
        (":020000040001F9\n:00000001FF", "record type 4"),
    ],
)
def test_spoiled_read_back_is_refused(text: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        from_hex(text, "before.eep")


def test_read_back_of_another_board_and_number_zero_are_refused() -> None:
    with pytest.raises(InputError, match="holds 1024 bytes, the EEPROM of the atmega2560 has 4096"):
        onto(dict.fromkeys(range(1024), 255), 12, "atmega2560", "before.eep")
    for number in (0, -1, 2**32):
        with pytest.raises(InputError, match="outside 1 to"):
            serial_bytes(number)


@pytest.mark.parametrize("board", sorted(EEPROM_BYTES))
def test_avrdude_knows_the_part_and_its_memory(board: str) -> None:
    avrdude = shutil.which("avrdude")
    assert avrdude, "avrdude is not installed: tests/run installs it"
    listed = subprocess.run(
        [avrdude, "-p", f"{PARTS[board]}/S"], capture_output=True, text=True, check=False
    )
    text = listed.stdout + listed.stderr
    eeprom = text[text.index('memory "eeprom"') :]
    size = re.search(r"size\s*=\s*(\w+);", eeprom)
    assert size is not None
    assert int(size[1], 0) == EEPROM_BYTES[board]

"""Writes length and CRC-16/XMODEM of a firmware's flash image into its ELF: stamp_program.py ELF.

The firmware holds the name `program=`, then two bytes for the length and two for the checksum,
lowest byte first.  The checksum leaves out its own two bytes, and is computed at every boot.
"""

import subprocess
import sys
from binascii import crc_hqx
from pathlib import Path

NAME = b"program="
MOST_BYTES = 0xFFFF
"""What 16 bits count, and what the processor reads without its extended pointer."""


def flash_image(elf: Path) -> bytes:
    """Return what stands in flash from address 0 on."""
    image = elf.with_suffix(".bin")
    subprocess.run(["avr-objcopy", "-O", "binary", "-R", ".eeprom", elf, image], check=True)
    found = image.read_bytes()
    image.unlink()
    return found


def stamp(elf: Path) -> None:
    """Fill the stamp in; raises SystemExit when there is not exactly one or it cannot be."""
    image, file = flash_image(elf), bytearray(elf.read_bytes())
    if not image.count(NAME) == file.count(NAME) == 1:
        raise SystemExit(f"{elf}: needs {NAME!r} exactly once")
    if len(image) > MOST_BYTES:
        raise SystemExit(f"{elf}: {len(image)} bytes of flash, {MOST_BYTES} can be checked")
    at = image.index(NAME) + len(NAME)
    length = len(image).to_bytes(2, "little")
    checked = image[:at] + length + image[at + 4 :]
    place = file.index(NAME) + len(NAME)
    file[place : place + 4] = length + crc_hqx(checked, 0).to_bytes(2, "little")
    elf.write_bytes(file)


if __name__ == "__main__":
    stamp(Path(sys.argv[1]))

"""A controller's serial number as an EEPROM image: both copies in the firmware's own format.

The layout is that of firmware/rig_controller/memory.h: items one after the other, each in two
copies of generation, payload and CRC-16/XMODEM, the CRC begun with a number of the item's own.
"""

from __future__ import annotations

from binascii import crc_hqx

from proofbath.errors import InputError
from proofbath.wire.table import U32

ITEM_SIZES = {"trip": 11, "boot": 2, "serial": 4, "limits": 88}
"""Payload bytes of what the controller keeps, in the order of their places."""
OVERHEAD = 3
CRC_BEGIN = 0xA500
EEPROM_BYTES = {"atmega2560": 4096, "atmega328p": 1024}
BLANK = 0xFF
_RECORD_BYTES = 16
_DATA, _END = 0, 1
_BASES = (2, 4)
"""Record types that move the base address; only a base of 0 lies inside an EEPROM."""


def copy_places(item: str) -> tuple[int, int]:
    """Return where an item's two copies begin."""
    names = list(ITEM_SIZES)
    before = names[: names.index(item)]
    first = sum(2 * (ITEM_SIZES[name] + OVERHEAD) for name in before)
    return first, first + ITEM_SIZES[item] + OVERHEAD


def serial_bytes(serial_number: int) -> dict[int, int]:
    """Return the bytes of both copies of a serial number by their address.

    Raises InputError for a number that is none: 0 is what a controller without one says.
    """
    if not 1 <= serial_number <= U32:
        raise InputError(f"serial number {serial_number} is outside 1 to {U32}; give another")
    checked = bytes([1]) + serial_number.to_bytes(ITEM_SIZES["serial"], "little")
    crc = crc_hqx(checked, CRC_BEGIN + list(ITEM_SIZES).index("serial"))
    copy = checked + crc.to_bytes(2, "big")
    return {place + at: byte for place in copy_places("serial") for at, byte in enumerate(copy)}


def serial_in(image: dict[int, int]) -> int | None:
    """Return the serial number an image holds, from its newest whole copy; None without one."""
    found: tuple[int, int] | None = None
    for place in copy_places("serial"):
        copy = bytes(image.get(place + at, BLANK) for at in range(ITEM_SIZES["serial"] + OVERHEAD))
        crc = crc_hqx(copy[:-2], CRC_BEGIN + list(ITEM_SIZES).index("serial"))
        newer = found is None or 0 < (copy[0] - found[0]) % 256 < 128
        if crc.to_bytes(2, "big") == copy[-2:] and newer:
            found = copy[0], int.from_bytes(copy[1:-2], "little")
    return found[1] if found else None


def onto(read_back: dict[int, int], serial_number: int, board: str, name: str) -> dict[int, int]:
    """Return a whole EEPROM as it was read back, with only the serial number changed.

    Raises InputError where the read-back is not all of the board's EEPROM.
    """
    wanted = EEPROM_BYTES[board]
    if read_back.keys() != set(range(wanted)):
        raise InputError(
            f"{name}: holds {len(read_back)} bytes, the EEPROM of the {board} has {wanted}; "
            "read it back whole"
        )
    return read_back | serial_bytes(serial_number)


def to_hex(image: dict[int, int]) -> str:
    """Return the Intel HEX text of an image of at most 64 KB."""
    lines = []
    addresses = sorted(image)
    while addresses:
        first = addresses[0]
        count = 1
        while count < min(len(addresses), _RECORD_BYTES) and addresses[count] == first + count:
            count += 1
        data = bytes(image[first + at] for at in range(count))
        lines.append(_record(first, _DATA, data))
        addresses = addresses[count:]
    return "\n".join([*lines, _record(0, _END, b""), ""])


def from_hex(text: str, name: str) -> dict[int, int]:
    """Return the image of an Intel HEX text; raises InputError for one that is cut or spoiled."""
    image: dict[int, int] = {}
    for number, line in enumerate(text.split(), start=1):
        place = f"{name}: line {number}"
        kind, address, data = _parsed(line, place)
        if kind == _END:
            return image
        if kind == _DATA:
            image |= {address + at: byte for at, byte in enumerate(data)}
        elif kind not in _BASES or any(data):
            raise InputError(f"{place}: record type {kind} does not belong into an EEPROM image")
    raise InputError(f"{name}: is cut off, its end record is missing; read it back again")


def _record(address: int, kind: int, data: bytes) -> str:
    body = bytes([len(data), *address.to_bytes(2, "big"), kind, *data])
    return f":{body.hex().upper()}{-sum(body) & 0xFF:02X}"


def _parsed(line: str, place: str) -> tuple[int, int, bytes]:
    """Return type, address and data of a record, its length and sum checked."""
    try:
        body = bytes.fromhex(line.removeprefix(":"))
    except ValueError as error:
        raise InputError(f"{place}: is no Intel HEX record: {line[:20]!r}") from error
    if not line.startswith(":") or len(body) < 5 or len(body) != body[0] + 5:
        raise InputError(f"{place}: is no Intel HEX record: {line[:20]!r}")
    if sum(body) & 0xFF:
        raise InputError(f"{place}: its sum is wrong; read it back again")
    return body[3], int.from_bytes(body[1:3], "big"), body[4:-1]

"""A virtual bench: the controller's own sources on the plant, one tick at a time, in bytes."""

from __future__ import annotations

import ctypes
import weakref

from proofbath.errors import BenchFaultError
from proofbath.virtual.description import VirtualSection
from proofbath.virtual.native import library
from proofbath.virtual.plant import configure, read_value
from proofbath.wire.table import BootCause

CAPACITY = 4096
"""Room for the controller's answer of one tick, in bytes."""


class VirtualBench:
    """Controller and plant, ready to be spoken to; equal seeds and bytes give equal bytes."""

    def __init__(self, virtual: VirtualSection, seed: int | None = None) -> None:
        native = library()
        self.speed = virtual.speed
        """How fast whoever speaks to it shall let its time pass; None for as fast as it goes."""
        self._native = native
        self._handle = native.pb_create(virtual.seed if seed is None else seed)
        weakref.finalize(self, native.pb_destroy, self._handle)
        configure(self._handle, virtual, native.pb_set, native.pb_fault)
        self._out = ctypes.create_string_buffer(CAPACITY)

    def advance(self, data: bytes) -> bytes:
        """Deliver `data` to the controller, let one tick of 100 ms pass, return what it sends."""
        count = self._native.pb_advance(self._handle, data, len(data), self._out, CAPACITY)
        return ctypes.string_at(self._out, count)

    def boot(self, cause: BootCause) -> None:
        """Restart the controller; its EEPROM and the plant stay as they are."""
        self._native.pb_boot(self._handle, int(cause))

    def begin(self, kind: str, station: int, for_s: float, size: float = 0.0) -> None:
        """Let a fault begin now and last `for_s`; raises BenchFaultError for an unknown one."""
        now_s = self.get("time_s")
        named = kind.encode()
        if self._native.pb_fault(self._handle, named, station, now_s, now_s + for_s, size) != 0:
            raise BenchFaultError(f"plant: fault {kind} at station {station} cannot begin")

    def put(self, key: str, value: float) -> None:
        """Set a parameter of the plant, or press the cut-out's button ("chain.cut_out_reset").

        Raises BenchFaultError for a name the plant does not know.
        """
        if self._native.pb_set(self._handle, key.encode(), value) != 0:
            raise BenchFaultError(f"plant: no parameter {key}")

    def get(self, key: str) -> float:
        """Return a true value or parameter of the plant by its dotted name; raises KeyError."""
        return read_value(self._native.pb_get, self._handle, key)

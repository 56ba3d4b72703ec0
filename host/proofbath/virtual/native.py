"""The native library: controller sources and plant compiled for this machine, by ctypes."""

from __future__ import annotations

import ctypes
import functools
import sys
from ctypes import POINTER, c_char_p, c_double, c_int, c_int64, c_uint16, c_uint64, c_void_p
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from proofbath.errors import BenchFaultError

Floats = NDArray[np.float64]

SUFFIX = {"win32": ".dll", "darwin": ".dylib"}.get(sys.platform, ".so")
LIBRARY = Path(__file__).with_name(f"libproofbath{SUFFIX}")
_SIGNATURES: dict[str, tuple[Any, list[Any]]] = {
    "pb_create": (c_void_p, [c_uint64]),
    "pb_destroy": (None, [c_void_p]),
    "pb_set": (c_int, [c_void_p, c_char_p, c_double]),
    "pb_get": (c_double, [c_void_p, c_char_p]),
    "pb_fault": (c_int, [c_void_p, c_char_p, c_int, c_double, c_double, c_double]),
    "pb_boot": (None, [c_void_p, c_int]),
    "pb_advance": (c_int, [c_void_p, c_char_p, c_int, c_char_p, c_int]),
    "pb_keys": (c_char_p, []),
    "pb_fault_kinds": (c_char_p, []),
    "pb_plant_create": (c_void_p, [c_uint64]),
    "pb_plant_destroy": (None, [c_void_p]),
    "pb_plant_set": (c_int, [c_void_p, c_char_p, c_double]),
    "pb_plant_get": (c_double, [c_void_p, c_char_p]),
    "pb_plant_fault": (c_int, [c_void_p, c_char_p, c_int, c_double, c_double, c_double]),
    "pb_plant_advance": (None, [c_void_p, POINTER(c_uint16), c_double, c_int64]),
    "pb_plant_signals": (None, [c_void_p, POINTER(c_double)]),
    "pb_unit_response": (
        c_int,
        [POINTER(c_char_p), POINTER(c_double), c_int, c_uint64, c_double, c_int64]
        + [POINTER(c_double)] * 4,
    ),
}


class FaultKind(NamedTuple):
    """One kind of fault the plant knows; `size` is "" where a size says nothing."""

    name: str
    at_station: bool
    size: str


@functools.cache
def library(path: Path = LIBRARY) -> ctypes.CDLL:
    """Return the loaded library; raises BenchFaultError when it is missing or not ours."""
    if not path.exists():
        raise BenchFaultError(
            f"native library: {path.name} is not beside {Path(__file__).name}; "
            "install the package again, or compile with: python host/build_hook.py"
        )
    try:
        loaded = ctypes.CDLL(str(path))
        for name, (result, arguments) in _SIGNATURES.items():
            function = getattr(loaded, name)
            function.restype, function.argtypes = result, arguments
    except (OSError, AttributeError) as error:
        raise BenchFaultError(
            f"native library: {path.name} does not load ({error}); "
            "compile it again for this machine: python host/build_hook.py"
        ) from error
    return loaded


@functools.cache
def keys() -> tuple[str, ...]:
    """Return the dotted name of every plant parameter."""
    return tuple(library().pb_keys().decode().split())


@functools.cache
def fault_kinds() -> dict[str, FaultKind]:
    """Return the kinds of fault the plant knows, by name."""
    kinds = {}
    for line in library().pb_fault_kinds().decode().splitlines():
        name, place, size = line.split(" ", 2)
        kinds[name] = FaultKind(name, place == "station", size)
    return kinds


def unit_response(
    parameters: dict[str, float],
    bath_c: Floats,
    power_w: Floats | None = None,
    *,
    step_s: float,
    seed: int = 0,
) -> tuple[Floats, Floats]:
    """Return lift in mm and mean wax temperature in degC of one unit alone, a value a step.

    `bath_c` and `power_w` hold a value for each step; the unit starts closed in balance with
    `bath_c[0]`. Raises ValueError for an unknown parameter or records of unequal length.
    """
    bath_c = np.ascontiguousarray(bath_c, dtype=float)
    if power_w is not None:
        power_w = np.ascontiguousarray(power_w, dtype=float)
        if power_w.shape != bath_c.shape:
            raise ValueError("bath_c and power_w must have the same length")
    names = (c_char_p * len(parameters))(*(name.encode() for name in parameters))
    values = (c_double * len(parameters))(*parameters.values())
    lift_mm, wax_c = np.empty_like(bath_c), np.empty_like(bath_c)
    records = [_pointer(record) for record in (bath_c, power_w, lift_mm, wax_c)]
    unknown = library().pb_unit_response(
        names, values, len(parameters), seed, step_s, bath_c.size, *records
    )
    if unknown:
        raise ValueError(f"no unit parameter {list(parameters)[unknown - 1]!r}")
    return lift_mm, wax_c


def _pointer(record: Floats | None) -> Any:
    return None if record is None else record.ctypes.data_as(POINTER(c_double))

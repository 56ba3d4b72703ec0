"""The plant without a controller: switches and set-points in, what the wires carry out."""

from __future__ import annotations

import ctypes
import math
import weakref
from typing import Any, NamedTuple

from proofbath.errors import BenchFaultError
from proofbath.virtual.description import VirtualSection
from proofbath.virtual.native import library
from proofbath.wire.table import STATIONS

STEP_S = 0.025
Six = tuple[float, ...]
_INPUTS_AT = 2 + 3 * STATIONS
_SPIKE_AT = _INPUTS_AT + 5
_LEADS_AT = _SPIKE_AT + 1
_BUS_AT = _LEADS_AT + 8
_SIGNALS = _BUS_AT + 5


class Drive(NamedTuple):
    """What a controller switches and sets; `element_code` counts 0.5 mA."""

    contactor: bool = False
    heater: bool = False
    element_feed: bool = False
    stirrer: bool = True
    cooling: bool = False
    station_switch: tuple[bool, ...] = (True,) * STATIONS
    element_code: tuple[int, ...] = (0,) * STATIONS


class Leads(NamedTuple):
    """What a broken lead does at a probe's converter; `loose_share` is of its full scale."""

    force_open: bool
    input_loose: bool
    input_at_bias: bool
    loose_share: float


class BusWires(NamedTuple):
    """What is wrong with the bus; bit 0 of a mask is select line A."""

    select_low: int
    select_high: int
    miso_low: bool
    miso_high: bool
    clock_dead: bool


class Signals(NamedTuple):
    """What a controller's wires carry; ratios are of the converters' full scale."""

    bath_ohm: float
    guard_ohm: float
    gauge_ratio: Six
    current_ratio: Six
    voltage_ratio: Six
    level_ok: bool
    stirrer_turning: bool
    emergency_stop_closed: bool
    heater_live: bool
    contactor_open: bool
    stop_spike_s: float
    bath_leads: Leads
    guard_leads: Leads
    bus: BusWires


class VirtualPlant:
    """Bath, probes and stations of a description, advanced by hand."""

    def __init__(self, virtual: VirtualSection, seed: int | None = None) -> None:
        native = library()
        self._native = native
        self._handle = native.pb_plant_create(virtual.seed if seed is None else seed)
        weakref.finalize(self, native.pb_plant_destroy, self._handle)
        configure(self._handle, virtual, native.pb_plant_set, native.pb_plant_fault)

    def advance(self, for_s: float, drive: Drive) -> Signals:
        """Let time pass under one drive, in steps of 25 ms; return the signals of the last."""
        *switches, stations, codes = drive
        numbers = (ctypes.c_uint16 * 17)(*map(int, (*switches, *stations, *codes)))
        self._native.pb_plant_advance(self._handle, numbers, STEP_S, round(for_s / STEP_S))
        out = (ctypes.c_double * _SIGNALS)()
        self._native.pb_plant_signals(self._handle, out)
        gauge, current, voltage = (
            tuple(out[i : i + STATIONS]) for i in range(2, 2 + 3 * STATIONS, STATIONS)
        )
        level, turning, stop, live, opened = map(bool, out[_INPUTS_AT:_SPIKE_AT])
        bath, guard = (_leads(out[i : i + 4]) for i in (_LEADS_AT, _LEADS_AT + 4))
        low, high, miso_low, miso_high, dead = out[_BUS_AT:]
        bus = BusWires(int(low), int(high), bool(miso_low), bool(miso_high), bool(dead))
        return Signals(
            out[0], out[1], gauge, current, voltage, level, turning, stop, live, opened,
            out[_SPIKE_AT], bath, guard, bus,
        )  # fmt: skip

    def get(self, key: str) -> float:
        """Return a true value or parameter by its dotted name; raises KeyError."""
        return read_value(self._native.pb_plant_get, self._handle, key)


def _leads(numbers: list[float]) -> Leads:
    force, loose, at_bias, share = numbers
    return Leads(bool(force), bool(loose), bool(at_bias), share)


def configure(handle: Any, virtual: VirtualSection, put: Any, add_fault: Any) -> None:
    """Hand a description to a native plant through its two functions; raises BenchFaultError."""
    for key, value in virtual.parameters():
        if put(handle, key.encode(), value) != 0:
            raise BenchFaultError(f"plant: no parameter {key}; compile the native library again")
    for f in virtual.fault:
        if add_fault(handle, f.kind.encode(), f.station, f.at_s, f.until_s, f.size or 0.0) != 0:
            raise BenchFaultError(f"plant: fault {f.kind} refused; compile the library again")


def read_value(get: Any, handle: Any, key: str) -> float:
    """Return one value of a native plant; raises KeyError for a name it does not know."""
    value = float(get(handle, key.encode()))
    if math.isnan(value):
        raise KeyError(key)
    return value

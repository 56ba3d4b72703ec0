"""A virtual bench put into ice, steam, a stirred vessel, on blocks or resistors; its references."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from proofbath.bench.link import Link
from proofbath.bench.virtual_port import VirtualPort
from proofbath.bench.workplace import Spot
from proofbath.control.boiling import saturation_c
from proofbath.virtual.bench import VirtualBench
from proofbath.virtual.description import VirtualFault, VirtualSection, VirtualStation, VirtualUnit
from proofbath.wire.table import STATIONS


class VirtualWorkplace:
    """A virtual bench whose references are right, but for `thermometer_k` of the thermometer.

    Each spot is a bench of its own: ice, steam and stirred vessels keep their temperature.
    """

    clear_trip = True

    def __init__(self, virtual: VirtualSection, thermometer_k: float = 0.0) -> None:
        self._virtual = virtual
        self._thermometer_k = thermometer_k
        self._bench: VirtualBench | None = None
        self._spot = Spot("ice")
        self._flowed_a = 0.0

    @contextmanager
    def at(self, spot: Spot) -> Iterator[Link]:
        """Make the bench on which everything is in its place."""
        self._spot = spot
        self._bench = VirtualBench(virtual_spot(self._virtual, spot))
        yield Link(VirtualPort(self._bench))

    def flows(self, what: str, for_s: float) -> None:
        """Keep what flows at this moment."""
        assert self._bench is not None, "something is in its place first"
        self._flowed_a = self._bench.get(f"station.{self._spot.station}.element_a")

    def reads(self, what: str, unit: str, usual: float | None = None) -> float:
        """Return the plant's truth; of a thermometer with its own error."""
        assert self._bench is not None, "something is in its place first"
        if unit == "A":
            return self._flowed_a
        if unit == "kPa":
            return self._virtual.bath.pressure_kpa
        return self._bench.get("bath.temperature_c") + self._thermometer_k


def virtual_spot(virtual: VirtualSection, spot: Spot) -> VirtualSection:
    """Return a virtual bench on which a spot's things are in their place."""
    if spot.kind == "block":
        closed = VirtualUnit(serial="block", station=spot.station, melting_c=160.0)
        height = VirtualFault(kind="over_stroke", station=spot.station, size=spot.value)
        return _at_rest(virtual, 20.0, unit=(closed,), fault=(*virtual.fault, height))
    if spot.kind == "resistor":
        load = VirtualUnit(
            serial="load", station=spot.station, heater_ohm=spot.value, heater_per_k=0.0
        )
        return _at_rest(virtual, 20.0, unit=(load,))
    if spot.kind == "steam":
        return _at_rest(virtual, saturation_c(virtual.bath.pressure_kpa))
    return _at_rest(virtual, 0.0 if spot.kind == "ice" else spot.value)


def _at_rest(virtual: VirtualSection, at_c: float, **changed: object) -> VirtualSection:
    """A vessel of plain water in rest with its surroundings: no layers, no gradient, no mixing."""
    still = {"start_c": at_c, "ambient_c": at_c, "glycol_percent": 0.0, "mixing_k": 0.0}
    still |= {"surface_m2": 0.0, "loss_w_per_k": 0.0}
    # Not checked again: surroundings of 100 °C are no workshop's, but a steam vessel's.
    vessel = virtual.bath.model_copy(update=still)
    probes = {
        name: getattr(virtual, name).model_copy(update={"gradient_k": 0.0})
        for name in ("bath_probe", "guard_probe")
    }
    stations = tuple(s.model_copy(update={"blank": False}) for s in virtual.station)
    changes = {"bath": vessel, **probes, "station": stations, "unit": (), **changed}
    return virtual.model_copy(update=changes)


def virtual_blanks(virtual: VirtualSection) -> VirtualSection:
    """Return a virtual bench with a solid bar at every station."""
    known = {station.station: station for station in virtual.station}
    stations = [known.get(n, VirtualStation(station=n)) for n in range(1, STATIONS + 1)]
    bars = tuple(station.model_copy(update={"blank": True}) for station in stations)
    return virtual.model_copy(update={"station": bars, "unit": ()})

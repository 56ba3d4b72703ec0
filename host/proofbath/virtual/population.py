"""Drawn benches and units for trials: a seed gives a virtual bench.

The spreads are engineering memory, no source, except where a comment says otherwise.
"""

from __future__ import annotations

import numpy as np

from proofbath.virtual.description import (
    VirtualBath,
    VirtualProbe,
    VirtualSection,
    VirtualStation,
    VirtualUnit,
)
from proofbath.wire.table import STATIONS


def draw_unit(
    rng: np.random.Generator, type_unit: VirtualUnit, serial: str, station: int
) -> VirtualUnit:
    """Return a unit as found: its type's model with drawn wax, play, friction and heater."""
    heated = type_unit.heater_ohm > 0
    drawn = {
        "melting_c": rng.normal(type_unit.melting_c, 0.6),
        "wax_mg": rng.normal(type_unit.wax_mg, 8.0),
        "play_k": rng.uniform(1.5, 4.0),
        "wax_w_per_k": rng.uniform(0.5, 1.2),
        "friction_mm": rng.uniform(0.02, 0.08),
        "start_scatter_k": rng.uniform(0.05, 0.2),
        "heater_ohm": rng.uniform(14.0, 16.0) if heated else 0.0,
        "heater_per_k": rng.uniform(0.0, 4e-4),
    }
    return VirtualUnit.model_validate(
        type_unit.model_dump() | drawn | {"serial": serial, "station": station}
    )


def draw_station(rng: np.random.Generator, station: int) -> VirtualStation:
    """Return a station with drawn gradient, gauge, fixture and element channel."""
    return VirtualStation(
        station=station,
        gradient_k=rng.normal(0.0, 0.06),
        gauge_zero_mm=rng.uniform(0.3, 0.5),
        gauge_gain=rng.normal(1.0, 0.002),
        expansion_mm_per_k=rng.normal(0.0005, 0.0002),
        lead_ohm=rng.uniform(0.1, 0.5),
        source_gain=rng.normal(1.0, 0.003),
        current_gain=rng.normal(1.0, 0.002),
        voltage_gain=rng.normal(1.0, 0.002),
    )


def draw_probe(rng: np.random.Generator) -> VirtualProbe:
    """Return a probe with drawn lag and what its correction left of its error."""
    return VirtualProbe(
        lag_s=rng.uniform(4.0, 8.0),
        offset_k=rng.normal(0.0, 0.05),
        slope_k_per_k=rng.normal(0.0, 0.0003),
        gradient_k=rng.normal(0.0, 0.03),
    )


def draw_bath(rng: np.random.Generator, bath: VirtualBath) -> VirtualBath:
    """Return a bath with drawn losses, evaporation, dead time and sheath; its fill is kept."""
    drawn = {
        "loss_w_per_k": bath.loss_w_per_k * rng.uniform(0.8, 1.2),
        "evaporation_w_per_m2": bath.evaporation_w_per_m2 * rng.uniform(0.6, 1.4),
        "dead_s": rng.uniform(3.0, 10.0),
        "sheath_s": rng.uniform(5.0, 15.0),
    }
    return VirtualBath.model_validate(bath.model_dump() | drawn)


def draw_bench(
    seed: int,
    type_unit: VirtualUnit,
    *,
    count: int = STATIONS,
    bath: VirtualBath | None = None,
) -> VirtualSection:
    """Return a drawn bench with `count` drawn units of a type on stations 1, 2, ..."""
    rng = np.random.default_rng(seed)
    stations = tuple(draw_station(rng, n + 1) for n in range(STATIONS))
    serials = [f"{type_unit.serial}-{seed}-{n + 1}" for n in range(count)]
    return VirtualSection(
        seed=seed,
        bath=draw_bath(rng, bath or VirtualBath()),
        bath_probe=draw_probe(rng),
        guard_probe=draw_probe(rng),
        station=stations,
        unit=tuple(draw_unit(rng, type_unit, serials[n], n + 1) for n in range(count)),
    )

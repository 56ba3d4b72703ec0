"""Samples for the bench tests: a healthy one, changed by name."""

from __future__ import annotations

from typing import Any

from proofbath.wire.table import Input, Sample, State

HEALTHY = Sample(
    boot_id=7,
    sequence=1000,
    device_ms=100_000,
    state=State.READY,
    trip_reason=0,
    stop_reason=0,
    causes=0,
    demand_sequence=0,
    bath_sum=39_000,
    bath_fault=0,
    guard_sum=39_010,
    guard_fault=0,
    lift_sum=(400, 500, 600, 700, 800, 900),
    current_sum=(0, 100, 200, 4000, 8000, 16380),
    voltage_sum=(0, 100, 200, 4000, 8000, 16380),
    heater_on_ms=2500,
    duty=250,
    station_flags=(0, 0, 0, 0, 0, 0),
    inputs=int(Input.LEVEL_OK | Input.EMERGENCY_STOP_CLOSED | Input.CONTACTOR_OPEN),
    outputs=0,
    refused=0,
    malformed=0,
)


def sample(**changed: Any) -> Sample:
    return HEALTHY._replace(**changed)

"""Samples to readings and asked demands to wire demands, one at a time and fast."""

from __future__ import annotations

from math import nan, sqrt

from proofbath.bench.calibration import SUM_MAX, Calibration
from proofbath.errors import InputError
from proofbath.run.reading import Demand, Reading
from proofbath.wire import table
from proofbath.wire.session import Sampled
from proofbath.wire.table import DUTY_FULL, LEASE_DEFAULT_MS, SCANS_PER_TICK, STATIONS

Scale = tuple[float, float, int, int]
"""Value of one unit of a sum, value at sum 0, least and greatest sum that is a reading."""


def lift_scales(calibration: Calibration) -> tuple[Scale, ...]:
    """Return how each station's lift sum becomes mm."""
    return tuple(
        (
            s.mm_per_code / SCANS_PER_TICK,
            s.offset_mm,
            s.window_low_code * SCANS_PER_TICK,
            s.window_high_code * SCANS_PER_TICK,
        )
        for s in calibration.station
    )


def current_scales(calibration: Calibration) -> tuple[Scale, ...]:
    """Return how each station's current sum becomes A."""
    return tuple(
        (s.a_per_code / SCANS_PER_TICK, s.offset_a, 0, SUM_MAX) for s in calibration.station
    )


def voltage_scales(calibration: Calibration) -> tuple[Scale, ...]:
    """Return how each station's voltage sum becomes V, before the lead's drop is taken off."""
    return tuple(
        (s.v_per_code / SCANS_PER_TICK, s.offset_v, 0, SUM_MAX) for s in calibration.station
    )


def _scaled(sums: tuple[int, ...], scales: tuple[Scale, ...]) -> tuple[float, ...]:
    return tuple(
        [
            n * gain + offset if low <= n <= high else nan
            for n, (gain, offset, low, high) in zip(sums, scales, strict=True)
        ]
    )


class Converter:
    """A calibration made ready for ten samples a second or ten thousand."""

    def __init__(self, calibration: Calibration) -> None:
        self._bath = calibration.bath.root_terms()
        self._guard = calibration.guard.root_terms()
        self._lift = lift_scales(calibration)
        self._current = current_scales(calibration)
        self._voltage = voltage_scales(calibration)
        self._lead_ohm = tuple(s.lead_ohm for s in calibration.station)
        self._set_code = tuple(s.set_code for s in calibration.station)

    def reading(self, sampled: Sampled) -> Reading:
        """Return a sample in engineering units; NaN where a probe or channel gave no reading."""
        s = sampled.sample
        element_a = _scaled(s.current_sum, self._current)
        terminal_v = _scaled(s.voltage_sum, self._voltage)
        bath_c, guard_c = nan, nan
        if not s.bath_fault:
            c, k, q, g = self._bath
            bath_c = c - k * sqrt(q - g * s.bath_sum)
        if not s.guard_fault:
            c, k, q, g = self._guard
            guard_c = c - k * sqrt(q - g * s.guard_sum)
        return Reading(
            sampled.time_ms / 1000,
            s.sequence,
            _STATE[s.state],
            _REASON[s.trip_reason],
            bath_c,
            guard_c,
            _scaled(s.lift_sum, self._lift),
            element_a,
            tuple(
                [
                    v - a * ohm
                    for v, a, ohm in zip(terminal_v, element_a, self._lead_ohm, strict=True)
                ]
            ),
            s.heater_on_ms / 1000,
            s.duty / DUTY_FULL,
            s.station_flags,
            s.inputs,
            s.outputs,
            sampled.missing,
            _STOP[s.stop_reason],
        )

    def demand(self, asked: Demand, sample: table.Sample, limits: table.Limits) -> table.Demand:
        """Return the line that asks for `asked` in answer to `sample`.

        Codes are rounded down; raises InputError for a duty or current that cannot be asked for
        within `limits`.
        """
        if not 0.0 <= asked.duty <= 1.0:
            raise InputError(f"heater duty {asked.duty:g} is outside 0 to 1")
        codes = _NO_CURRENT
        if any(asked.element_a):
            codes = self._codes(asked.element_a, limits.element_max_code)
        return table.Demand(
            sample.boot_id,
            sample.sequence,
            LEASE_DEFAULT_MS,
            int(asked.duty * DUTY_FULL + 0.5),
            int(asked.stirrer),
            int(asked.cooling),
            codes,
        )

    def _codes(self, element_a: tuple[float, ...], most: tuple[int, ...]) -> tuple[int, ...]:
        codes = tuple([set_code(a) for set_code, a in zip(self._set_code, element_a, strict=True)])
        for station, (code, limit, a) in enumerate(zip(codes, most, element_a, strict=True), 1):
            if code > limit:
                raise InputError(
                    f"station {station}: {a:g} A is above its limit in force "
                    f"(code {code}, limit {limit}); lower the current in the plan"
                )
        return codes


def release(sample: table.Sample) -> table.Demand:
    """Return the line that gives everything back at once: a lease of 0."""
    return table.Demand(sample.boot_id, sample.sequence, 0, 0, 0, 0, _NO_CURRENT)


_NO_CURRENT = (0,) * STATIONS
_STATE = tuple(table.State)
_REASON = tuple(table.TripReason)
_STOP = tuple(table.StopReason)

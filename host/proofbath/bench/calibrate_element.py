"""The calibration of an element channel: currents through known resistors, and the lead."""

from __future__ import annotations

from typing import NamedTuple

from proofbath.bench.calibration import Calibration
from proofbath.bench.calibration_content import ElementContent, ElementPoint, Instrument, RawMean
from proofbath.bench.calibration_fit import fit_element
from proofbath.bench.convert import Converter, release
from proofbath.bench.description import BenchFile
from proofbath.bench.limits import StationLimit, wire_limits
from proofbath.bench.link import Link
from proofbath.bench.start import (
    check_identity,
    check_reference,
    clear_trip,
    greet,
    set_limits,
    wait_quiet,
)
from proofbath.bench.workplace import Spot, Workplace
from proofbath.errors import BenchFaultError
from proofbath.run.reading import Demand
from proofbath.wire.session import Event, Sampled
from proofbath.wire.table import STATIONS, TICK_MS, Limits, Sample, State, StationFlag

SETTLE_TICKS, FLOW_TICKS = 50, 150
FLOW_S = (SETTLE_TICKS + FLOW_TICKS) * TICK_MS / 1000
FREE_MM = 100.0
"""No stroke to be guarded: the gauge rests on its stop."""


class Circuit(NamedTuple):
    """What an element channel is calibrated with; uncertainties of both are relative."""

    currents_a: tuple[float, ...]
    resistors_ohm: tuple[float, ...]
    meter: Instrument
    resistors: Instrument


def calibrate_element(
    work: Workplace, bench: BenchFile, station: int, circuit: Circuit, before: Calibration
) -> ElementContent:
    """Return the scales of a station's element channel from currents through known resistors.

    Currents are small for their time, limited by the controller, and off while anybody is asked.
    """
    converter, most_a = Converter(before), max(circuit.currents_a) * 1.05
    stations: list[StationLimit | None] = [None] * STATIONS
    stations[station - 1] = StationLimit(most_a, FREE_MM)
    limits = wire_limits(bench.limits, before, bench.bath_limit_c(), stations=tuple(stations))
    points = []
    for ohm in circuit.resistors_ohm:
        with work.at(Spot("resistor", ohm, station)) as link:
            _ready(link, bench, station, limits, before, work.clear_trip)
            for current_a in circuit.currents_a:
                greet(link)  # reads away what came in while somebody was asked
                asked = tuple(current_a if n == station - 1 else 0.0 for n in range(STATIONS))
                demand = Demand(0.0, True, False, asked)
                samples = _flow(link, converter, demand, limits, station, work)
                points.append(
                    ElementPoint(
                        set_code=before.station[station - 1].set_code(current_a),
                        resistor_ohm=ohm,
                        meter_a=work.reads("ammeter", "A", current_a),
                        current=RawMean.of([s.current_sum[station - 1] for s in samples]),
                        voltage=RawMean.of([s.voltage_sum[station - 1] for s in samples]),
                    )
                )
    return fit_element(points, circuit.meter, circuit.resistors)


def _ready(
    link: Link, bench: BenchFile, station: int, limits: Limits, before: Calibration, clear: bool
) -> None:
    identity = greet(link)
    check_identity(identity, bench.board(), bench.bench.serial_number, station)
    check_reference(identity, before)
    wait_quiet(link)
    set_limits(link, limits)
    clear_trip(link, identity, before, clear)


def _flow(
    link: Link,
    converter: Converter,
    demand: Demand,
    limits: Limits,
    station: int,
    work: Workplace,
) -> list[Sample]:
    """Let a current flow for `FLOW_S` and return the samples after it has settled."""
    samples: list[Sample] = []

    def answers(event: Event) -> bool:
        if not isinstance(event, Sampled):
            return False
        samples.append(event.sample)
        link.send(converter.demand(demand, event.sample, limits))
        if len(samples) == SETTLE_TICKS:
            work.flows("ammeter", FLOW_TICKS * TICK_MS / 1000)
        return len(samples) >= SETTLE_TICKS + FLOW_TICKS or event.sample.state == State.TRIPPED

    try:
        link.ask(None, answers, 2 * FLOW_S)
    finally:
        if samples:
            link.send(release(samples[-1]))
    if len(samples) < SETTLE_TICKS + FLOW_TICKS:
        raise BenchFaultError(f"{link.port.name}: tripped or silent while a current flowed")
    flags = samples[-1].station_flags[station - 1]
    if flags or samples[-1].state != State.LIVE:
        words = StationFlag(flags).name or "not live"
        raise BenchFaultError(
            f"station {station}: its element was switched off ({words.lower()}); "
            "check resistor, wiring and that its gauge rests inside its window"
        )
    return samples[SETTLE_TICKS:]

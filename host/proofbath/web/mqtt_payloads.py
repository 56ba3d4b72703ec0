"""What the broker is told, one model a topic; every message is its model as JSON."""

from __future__ import annotations

from typing import Any

from proofbath.description import Described


class Online(Described):
    """Topic `online`, retained; the broker itself sets it to false as the last will."""

    online: bool
    """Whether what is told of this bench is kept up to date."""
    at: str | None = None
    """Since when, UTC; not in the last will, which was written beforehand."""
    reason: str = ""
    """Why not, where it was ended on purpose."""


class Identity(Described):
    """Topic `identity`, retained: what the bench is."""

    bench: str
    """Its name as written in its file."""
    program: str
    """Version of proofbath that tells it."""
    virtual: bool
    """Whether no hardware stands behind it."""
    stations: int | None
    """Stations its controller has; null before the first run."""
    controller: dict[str, Any] | None
    """The controller's own account at the start of the newest run: board, firmware, serial."""


class State(Described):
    """Topic `state`, retained: how the bench stands, told on change and every so often."""

    at: str
    """When this was told, UTC."""
    run: int | None
    """Number of the newest run; null before the first."""
    status: str
    """"open" while it runs, then how it ended; "none" before the first."""
    reason: str
    """Why it ended."""
    fresh: bool
    """Whether its newest sample is present: younger than 3 s, of an open run."""
    step: str
    """What the run does just now, in its plan's words."""
    controller: str | None
    """State of the controller in the newest sample: tripped, ready or live."""
    trip: str | None
    """Reason of the latched trip in the newest sample."""
    t_s: float | None
    """The controller's clock at the newest sample."""
    bath_c: float | None
    """Bath temperature of now, °C; null where the newest sample is not present."""
    last_bath_c: float | None
    """Bath temperature in the newest sample, °C, however old that is."""
    batch: str | None
    """Batch of the night; null for a heating test."""
    stage: str | None
    """Stage of the night: as-found, as-left or trial."""
    waiting: int
    """Messages that wait for the broker."""
    dropped_samples: int
    """Sample messages dropped since the program started because the broker was away too long."""
    dropped_events: int
    """Event and result messages dropped, as above."""


class Sample(Described):
    """Topic `sample`: means over `sample_every_s`, calibrated; null where there was no reading."""

    run: int
    """Number of the run."""
    t_s: float
    """Mean of the controller's clock over the samples."""
    samples: int
    """How many samples it is the mean of."""
    controller: str
    """State of the controller in the last of them."""
    bath_c: float | None
    """Bath probe, °C."""
    guard_c: float | None
    """Guard probe, °C."""
    duty: float
    """Bath heater, 0 to 1."""
    lift_mm: tuple[float | None, ...]
    """Lift of each station, mm, as calibrated, not zeroed."""
    element_a: tuple[float | None, ...]
    """Element current of each station, A."""
    element_v: tuple[float | None, ...]
    """Element voltage of each station, V."""


class Event(Described):
    """Topic `event`: what happened in a run, in order; its `id` tells a repeated one."""

    id: str
    """Run, chunk of its journal and place in it: the same whenever it is told."""
    run: int
    """Number of the run."""
    t_s: float
    """The controller's clock."""
    kind: str
    """run_begin, step_begin, step_end, warning, alarm, late, run_end, trip, gap and so on."""
    text: str
    """In words."""
    bath_c: float | None = None
    """Bath temperature at the time, °C, where the run knew it."""


class Value(Described):
    """A measured quantity of a result."""

    value: float | None
    """In the unit its name ends with; null with a reason where the data do not support it."""
    expanded_uncertainty: float | None = None
    """Half width of its 95 % interval."""
    coverage_factor: float | None = None
    """What the standard uncertainty was multiplied by."""
    rate: str | float | None = None
    """"zero", or the ramp's rate in K/min the value holds for."""
    reason: str | None = None
    """Why there is no value."""


class Result(Described):
    """Topic `result`: what a night says of one unit, as soon as it is on record."""

    id: int
    """Number of the result on record: the same whenever it is told."""
    corrects: int | None
    """Number of the result it takes the place of."""
    at: str
    """When it was put on record, UTC."""
    run: int
    """Number of the run."""
    station: int
    """Station, 1 to 6."""
    serial: str
    """Serial number of the unit."""
    unit_type: str
    """Its type."""
    batch: str | None
    """Its batch."""
    stage: str
    """as-found, as-left or trial."""
    program: str
    """Version of the program that analysed it."""
    quantities: dict[str, Value]
    """The measured quantities by name; each name ends with its unit."""
    warnings: tuple[str, ...]
    """Codes of the analysis' warnings."""


TOPICS: dict[str, type[Described]] = {
    "online": Online,
    "identity": Identity,
    "state": State,
    "sample": Sample,
    "event": Event,
    "result": Result,
}
"""The last part of each topic, and what its messages are."""

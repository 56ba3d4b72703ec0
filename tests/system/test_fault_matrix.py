"""Each fault the plant knows, in each phase of a night: outputs, journal and exit status.

The controller's own sources, the plant, the host's loop and the journal, on short plans.  What
must follow stands in one table, a kind a row, with the phases that differ and why.
"""

from __future__ import annotations

from collections import deque
from enum import Enum
from typing import Any, NamedTuple

import pytest

from proofbath.bench.description import BenchFile
from proofbath.bench.link import Link
from proofbath.bench.night import Watch, carry, make_ready, run_head
from proofbath.bench.notes import notes_in
from proofbath.bench.port import PortLostError
from proofbath.bench.start import greet
from proofbath.bench.virtual_port import VirtualPort
from proofbath.cli.night_outcome import exit_status
from proofbath.run.acts import Act, Pause, Resume
from proofbath.run.plan import NightPlan
from proofbath.run.sequencer import Sequencer
from proofbath.run.states import Phase
from proofbath.store.journal import Journal
from proofbath.virtual.bench import VirtualBench
from proofbath.virtual.native import fault_kinds
from proofbath.wire.table import BootCause, State, TripReason

STATION = 2
NOTHING_FED = (0.0, 0.0, 0.0)
AS_AT_60_C = 0.3081
"""Share of full scale of a platinum probe at 60 degC, 123.24 ohm (IEC 60751), against 400 ohm."""
EXIT_STATUS = {"done": 0, "tripped": 3, "lost": 3}
LASTING_S = 1e6


class When(Enum):
    """Where in a night the fault comes: the sequencer's phase, and the label of the step."""

    STIRRING = (Phase.STIRRING, "")
    SOAKING = (Phase.SOAKING, "soak")
    RISING = (Phase.RAMPING, "rise")
    HOLDING = (Phase.HOLDING, "hold")
    FALLING = (Phase.RAMPING, "fall")
    POWER = (Phase.ENERGISING, "power")
    PAUSED = (Phase.PAUSED, "hold")
    COOLING = (Phase.RAMPING, "cool")


class End(NamedTuple):
    """How a run ends: `status` and how its reason begins, or what is noted of the station."""

    status: str
    reasons: tuple[str, ...] = ("",)
    noted: str = ""
    """In an alarm of the run's story."""
    latched: TripReason = TripReason.NONE
    """What the controller holds behind the run."""
    fed: tuple[float, ...] = ()
    """Currents of the stations at the end of the power step, where it is noted there."""


def trips(*reasons: TripReason) -> End:
    said = tuple(f"controller tripped: {reason.name.lower()}" for reason in reasons)
    return End("tripped", said, latched=reasons[0])


def costs_the_station(flag: str, fed: tuple[float, ...] = (0.5, 0.0, 0.5)) -> End:
    return End("done", noted=f"station {STATION}: {flag}", fed=fed)


GOES_ON = End("done")
T = TripReason
EVERYWHERE: dict[When, End] = {}


class Row(NamedTuple):
    """A fault and what follows, in the phases where it differs and why."""

    kind: str
    end: End
    differs: dict[When, End] = EVERYWHERE
    size: float = 0.0


MUST_ARRIVE = (When.RISING, When.FALLING, When.POWER, When.COOLING)
"""Phases with a temperature still to be reached, there or in the step behind."""
GUARD_PROBE_TELLS = dict.fromkeys(MUST_ARRIVE, trips(T.PROBES_DISAGREE, T.GUARD_OVER_LIMIT))
# The converters look for a broken force lead only while nothing is live.
FOUND_AT_REST = GOES_ON._replace(latched=T.GUARD_PROBE_FAULT)
BATH_FOUND_AT_REST = GOES_ON._replace(latched=T.BATH_PROBE_FAULT)
ROWS = (
    Row("heater_welded", trips(T.HEATER_WELDED)),
    # Also in a fall: the heater trims what the cooling valve takes.
    Row("heater_open", trips(T.HEATER_OPEN)),
    # A contactor that sticks shows when it should open: behind the run, and bars the next one.
    Row("contactor_welded", GOES_ON._replace(latched=T.CONTACTOR_MIRROR)),
    Row("contactor_dead", trips(T.CONTACTOR_MIRROR)),
    Row("mirror_stuck_open", trips(T.CONTACTOR_MIRROR)),
    Row("mirror_stuck_closed", GOES_ON._replace(latched=T.CONTACTOR_MIRROR)),
    Row("mains_lost", trips(T.CONTACTOR_MIRROR)),
    Row("extra_heat", trips(T.BATH_OVER_LIMIT, T.GUARD_OVER_LIMIT), size=4000.0),
    Row("extra_heat", trips(T.CLIMB_TOO_FAST, T.BATH_OVER_LIMIT), size=15000.0),
    Row("coolant_lost", trips(T.LEVEL_LOW), size=6.0),
    # Heat that is missing is judged over five minutes; the short plans are over before.
    Row("lid_off", GOES_ON),
    Row("level_low", trips(T.LEVEL_LOW)),
    # Alone a barrier that fails shows nothing: what then remains is for pairs of faults.
    Row("level_stuck", GOES_ON),
    Row("stirrer_stopped", trips(T.STIRRER_STOPPED)),
    Row("stirrer_turning_stuck", GOES_ON),
    Row("emergency_stop", trips(T.EMERGENCY_STOP)),
    Row("estop_spike", GOES_ON, size=1.0),
    Row("cut_out_dead", GOES_ON),
    Row("level_relay_stuck", GOES_ON),
    Row("feed_contactor_welded", GOES_ON),
    # The bath probe hangs in the upper, warmer layers.
    Row("stratified", trips(T.BATH_OVER_LIMIT, T.PROBES_DISAGREE), size=40.0),
    Row("bath_probe_open", trips(T.BATH_PROBE_FAULT)),
    Row("bath_probe_short", trips(T.BATH_PROBE_FAULT)),
    # A level bath hides it; one that must arrive somewhere never does, until the guard probe tells.
    Row("bath_probe_stuck", GOES_ON, GUARD_PROBE_TELLS),
    Row("bath_probe_offset", trips(T.PROBES_DISAGREE), size=-6.0),
    Row("bath_probe_drift", GOES_ON, size=0.5),
    # What is read without a current, or by a loose input, nobody promises: a probe's own size is
    # that of 60 degC, and the top of the scale.  The resistor pulls a loose RTDIN+ to the top.
    Row("bath_probe_force_plus_open", BATH_FOUND_AT_REST, GUARD_PROBE_TELLS, AS_AT_60_C),
    Row("bath_probe_force_plus_open", trips(T.BATH_PROBE_FAULT), size=1.0),
    Row("bath_probe_force_minus_open", BATH_FOUND_AT_REST, GUARD_PROBE_TELLS, AS_AT_60_C),
    Row("bath_probe_force_minus_open", trips(T.BATH_PROBE_FAULT), size=1.0),
    Row("bath_probe_rtdin_minus_open", GOES_ON, GUARD_PROBE_TELLS, AS_AT_60_C),
    Row("bath_probe_rtdin_minus_open", trips(T.BATH_PROBE_FAULT), size=1.0),
    Row("bath_probe_rtdin_plus_open", trips(T.BATH_PROBE_FAULT), size=AS_AT_60_C),
    Row("guard_probe_open", trips(T.GUARD_PROBE_FAULT)),
    Row("guard_probe_short", trips(T.GUARD_PROBE_FAULT)),
    Row("guard_probe_stuck", GOES_ON),
    Row("guard_probe_offset", trips(T.PROBES_DISAGREE), size=-6.0),
    Row("guard_probe_drift", GOES_ON, size=0.5),
    Row("guard_probe_force_plus_open", FOUND_AT_REST, size=AS_AT_60_C),
    Row("guard_probe_force_plus_open", trips(T.GUARD_PROBE_FAULT), size=1.0),
    Row("guard_probe_force_minus_open", FOUND_AT_REST, size=AS_AT_60_C),
    Row("guard_probe_force_minus_open", trips(T.GUARD_PROBE_FAULT), size=1.0),
    Row("guard_probe_rtdin_minus_open", GOES_ON, size=AS_AT_60_C),
    Row("guard_probe_rtdin_minus_open", trips(T.GUARD_PROBE_FAULT), size=1.0),
    Row("guard_probe_rtdin_plus_open", trips(T.GUARD_PROBE_FAULT), size=AS_AT_60_C),
    # It flows only while other stations are fed, and is then taken for the station's own current.
    Row("element_feed_stuck", GOES_ON, size=0.3),
    # A bypass joins the supply ahead of the feed contactor, so a trip does not end it.
    # Its current goes on when everything is off: the trip escalates behind the run.
    Row("bypass_closed", trips(T.ELEMENT_FEED_STUCK)._replace(latched=T.OFF_FAILED), size=0.3),
    # An element's own faults show only while it is fed.
    Row("element_over", GOES_ON, {When.POWER: costs_the_station("element_over")}, 0.2),
    Row("element_open", GOES_ON, {When.POWER: costs_the_station("element_open")}),
    Row("element_short", GOES_ON, {When.POWER: costs_the_station("element_short")}),
    Row("supply_wrong", GOES_ON, size=4.0),
    Row("gauge_open", costs_the_station("gauge_fault")),
    Row("gauge_short", costs_the_station("gauge_fault")),
    Row("gauge_sticking", GOES_ON, size=0.3),
    Row("over_stroke", costs_the_station("over_stroke"), size=15.0),
    # Faults of a unit are its own: they are for the analysis, and no night ends for them.
    Row("bubbles", GOES_ON, size=0.3),
    Row("vent_pin", GOES_ON, size=0.1),
    Row("air_round_element", GOES_ON, size=3.0),
    Row("waxless", GOES_ON, size=8.0),
    Row("unit_stuck", GOES_ON, size=1.0),
    Row("wax_leak", GOES_ON, size=10.0),
    Row("spring_weak", GOES_ON, size=0.3),
    Row("overheated", GOES_ON, size=3.0),
    # The controller's own reference channels tell a converter that has lost its scale.
    Row("gauge_converter_off", trips(T.REFERENCE_CHANNEL), size=0.1),
    Row("current_converter_off", trips(T.REFERENCE_CHANNEL), size=0.1),
    Row("voltage_converter_off", trips(T.REFERENCE_CHANNEL), size=0.1),
    # Each part is known from the others: by its threshold, or by what its last channel carries.
    Row("select_a_low", trips(T.PART_READ_BACK)),
    Row("select_a_high", trips(T.PART_READ_BACK)),
    Row("select_b_low", trips(T.REFERENCE_CHANNEL)),
    Row("select_b_high", trips(T.PART_READ_BACK)),
    Row("select_c_low", trips(T.REFERENCE_CHANNEL)),
    Row("select_c_high", trips(T.PART_READ_BACK)),
    Row("miso_low", trips(T.PART_READ_BACK)),
    Row("miso_high", trips(T.PART_READ_BACK)),
    Row("spi_clock_dead", trips(T.PART_READ_BACK)),
)
PLUG, MUTE, NOISE = "plug pulled", "controller mute", "noise on the line"
RESTARTED = End("lost", ("controller restarted",))
CHAIN = (
    Row(PLUG, End("lost", ("link lost: pulled",))),
    Row(MUTE, End("lost", ("no sample for 10 s",))),
    # A garbled line costs its sample, and the lease outlives many.
    Row(NOISE, GOES_ON),
    # So early the limits are still being burned into a new EEPROM: without them nothing heats.
    Row("boot EXTERNAL", RESTARTED, {When.STIRRING: RESTARTED._replace(latched=T.LIMITS_MISSING)}),
    Row("boot POWER_ON", RESTARTED._replace(latched=T.POWER_ON)),
    Row("boot BROWN_OUT", RESTARTED._replace(latched=T.BROWN_OUT)),
    Row("boot WATCHDOG", RESTARTED._replace(latched=T.WATCHDOG)),
)
"""Between host and controller, not of the plant."""

BENCH = {
    "bench": {"name": "quay"},
    "coolant": {"glycol": "propylene", "share_by_volume": 0.4},
    "bath": {
        "heat_capacity_j_per_k": 31000.0, "loss_w_per_k": 1.7, "evaporation_w_at_90c": 75.0,
        "heater_w": 1500.0, "cooling_w_per_k": 6.0, "cooling_in_c": 15.0,
        "dead_time_s": 5.0, "heater_lag_s": 10.0, "probe_lag_s": 6.0,
    },
    "virtual": {
        "bath": {"start_c": 60.0},
        "unit": [{"serial": f"H103-{n}", "station": n, "melting_c": 114.0} for n in (1, 2, 3)],
    },
}  # fmt: skip
PLAN = {
    "batch": "ferry",
    "stage": "trial",
    "unit_type": {
        "name": "Heron-103", "kind": "heater-assisted", "nominal_start_to_open_c": 103.0,
        "full_open_c": 116.0, "full_lift_mm": 8.0, "cap_c": 106.0,
        "element_max_a": 0.9, "element_ohm": 15.0,
    },
    "station": [{"station": n, "serial": f"H103-{n}"} for n in (1, 2, 3)],
}  # fmt: skip
SOAK = {"kind": "soak", "label": "soak", "to_c": 60.2, "at_least_s": 20, "at_most_s": 20}
RISE = {"kind": "ramp", "label": "rise", "to_c": 60.8, "rate_k_per_min": 1.0}
HOLD = {"kind": "hold", "label": "hold", "for_s": 40}
FALL = {"kind": "ramp", "label": "fall", "to_c": 59.8, "rate_k_per_min": 0.4}
POWER = {
    "kind": "energise", "label": "power", "element_a": 0.5, "at_least_s": 30, "at_most_s": 40,
}  # fmt: skip
COOL = {
    "kind": "ramp", "label": "cool", "to_c": 59.5, "rate_k_per_min": "attainable",
    "purpose": "cool-down",
}  # fmt: skip
STEPS: dict[When, list[dict[str, Any]]] = {
    When.STIRRING: [SOAK, HOLD],
    When.SOAKING: [SOAK, HOLD],
    When.RISING: [SOAK, RISE],
    When.HOLDING: [SOAK, HOLD],
    When.FALLING: [SOAK, FALL],
    When.POWER: [SOAK, POWER, COOL],
    When.PAUSED: [SOAK, HOLD],
    When.COOLING: [SOAK, COOL],
}
PAUSE_TICKS = 300


class Faulty:
    """A virtual bench that gets its fault when the run comes to a phase."""

    def __init__(self, row: Row, when: When) -> None:
        self.description = BenchFile.model_validate(BENCH)
        assert self.description.virtual is not None
        self.bench = VirtualBench(self.description.virtual)
        self.row, self.when = row, when
        self.sequencer: Sequencer | None = None
        self.acts: deque[Act] = deque()
        self.since = 0
        self.fed: list[tuple[float, ...]] = []

    def advance(self, data: bytes) -> bytes:
        if self.sequencer is not None:
            self._look(self.sequencer)
        gone = self.row.kind if self.since else ""
        if gone == PLUG:
            raise PortLostError("pulled")
        said = self.bench.advance(data)
        if gone == MUTE:
            return b""
        return b"\x00sample 7\xff\n" * (self.since % 3) + said if gone == NOISE else said

    def _look(self, sequencer: Sequencer) -> None:
        phase, label = self.when.value
        there = not label or sequencer.progress().label == label
        if self.since:
            self.since += 1
            if self.when is When.PAUSED and self.since == PAUSE_TICKS:
                self.acts.append(Resume())
            if sequencer.phase is Phase.ENERGISING:
                self.fed.append(tuple(self.bench.get(f"station.{n}.element_a") for n in (1, 2, 3)))
        elif self.when is When.PAUSED and there and sequencer.phase is Phase.HOLDING:
            self.acts.append(Pause())
        elif there and sequencer.phase is phase:
            self.since = 1
            self._begin(self.row.kind)

    def _begin(self, kind: str) -> None:
        if kind in fault_kinds():
            station = STATION if fault_kinds()[kind].at_station else 0
            self.bench.begin(kind, station, LASTING_S, self.row.size)
        elif kind.startswith("boot "):
            self.bench.boot(BootCause[kind.removeprefix("boot ")])

    def all_off(self) -> bool:
        names = ["contactor", "heater", "element_feed", "cooling"]
        names += [f"station_switch.{n}" for n in range(1, 7)]
        return not any(self.bench.get(f"output.{name}") for name in names)


def run(faulty: Faulty, journal: Journal) -> Any:
    """As a night is run, with the sequencer where the bench can see its phase."""
    plan = NightPlan.model_validate({**PLAN, "step": STEPS[faulty.when]})
    link = Link(VirtualPort(faulty))
    ready = make_ready(link, plan, faulty.description, journal.path, clear=True)
    sequencer = faulty.sequencer = Sequencer(ready.checked.legs, faulty.description.bath)
    head = run_head(faulty.description, ready, plan.model_dump_json(), "2025-10-01T18:00:00+00:00")
    watch = Watch(lambda _: None, lambda _: None, faulty.acts)
    return carry(link, faulty.description, ready, sequencer, journal.begin(head), watch)


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory) -> Journal:
    return Journal(tmp_path_factory.mktemp("matrix") / "journal.sqlite")


CELLS = [(row, when) for row in (*ROWS, *CHAIN) for when in When]


@pytest.mark.parametrize(
    ("row", "when"), CELLS, ids=[f"{r.kind}-{r.size:g}-{w.name.lower()}" for r, w in CELLS]
)
def test_a_fault_ends_as_it_must(row: Row, when: When, journal: Journal) -> None:
    expected = row.differs.get(when, row.end)
    faulty = Faulty(row, when)
    outcome = run(faulty, journal)
    assert faulty.since, f"the run never came to {when}"

    line = journal.run(outcome.run_id)
    assert (line.status, line.reason) == (outcome.status, outcome.reason)
    assert journal.verify_chain(outcome.run_id) > 0
    assert outcome.status == expected.status, outcome.reason
    assert outcome.reason.startswith(expected.reasons)
    assert exit_status(outcome) == EXIT_STATUS[expected.status]

    for _ in range(40):  # the contactor opens a second behind the heat, the trip may follow
        faulty.bench.advance(b"")
    assert faulty.all_off()
    identity = greet(Link(VirtualPort(faulty.bench)))
    held = TripReason(identity.trip_reason) if identity.state == State.TRIPPED else T.NONE
    if expected.status == "tripped" and expected.latched is not T.OFF_FAILED:
        assert f"controller tripped: {held.name.lower()}" == outcome.reason
    else:
        assert held is expected.latched

    told = [n.text for n in notes_in(journal.events(outcome.run_id)) if n.code == "alarm"]
    assert any(text.startswith(expected.noted) for text in told) or not expected.noted
    if when is When.POWER and expected.noted:
        assert faulty.fed[-1] == pytest.approx(expected.fed, abs=0.01)


def test_the_table_has_a_row_for_every_fault_the_plant_knows() -> None:
    assert {row.kind for row in ROWS} == set(fault_kinds())

"""Proves the interlocks of a bench one by one, with a person who does what is asked."""

from __future__ import annotations

from collections.abc import Callable
from math import floor
from typing import NamedTuple

from proofbath.bench.attendant import STIR, Attendant
from proofbath.bench.convert import Converter
from proofbath.bench.description import BenchFile
from proofbath.bench.interlock_judge import (
    Finding,
    judge_dark,
    judge_flag,
    judge_lease,
    judge_station_off,
    judge_trip,
)
from proofbath.bench.interlocks import Lowered, Row, Setup, StationRow
from proofbath.bench.limits import CLIMB_WINDOW_MIN, StationLimit, wire_limits
from proofbath.bench.link import Link
from proofbath.bench.person import CONTACTOR_DROPPED, Act, Person
from proofbath.bench.preflight import check_rest, mean_of, readings_at_rest
from proofbath.bench.start import greet, set_limits, wait_quiet
from proofbath.errors import BenchFaultError
from proofbath.run.reading import NO_CURRENT, Demand, Reading
from proofbath.wire.session import Sampled
from proofbath.wire.table import (
    STATIONS,
    BootCause,
    Clear,
    Identity,
    Input,
    Limits,
    Output,
    State,
    TripReason,
)

PATIENCE_S = 120.0
"""How long a person may take for an act, and a bath to heat into a lowered limit."""
READY_S = 5.0
"""Stirring or feeding before the act: heat is allowed after three seconds of it."""
AFTER_S = 2.0
"""What is watched behind the trip, and again once the cause is gone."""
CLEAR_PATIENCE_S = 90.0
SILENT_HOST_S = 5.0
DARK_S = 10.0
MIXING_S = 20.0
TEST_A = 0.2
MOST_A = 0.3
LOWERED_K = 1.0
ROOM_K = 25.0
"""Room for the bath below the limit while other rows are proven."""
HEATER_ON_S = 5
HALF = Demand(0.5, True, False, NO_CURRENT)
FULL = Demand(1.0, True, False, NO_CURRENT)


class Limited(NamedTuple):
    """Limits with one of them lowered, and the sign that it is passed."""

    limits: Limits
    passed: Callable[[Reading], bool]


class Prover:
    """One bench; `reopen` closes the link and opens it anew, after a cable or the power is back."""

    def __init__(
        self, link: Link, bench: BenchFile, person: Person, reopen: Callable[[], Link]
    ) -> None:
        self._link = link
        self._bench = bench
        self.person = person
        self._reopen = reopen
        self._converter = Converter(bench.calibration)

    def prove_trip(self, row: Row) -> Finding:
        """Let one trip happen, be undone and be cleared; return what was seen."""
        base = self._limits()
        lowered = self._lowered(row.lowered, base)
        if row.act:
            self.person.wait(f"{row.title}.  Stand by: {row.act}")
        watching = self._prepare(lowered.limits)
        demand = self._begin(watching, row.setup)
        sign = row.sign if row.lowered is Lowered.NONE else lowered.passed
        if row.act:
            self.person.act(Act(row.name, row.act))
        readings = watching.watch(_tripped_for(AFTER_S), PATIENCE_S, demand)
        if row.undo:
            self.person.act(Act("undo", row.undo))
            readings += watching.watch(_gone_for(row.sign, AFTER_S), PATIENCE_S, demand)
        set_limits(self._link, base)
        self._clear()
        return judge_trip(row, readings, sign)

    def prove_flag(self, row: StationRow, station: int) -> Finding:
        """Let one station be flagged while another goes on; return what was seen."""
        self.person.wait(f"Station {station}, {row.title}.  Stand by: {_at(row.act, station)}")
        watching = self._prepare(self._limits())
        demand = self._begin(watching, row.setup, station)
        self.person.act(Act(row.name, _at(row.act, station), station))
        over = _tripped_for(AFTER_S) if row.trips else _flagged_for(station, AFTER_S)
        readings = watching.watch(over, PATIENCE_S, demand)
        self.person.act(Act("undo", row.undo, station))
        watching.watch(_whole_for(station, AFTER_S), PATIENCE_S)
        watching.let_go()
        self._clear()
        return judge_flag(row, station, readings)

    def prove_station_off(self, station: int) -> Finding:
        """Feed a station, then ask for nothing; return what flowed."""
        watching = self._prepare(self._limits())
        demand = self._begin(watching, Setup.FED, station)
        fed = watching.watch(lambda _: False, READY_S, demand)
        left = watching.watch(lambda _: False, AFTER_S, STIR)
        watching.let_go()
        return judge_station_off(station, TEST_A, [fed[-1], *left])

    def prove_lease(self) -> Finding:
        """Fall silent while the bath is heated; return how soon all was off."""
        watching = self._prepare(self._limits())
        demand = self._begin(watching, Setup.HEATED)
        fed = watching.watch(lambda _: False, AFTER_S, demand)
        left = watching.watch(lambda _: False, SILENT_HOST_S)
        return judge_lease([fed[-1], *left])

    def prove_cut_out(self) -> Finding:
        """Trip the hard-wired cut-out, see that it stays open until its reset is pressed."""
        wanted = "opens the contactor, and only its own reset closes it"
        tripping = self._cut_out_trips(
            "Hard-wired cut-out.  Stand by: let it trip.",
            "Turn the cut-out's setting below the bath's temperature, or press its test button.",
        )
        if tripping:
            return Finding(False, f"at its trip: {tripping}", wanted)
        again = self._cut_out_trips(
            "Turn the cut-out's setting back up, but do not press its reset.", ""
        )
        if again:
            return Finding(False, f"before its reset: {again}", wanted)
        self.person.act(Act("reset cut-out", "Now press the cut-out's manual reset."))
        self.person.wait("Pressed?")
        self._clear()
        watching = self._prepare(self._limits())
        readings = watching.watch(lambda r: r.state is State.TRIPPED, READY_S, STIR)
        closed = not readings[-1].inputs & Input.CONTACTOR_OPEN
        watching.let_go()
        self._clear()
        if readings[-1].state is not State.LIVE or not closed:
            return Finding(False, "after its reset the contactor does not close", wanted)
        return Finding(True, "opened the contactor, stayed open until its reset", wanted)

    def prove_cable(self) -> Finding:
        """Lose the controller's cable while heating; return what it did meanwhile and after."""
        wanted = "contactor drops out within 4 s; nothing on when the cable is back"
        self._lose("cable", "Pull the controller's cable.  Listen for the contactor.")
        dropped = self.person.agrees(CONTACTOR_DROPPED)
        identity = self._come_back("cable back", "Plug the cable in again.")
        on = self._dark()
        if not dropped:
            return Finding(False, "the contactor did not drop out", wanted)
        state = State(identity.state).name.lower()
        return Finding(not on, on or f"dropped out; afterwards {state}, all off", wanted)

    def prove_power_failure(self) -> Finding:
        """Lose all power while heating; return whether anything came back by itself."""
        wanted = "tripped by power on or brown out, nothing on although the host asks for heat"
        self._lose("power", "Switch everything off: mains and the controller's own supply.")
        identity = self._come_back("power back", "Wait ten seconds, then switch everything on.")
        on = self._dark(FULL)
        reason = TripReason(identity.trip_reason)
        latched = reason in (TripReason.POWER_ON, TripReason.BROWN_OUT)
        self._clear()
        if not latched:
            boot = BootCause(identity.boot_cause).name.lower().replace("_", " ")
            return Finding(False, f"not latched: started by {boot}", wanted)
        return Finding(not on, on or f"latched {_words(reason)}, all stayed off", wanted)

    def look(self, stations: tuple[int, ...]) -> Identity:
        """Return who answers, with the bench at rest and in order but for a latched trip.

        Raises BenchFaultError with everything that is not.
        """
        identity = greet(self._link)
        wait_quiet(self._link)
        checks = check_rest(readings_at_rest(self._link, self._converter), stations)
        faults = [check.fault() for check in checks if not check.ok]
        if faults:
            raise BenchFaultError(*faults)
        return identity

    def declare(self, question: str) -> Finding:
        """Return what the person says of what no sample shows."""
        yes = self.person.agrees(question)
        return Finding(yes, "yes" if yes else "no", "yes")

    def tidy(self) -> None:
        """Leave the bench quiet after a row that could not be carried to its end."""
        wait_quiet(self._link)

    def _limits(self) -> Limits:
        """The limits most rows are proven under."""
        calibration = self._bench.calibration
        most = (StationLimit(MOST_A, 0.0),) * STATIONS
        bath_c = self._bath().bath_c + ROOM_K
        limits = wire_limits(self._bench.limits, calibration, bath_c, stations=most)
        return limits._replace(over_stroke_code=limits.lift_high_code)

    def _lowered(self, which: Lowered, base: Limits) -> Limited:
        calibration, model = self._bench.calibration, self._bench.bath
        if which is Lowered.BATH:
            limit_c = self._mixed(base).bath_c + LOWERED_K
            limits = base._replace(bath_limit_sum=floor(calibration.bath.code_sum(limit_c)))
            return Limited(limits, lambda r: r.bath_c > limit_c)
        if which is Lowered.GUARD:
            limit_c = self._mixed(base).guard_c + LOWERED_K
            limits = base._replace(guard_limit_sum=floor(calibration.guard.code_sum(limit_c)))
            return Limited(limits, lambda r: r.guard_c > limit_c)
        if which is Lowered.CLIMB:
            bath_c = self._mixed(base).bath_c
            rise_k = model.rise_k_per_min(bath_c) * CLIMB_WINDOW_MIN / 2
            probe = calibration.bath
            counts = floor(probe.code_sum(bath_c + rise_k) - probe.code_sum(bath_c))
            return Limited(base._replace(climb_limit_sum=max(counts, 1)), _tripped)
        if which is Lowered.HEATER_ON:
            return Limited(base._replace(heater_on_limit_s=HEATER_ON_S), _tripped)
        return Limited(base, lambda _: False)

    def _bath(self) -> Reading:
        attendant = Attendant(self._link, self._converter)
        attendant.forget_stale()
        readings = attendant.watch(lambda r: r.bath_c == r.bath_c, PATIENCE_S)
        if not readings or readings[-1].bath_c != readings[-1].bath_c:
            raise BenchFaultError("bath probe gives no reading; plug it in")
        return readings[-1]

    def _mixed(self, base: Limits) -> Reading:
        """Return the probes' means of a bath that was stirred."""
        watching = self._prepare(base)
        readings = watching.watch(lambda _: False, MIXING_S, STIR)
        watching.let_go()
        last = readings[-20:]
        return last[-1]._replace(
            bath_c=mean_of(r.bath_c for r in last), guard_c=mean_of(r.guard_c for r in last)
        )

    def _prepare(self, limits: Limits) -> Attendant:
        """Return who watches a bench that is clear and quiet under these limits."""
        attendant = Attendant(self._link, self._converter, limits)
        attendant.forget_stale()
        set_limits(self._link, limits)
        self._clear()
        return attendant

    def _begin(self, watching: Attendant, setup: Setup, station: int = 0) -> Demand | None:
        """Bring the bench to where the act finds it; return the demand that keeps it there."""
        if setup is Setup.REST:
            return None
        readings = watching.watch(_tripped, READY_S, STIR)
        demand = STIR
        if setup is Setup.FED:
            element_a = [0.0] * STATIONS
            element_a[station - 1] = TEST_A
            demand = Demand(0.0, True, False, tuple(element_a))
        elif setup is Setup.HEATED:
            demand = FULL
        if demand is not STIR and setup is Setup.FED:
            readings += watching.watch(_tripped, AFTER_S, demand)
        if readings[-1].state is not State.LIVE:
            raise BenchFaultError(
                f"the bench does not go live: {_words(readings[-1].trip_reason)};"
                " undo the act before, and look at the bench"
            )
        return demand

    def _clear(self) -> None:
        """Clear whatever trip is latched, as soon as its cause is gone."""
        identity = greet(self._link)
        if identity.state != State.TRIPPED:
            return

        def ready(event: object) -> bool:
            return isinstance(event, Sampled) and event.sample.state == State.READY

        if self._link.ask(Clear(identity.trip_number), ready, CLEAR_PATIENCE_S) is None:
            reason = _words(TripReason(identity.trip_reason))
            raise BenchFaultError(
                f"trip of {reason} cannot be cleared within {CLEAR_PATIENCE_S:.0f} s;"
                " its cause is still there"
            )

    def _cut_out_trips(self, ready: str, act: str) -> str:
        """Go live against an open cut-out; return what was wrong, or nothing."""
        self.person.wait(ready)
        watching = self._prepare(self._limits())
        if act:
            self._begin(watching, Setup.STIRRED)
            self.person.act(Act("cut-out", act))
        readings = watching.watch(_tripped_for(AFTER_S), PATIENCE_S if act else READY_S, STIR)
        tripped = [r for r in readings if r.state is State.TRIPPED]
        if not tripped:
            return "the controller saw the contactor closed"
        reason = tripped[0].trip_reason
        return "" if reason is TripReason.CONTACTOR_MIRROR else f"tripped by {_words(reason)}"

    def _lose(self, name: str, act: str) -> None:
        self.person.wait(f"The bath is heated now.  Stand by: {act}")
        watching = self._prepare(self._limits())
        self._begin(watching, Setup.HEATED)
        watching.watch(lambda r: bool(r.outputs & Output.HEATER), READY_S, HALF)
        self.person.act(Act(name, act))
        try:
            watching.watch(_tripped, PATIENCE_S, HALF)
        except BenchFaultError:
            return
        raise BenchFaultError(f"the link was not lost within {PATIENCE_S:.0f} s; try again")

    def _come_back(self, name: str, act: str) -> Identity:
        self.person.act(Act(name, act))
        self.person.wait("Done?")
        self._link = self._reopen()
        return greet(self._link)

    def _dark(self, demand: Demand | None = None) -> str:
        watching = Attendant(self._link, self._converter, self._limits())
        return judge_dark(watching.watch(lambda _: False, DARK_S, demand))


def _tripped(reading: Reading) -> bool:
    return reading.state is State.TRIPPED


def _lasting(what: Callable[[Reading], bool], for_s: float) -> Callable[[Reading], bool]:
    """Return what is true once `what` has been, without a break, for a time."""
    since_s: list[float] = []

    def over(reading: Reading) -> bool:
        if not what(reading):
            since_s.clear()
            return False
        since_s.append(reading.t_s)
        return reading.t_s - since_s[0] >= for_s

    return over


def _tripped_for(for_s: float) -> Callable[[Reading], bool]:
    return _lasting(_tripped, for_s)


def _gone_for(sign: Callable[[Reading], bool], for_s: float) -> Callable[[Reading], bool]:
    return _lasting(lambda r: not sign(r), for_s)


def _flagged_for(station: int, for_s: float) -> Callable[[Reading], bool]:
    return _lasting(lambda r: bool(r.station_flags[station - 1]), for_s)


def _whole_for(station: int, for_s: float) -> Callable[[Reading], bool]:
    """The gauge reads again and no current flows that nobody asked for."""
    at = station - 1
    return _lasting(
        lambda r: r.lift_mm[at] == r.lift_mm[at] and abs(r.element_a[at]) < TEST_A / 2, for_s
    )


def _at(text: str, station: int) -> str:
    return text.format(n=station)


def _words(reason: TripReason) -> str:
    return reason.name.lower().replace("_", " ")

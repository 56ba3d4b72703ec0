"""The guided loading of a bench: station by station with the person, then the heaters' leads.

Heaters are measured last, with the units under the liquid and hands out: current reaches an
element only while the controller is live, so this closes the contactor.  The bath heater is
never asked for, and the greatest current the limits allow is the test current.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

from proofbath.bench.attendant import Attendant
from proofbath.bench.convert import Converter
from proofbath.bench.description import BenchFile
from proofbath.bench.limits import StationLimit, wire_limits
from proofbath.bench.link import Link
from proofbath.bench.loading import (
    TEST_A,
    PressWatch,
    check_heater,
    check_no_other_current,
    check_preload,
    check_serial,
)
from proofbath.bench.person import TRY_AGAIN, Act, Person
from proofbath.bench.preflight import Check, check_rest, mean_of, readings_at_rest
from proofbath.bench.start import (
    check_identity,
    check_reference,
    clear_trip,
    greet,
    set_limits,
    trip_text,
    wait_quiet,
)
from proofbath.errors import BenchFaultError, InputError
from proofbath.run.plan import LoadedStation, NightPlan
from proofbath.run.profiles import OPEN_C
from proofbath.run.reading import NO_CURRENT, Demand, Reading
from proofbath.wire.guard_levels import value_of
from proofbath.wire.table import STATIONS, Identity, State

PRESS_PATIENCE_S = 60.0
FED_S = 2.0
STIRRED_S = value_of("stirred_ms") / 1000 + 2.0
"""The controller feeds no element before; the stirrer takes a second to turn."""
SETTLED_S = 0.7
SPARE_K = 5.0
"""The controller trips this far above the bath while the heaters are measured."""


class Loaded(NamedTuple):
    """A bench that was loaded: by which controller, and what each place showed."""

    identity: Identity
    checks: dict[int, list[Check]]
    """By station."""


def guide_loading(link: Link, plan: NightPlan, bench: BenchFile, person: Person) -> Loaded:
    """Lead a person through loading; raises InputError with the mismatch that stops it.

    Raises BenchFaultError when the bench itself is not in order.
    """
    return _Guide(link, plan, bench, person).run()


class _Guide:
    def __init__(self, link: Link, plan: NightPlan, bench: BenchFile, person: Person) -> None:
        self._link = link
        self._plan = plan
        self._bench = bench
        self._person = person
        self._converter = Converter(bench.calibration)
        self._attendant = Attendant(link, self._converter)
        self._places = sorted(plan.station, key=lambda place: place.station)
        self._stations = tuple(place.station for place in self._places)
        self._checks: dict[int, list[Check]] = {n: [] for n in self._stations}

    def run(self) -> Loaded:
        identity = greet(self._link)
        bench = self._bench
        check_identity(identity, bench.board(), bench.bench.serial_number, self._stations[-1])
        check_reference(identity, bench.calibration)
        wait_quiet(self._link)
        self._refuse_hot()
        for place in self._places:
            self._hang_up(place)
        self._look_over()
        heated = [place for place in self._places if self._has_heater(place)]
        if heated:
            self._measure_heaters(heated, identity)
        return Loaded(identity, self._checks)

    def _refuse_hot(self) -> None:
        bath_c = mean_of(r.bath_c for r in readings_at_rest(self._link, self._converter))
        if not bath_c < OPEN_C:
            raise InputError(
                f"bath: {bath_c:.1f} °C, loading needs less than {OPEN_C:.0f} °C (scald hazard);"
                " let it cool"
            )

    def _hang_up(self, place: LoadedStation) -> None:
        n = place.station
        self._person.tell(f"Station {n}: {place.serial} ({place.role}).")
        self._passed(n, lambda: check_serial(place, self._person.reads("serial", place.serial)))
        self._person.wait(
            f"Hang it at station {n}, set the gauge to about 0.4 mm of pre-load, hands off."
        )
        self._passed(n, lambda: check_preload(n, self._rest()))
        self._passed(n, lambda: self._press(n))

    def _press(self, station: int) -> Check:
        # Those not hung up yet have gauges that dangle; only what is in its place must keep still.
        hung = [n for n in self._stations if n <= station]
        watched = PressWatch(station, hung, self._rest())
        text = (
            f"Press the valve at station {station} open by about 2 mm and let go"
            " (a blank or a stuck valve: lift the gauge's plunger)."
        )
        self._person.act(Act("press", text, station))
        self._attendant.watch(watched.take, PRESS_PATIENCE_S)
        return watched.check()

    def _look_over(self) -> None:
        """All are hung up: what the night's own checks at rest would find is found now."""
        readings = self._rest()
        faults = [c.fault() for c in check_rest(readings, self._stations) if not c.ok]
        if faults:
            raise BenchFaultError(*faults)

    def _measure_heaters(self, places: list[LoadedStation], identity: Identity) -> None:
        person, link = self._person, self._link
        if not person.agrees(
            "Are all units under the liquid, the lid on and your hands out? The stirrer starts and"
            f" each heater gets {TEST_A:g} A for {FED_S:g} s; the bath is not heated."
        ):
            raise InputError("loading: heaters are never fed in air; immerse the units first")
        clear = identity.state == State.TRIPPED and person.agrees(
            f"The {trip_text(identity, self._bench.calibration)}. Have you removed its cause?"
        )
        rest = self._rest()
        most = [StationLimit(TEST_A, 0.0) if p else None for p in self._fed_places(places)]
        calibration = self._bench.calibration
        # A gauge anywhere in its window is right here: over-stroke is judged in the night.
        limits = wire_limits(
            self._bench.limits,
            calibration,
            mean_of(r.bath_c for r in rest) + SPARE_K,
            stations=tuple(most),
        )
        limits = limits._replace(over_stroke_code=limits.lift_high_code)
        set_limits(link, limits)
        clear_trip(link, identity, calibration, clear)
        feeding = Attendant(link, self._converter, limits)
        try:
            self._feed(feeding, STIRRED_S, NO_CURRENT)
            for place in places:
                for check in self._measure(place, feeding):
                    self._take(place.station, check)
        finally:
            feeding.let_go()

    def _fed_places(self, places: list[LoadedStation]) -> list[LoadedStation | None]:
        by_station = {place.station: place for place in places}
        return [by_station.get(n) for n in range(1, STATIONS + 1)]

    def _measure(self, place: LoadedStation, feeding: Attendant) -> list[Check]:
        currents = list(NO_CURRENT)
        currents[place.station - 1] = TEST_A
        readings = self._feed(feeding, FED_S, tuple(currents))
        fed = [r for r in readings if r.t_s - readings[0].t_s >= SETTLED_S]
        unit_type = self._plan.type_at(place)
        assert unit_type is not None, "a blank has no heater"
        return [
            check_heater(place, unit_type, fed),
            check_no_other_current(place.station, self._stations, fed),
        ]

    def _feed(
        self, feeding: Attendant, seconds: float, currents: tuple[float, ...]
    ) -> list[Reading]:
        demand = Demand(0.0, True, False, currents)
        readings = feeding.watch(lambda r: r.state is State.TRIPPED, seconds, demand)
        if readings and readings[-1].state is State.TRIPPED:
            reason = readings[-1].trip_reason.name.lower().replace("_", " ")
            raise BenchFaultError(f"controller tripped: {reason}; remove the cause and load again")
        return readings

    def _has_heater(self, place: LoadedStation) -> bool:
        unit_type = self._plan.type_at(place)
        return unit_type is not None and unit_type.element_ohm is not None

    def _rest(self) -> list[Reading]:
        self._attendant.forget_stale()
        return readings_at_rest(self._link, self._converter)

    def _passed(self, station: int, look: Callable[[], Check]) -> None:
        """Look, again as often as the person wants; a mismatch that stays stops the loading."""
        check = look()
        while not check.ok:
            self._person.tell(check.fault())
            if not self._person.agrees(TRY_AGAIN):
                break
            check = look()
        self._take(station, check)

    def _take(self, station: int, check: Check) -> None:
        if not check.ok:
            raise InputError(check.fault())
        self._checks[station].append(check)
        self._person.tell(f"  ok  {check.what}: {check.measured}")

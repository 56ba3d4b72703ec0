"""What shows that a station holds the right unit, seated well: readings in, verdicts out."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan

from proofbath.bench.preflight import Check, mean_of
from proofbath.run.plan import LoadedStation
from proofbath.run.reading import Reading
from proofbath.run.unit_type import UnitType

PRELOAD_LEAST_MM, PRELOAD_MOST_MM = 0.25, 0.55
"""0.3 to 0.5 mm is common practice (no source); 0.05 for setting and reading it."""
PRESSED_MM = 1.0
BACK_MM = 0.1
"""A pressed valve comes back this near: its spring works and the gauge does not stick."""
OTHERS_MM = 0.2
"""A neighbour may be shaken by this and is still another station."""
BACK_SAMPLES = 10
TEST_A = 0.08
"""A tenth of a watt: 0.2 K in the wax under the liquid; the controller judges from 0.1 A."""
INTAKE_OHM = 0.5
TYPE_SHARE = 0.10
"""A heater may differ from intake by the one (contacts, leads, 60 K), from its type by the other
(common practice, no source)."""


def check_serial(place: LoadedStation, said: str) -> Check:
    """Return whether the serial scanned or typed is the plan's for its station."""
    return Check(
        f"station {place.station} serial",
        said.strip() == place.serial,
        said.strip() or "nothing",
        place.serial,
        "hang up the plan's unit, or correct the plan",
    )


def check_preload(station: int, rest: Sequence[Reading]) -> Check:
    """Return whether a gauge touches its unit as it should; `rest` is read with hands off."""
    lift_mm = mean_of(r.lift_mm[station - 1] for r in rest)
    return Check(
        f"station {station} pre-load",
        PRELOAD_LEAST_MM <= lift_mm <= PRELOAD_MOST_MM,
        "no reading" if isnan(lift_mm) else f"{lift_mm:.2f} mm",
        f"{PRELOAD_LEAST_MM} to {PRELOAD_MOST_MM} mm",
        "move the gauge in its clamp",
    )


class PressWatch:
    """Follows the gauges while one valve is pressed by hand and let go."""

    def __init__(self, station: int, loaded: Sequence[int], rest: Sequence[Reading]) -> None:
        """Begin with readings at `rest`; `loaded` are the stations that must keep still."""
        self._station = station
        self._rest_mm = {n: mean_of(r.lift_mm[n - 1] for r in rest) for n in loaded}
        self._most_mm = dict.fromkeys(loaded, 0.0)
        self._off_mm = 0.0
        self._back = 0

    def take(self, reading: Reading) -> bool:
        """Return whether it is decided: pressed and back, or another one was pressed."""
        for n, rest_mm in self._rest_mm.items():
            moved_mm = abs(reading.lift_mm[n - 1] - rest_mm)
            if moved_mm > self._most_mm[n]:
                self._most_mm[n] = moved_mm
        self._off_mm = reading.lift_mm[self._station - 1] - self._rest_mm[self._station]
        pressed = self._most_mm[self._station] >= PRESSED_MM
        self._back = self._back + 1 if pressed and abs(self._off_mm) <= BACK_MM else 0
        return self._back >= BACK_SAMPLES or self._other()[1] >= PRESSED_MM

    def check(self) -> Check:
        """Return the verdict on what was taken."""
        moved_mm = self._most_mm[self._station]
        other, other_mm = self._other()
        measured, remedy = f"moved {moved_mm:.2f} mm and back", ""
        if isnan(self._rest_mm[self._station]):
            measured, remedy = "no reading", "check the gauge's cable"
        elif other_mm > OTHERS_MM:
            measured = f"station {other} moved {other_mm:.2f} mm, this one {moved_mm:.2f} mm"
            remedy = "two units or two gauge cables are swapped, or the wrong valve was pressed"
        elif moved_mm < PRESSED_MM:
            measured = f"moved {moved_mm:.2f} mm"
            remedy = "press further; a gauge that does not follow is not seated on its unit"
        elif self._back < BACK_SAMPLES:
            measured = f"moved {moved_mm:.2f} mm, stays {self._off_mm:+.2f} mm away"
            remedy = "a sticking gauge or valve: set it again, and note it when it is the unit"
        wanted = f"{PRESSED_MM:g} mm and back within {BACK_MM:g}, the others below {OTHERS_MM:g}"
        return Check(f"station {self._station} pressed", not remedy, measured, wanted, remedy)

    def _other(self) -> tuple[int, float]:
        others = [(mm, n) for n, mm in self._most_mm.items() if n != self._station]
        most_mm, station = max(others, default=(0.0, 0))
        return station, most_mm


def check_heater(place: LoadedStation, unit_type: UnitType, fed: Sequence[Reading]) -> Check:
    """Return whether a heater under `TEST_A` has the resistance of its intake, else of its type.

    `fed` are readings with the current settled.
    """
    nominal_ohm = place.intake_ohm or unit_type.element_ohm or 0.0
    spread_ohm = INTAKE_OHM if place.intake_ohm else TYPE_SHARE * nominal_ohm
    at = place.station - 1
    current_a = mean_of(r.element_a[at] for r in fed)
    whose = "of its intake" if place.intake_ohm else f"of type {unit_type.name}"
    wanted = f"{nominal_ohm - spread_ohm:.1f} to {nominal_ohm + spread_ohm:.1f} ohm {whose}"
    name = f"station {place.station} heater"
    if not current_a > TEST_A / 2:
        measured = f"{max(0.0, current_a):.3f} A of {TEST_A:g} A flow"
        return Check(name, False, measured, wanted, "check its plug and leads")
    ohm = mean_of(r.element_v[at] for r in fed) / current_a
    return Check(
        name,
        abs(ohm - nominal_ohm) <= spread_ohm,
        f"{ohm:.1f} ohm",
        wanted,
        "another unit's heater, or a bad contact: check leads and serial",
    )


def check_no_other_current(station: int, loaded: Sequence[int], fed: Sequence[Reading]) -> Check:
    """Return whether current flows at the fed station alone."""
    others = {n: mean_of(r.element_a[n - 1] for r in fed) for n in loaded if n != station}
    worst = max(others, key=lambda n: others[n], default=0)
    worst_a = others.get(worst, 0.0)
    return Check(
        f"station {station} leads",
        not worst_a > TEST_A / 2,
        f"{worst_a:.3f} A at station {worst}" if worst_a > TEST_A / 2 else "its own current only",
        "no current elsewhere",
        "element leads are swapped: put them right",
    )

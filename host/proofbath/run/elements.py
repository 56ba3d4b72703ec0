"""The elements of a run: what was found of each before it is fed, and which may be fed.

Nothing but its own coefficient lets the controller see an element run hot.  One whose coefficient
is not known is fed only while somebody stays; one that is dry is not fed in this run.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any, NamedTuple

from proofbath.run.element_check import (
    GREATEST_PER_K,
    Coefficient,
    Mean,
    Warming,
    coefficient,
    dry,
)
from proofbath.wire.table import STATIONS
from proofbath.wire.watches import Said, Watch

NO_GUARD = (0,) * STATIONS


class GuardInForce(NamedTuple):
    """The controller guards elements by these coefficients now, in 1e-5/K a station."""

    per_k: tuple[int, ...]


class Elements:
    """What is known of each station's element in this run."""

    def __init__(self, attended: bool = False, before: str = "") -> None:
        """Begin anew, or with what an earlier part of the run found (`text`)."""
        self._attended = attended
        self._cold: dict[int, Warming] = {}
        self._wet: dict[int, Warming] = {}
        self._soak: dict[int, Warming] = {}
        self._barred: set[int] = set()
        self._judged: set[int] = set()
        self.in_force = NO_GUARD
        """What the controller guards by, as it said itself."""
        if before:
            self._recall(before)
            self.in_force = self.guard

    @property
    def may_feed(self) -> tuple[bool, ...]:
        """Return for each station whether its element may be fed."""
        return tuple(station not in self._barred for station in range(1, STATIONS + 1))

    @property
    def guard(self) -> tuple[int, ...]:
        """Return what the controller shall guard by: in 1e-5/K a station, 0 where not known."""
        return tuple(
            self.coefficient(station).code if station in self._judged else 0
            for station in range(1, STATIONS + 1)
        )

    def coefficient(self, station: int) -> Coefficient:
        """Return the coefficient of an element as found in this run."""
        return coefficient(self._cold.get(station), self._soak.get(station))

    def core_c(self, station: int, ohm: float) -> float:
        """Return the core's temperature that a resistance tells; NaN where it cannot be known."""
        soak, known = self._soak.get(station), self.coefficient(station)
        if soak is None or known.doubt:
            return math.nan
        return soak.bath_c + (ohm / soak.base.value - 1.0) / known.per_k

    def checked(
        self, found: Mapping[int, Warming | None], brief: bool, last: bool
    ) -> list[tuple[str, Said]]:
        """Take what a check found, by station; return what to say, each with its code."""
        said = []
        for station, warming in found.items():
            if warming is None or brief:
                self._soak.pop(station, None)
                self._soak |= {station: warming} if warming is not None else {}
            else:
                self._take_whole(station, warming)
                said += self._bar_dry(station, GREATEST_PER_K)
        if last:
            for station in sorted({*self._cold, *self._soak, *found}):
                said += self._judge(station)
        return said

    def text(self) -> str:
        """Return all that is known as JSON."""
        kept = {"cold": self._cold, "wet": self._wet, "soak": self._soak}
        stations = {"barred": sorted(self._barred), "judged": sorted(self._judged)}
        return json.dumps({name: _dumped(found) for name, found in kept.items()} | stations)

    def _take_whole(self, station: int, warming: Warming) -> None:
        self._wet[station] = warming
        cold = self._cold.get(station)
        if cold is None or warming.bath_c < cold.bath_c:
            self._cold[station] = warming

    def _bar_dry(self, station: int, per_k: float) -> list[tuple[str, Said]]:
        warming = self._wet.get(station)
        why = "" if warming is None else dry(warming, per_k)
        if not why or station in self._barred:
            return []
        self._barred.add(station)
        return [("alarm", Watch.ELEMENT_DRY.of_station(station, why=why))]

    def _judge(self, station: int) -> list[tuple[str, Said]]:
        self._judged.add(station)
        if station in self._barred:
            return []
        doubt = self._doubt(station)
        if not doubt:
            return self._bar_dry(station, self.coefficient(station).surely_per_k)
        if self._attended:
            return [("warning", Watch.ELEMENT_ATTENDED.of_station(station, why=doubt))]
        self._barred.add(station)
        return [("alarm", Watch.ELEMENT_ALONE.of_station(station, why=doubt))]

    def _doubt(self, station: int) -> str:
        """Why an element cannot be called wet and guarded; empty where it can be judged."""
        wet = self._wet.get(station)
        if wet is not None and math.isnan(wet.late.value):
            return "its wet check did not get its current"
        return self.coefficient(station).doubt

    def _recall(self, before: str) -> None:
        kept = json.loads(before)
        self._cold, self._wet, self._soak = (_loaded(kept[n]) for n in ("cold", "wet", "soak"))
        self._barred, self._judged = set(kept["barred"]), set(kept["judged"])


def _dumped(found: dict[int, Warming]) -> dict[str, list[Any]]:
    return {str(station): [_field(value) for value in w] for station, w in found.items()}


def _field(value: float | bool | Mean) -> Any:
    if isinstance(value, Mean):
        return [_field(part) for part in value]
    return None if math.isnan(value) else value


def _loaded(kept: dict[str, list[Any]]) -> dict[int, Warming]:
    found = {}
    for station, (bath_c, base_w, power_w, *means, hasty) in kept.items():
        base, early, late = (Mean(*map(_number, mean)) for mean in means)
        figures = (bath_c, base_w, _number(power_w), base, early, late)
        found[int(station)] = Warming(*figures, hasty)
    return found


def _number(value: float | None) -> float:
    return math.nan if value is None else value

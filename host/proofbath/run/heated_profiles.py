"""The profiles that feed elements: by power at several baths, by currents at one, or on ramps.

All begin with an unpowered rise: the reference unit opens on it, and so does a unit that needs no
power. Power moves the start-to-open down by `LEAST_K_PER_W` to `MOST_K_PER_W`; baths, currents and
ends of ramps follow from that and from what type and bath allow.
"""

from __future__ import annotations

import math
from typing import Annotated, NamedTuple

from pydantic import Field

from proofbath.control.bath_model import BathModel
from proofbath.description import Described
from proofbath.errors import InputError
from proofbath.quantity.currents import SHUT_K
from proofbath.run.feed_faults import no_heater_data
from proofbath.run.power_reach import LEAST_K_PER_W, MOST_K_PER_W, reach_k
from proofbath.run.profile import Energise, Hold, PowerRamp, Purpose, Ramp, Soak, Step, Temperature
from proofbath.run.unit_type import Opens, UnitType

AT_ONE_BATH, ON_RAMPS = "currents-at-one-bath", "openings-at-currents"
HOT_K = 0.5
"""The hottest bath stays so far below the night's limit."""
BELOW_START_K = 3.0
"""... and so far below the type's start, where units are still shut without power."""
APART_K = 2.0
"""Baths nearer to each other tell nothing of the film (common practice, no source)."""
LEAST_SPAN_K = 4.0
UNDER_K = 8.0
"""A ramp with current begins so far below the earliest start expected; currents at one bath are
taken so far below the start without power."""
OVER_FULL_K = 2.0
USUAL_A = (0.25, 0.5, 0.75, 1.0)
APART, APART_A = 0.04, 0.01
"""Set currents that differ by less, by the one or by the other, are one current for a result: two
readings are taken for one current within half of it."""
SEEN_K = 1.0
"""A ramp of the bath shows an opening up to so far below the night's limit."""
LONGEST_HELD_S = 900.0
ZERO_C = 60.0
ZERO_UNDER_K = 12.0
"""The soak for the zero lies at 60 °C, or so far below the first start where that is colder."""
COLDEST_C = 45.0

Current = Annotated[float, Field(gt=0.0, le=2.0)]


class HeatedFigures(Described):
    """What may be asked for otherwise of the profiles that feed elements: `[heated]` of a plan."""

    baths: Annotated[int, Field(ge=2, le=8)] = 4
    """Baths of the power ramps."""
    span_k: Annotated[float, Field(ge=LEAST_SPAN_K, le=40.0)] = 12.0
    """From the coolest to the hottest of them, where type and bath allow."""
    current_a: Annotated[list[Current], Field(min_length=1, max_length=8)] | None = None
    """Set currents, in rising order; 0.25, 0.5, 0.75 and 1.0 A or the type's greatest when left
    out."""
    opening_a: Annotated[list[Current], Field(min_length=1, max_length=8)] | None = None
    """Set currents of the bath's ramps, where they are not those of `current_a`."""
    bath_c: Temperature | None = None
    """Bath for currents at one temperature; 8 K below the type's start when left out."""
    held_s: Annotated[float, Field(ge=60.0, le=3600.0)] = 120.0
    """How long each current at one bath is held at least, also where the lift is steady before."""
    each_from_shut: bool = False
    """Let the valves close before each current at one bath: for lifts some time after it came."""
    rise_k_per_min: Annotated[float, Field(ge=0.1, le=2.0)] = 0.5
    """Rate of the ramps at set currents."""


class Place(NamedTuple):
    """What a bench offers a profile."""

    limit_c: float
    """Highest temperature of its bath."""
    model: BathModel
    most_a: float = math.inf
    """Greatest current of its source."""


class HeatedNight(NamedTuple):
    """What the profiles are made for: type, bench, how many elements, and what was asked."""

    unit_type: UnitType
    limit_c: float
    """Highest temperature of the night: the bath's, or the lowest cap of what hangs."""
    place: Place
    elements: int
    figures: HeatedFigures
    expected: Opens | None = None
    """Where its units open; as their type says where it is not known."""

    @property
    def opens(self) -> Opens:
        """Where the units open without power."""
        return self.expected or self.unit_type.opens

    @property
    def ohm(self) -> float:
        """Nominal resistance of an element; raises InputError for a type without."""
        if self.unit_type.element_ohm is None:
            raise InputError(no_heater_data(self.unit_type.name))
        return self.unit_type.element_ohm

    @property
    def most_a(self) -> float:
        """Greatest current of an element."""
        return min(self.unit_type.element_max_a, self.place.most_a)

    @property
    def most_w(self) -> float:
        """Greatest power of an element, in tenths of a watt."""
        return math.floor(10.0 * self.most_a**2 * self.ohm) / 10.0

    @property
    def start_c(self) -> float:
        """Where the first unit opens without power."""
        return self.opens.first_c


def power_baths_c(night: HeatedNight) -> tuple[float, ...]:
    """Return the baths of the power ramps, coolest first: an element must open units in each."""
    last_c = night.opens.last_c  # the unpowered rise shows those that open earlier
    hottest_c = min(night.limit_c - HOT_K, last_c - BELOW_START_K)
    left_k = reach_k(night.unit_type, night.most_w) - (last_c - hottest_c)
    span_k = max(LEAST_SPAN_K, min(night.figures.span_k, left_k))
    count = max(2, min(night.figures.baths, 1 + int(span_k / APART_K)))
    return tuple(round(hottest_c - span_k * (1.0 - n / (count - 1)), 1) for n in range(count))


def currents_a(night: HeatedNight) -> tuple[float, ...]:
    """Return the set currents: what was asked, or the usual ones within the type's greatest."""
    if night.figures.current_a is not None:
        return tuple(night.figures.current_a)
    most_a = min(night.most_a, USUAL_A[-1])
    return (*(a for a in USUAL_A if a < most_a and told_apart(a, most_a)), most_a)


def told_apart(low_a: float, high_a: float) -> bool:
    """Tell whether results know two set currents from each other."""
    return high_a - low_a >= max(APART * high_a, APART_A)


def openings_a(night: HeatedNight) -> tuple[float, ...]:
    """Return the currents of the bath's ramps: what was asked, or the set currents."""
    asked = night.figures.opening_a
    return currents_a(night) if asked is None else tuple(asked)


def unpowered_rise(night: HeatedNight) -> list[Step]:
    """Return the rise before any current: for the reference unit, the zero, and early units."""
    zero_c = round(max(COLDEST_C, min(ZERO_C, night.start_c - ZERO_UNDER_K)), 1)
    return [
        Soak(label="cycle 1: soak for the zero", cycle=1, to_c=zero_c),
        Ramp(
            label="cycle 1: rising, unpowered",
            cycle=1,
            to_c=round(night.limit_c - HOT_K, 1),
            rate_k_per_min=1.0,
        ),
        Hold(label="cycle 1: lift of the reference unit", cycle=1, for_s=300.0),
    ]


def power_conditioning(night: HeatedNight) -> list[Step]:
    """Return one fast powered cycle at the coolest bath."""
    return _powered(0, "conditioning", power_baths_c(night)[0], 2.0, night.most_w)


def power_ramps(night: HeatedNight, cycle: int) -> list[Step]:
    """Return two power ramps, at 1 and 0.5 W/min, at each bath, the first as number `cycle`."""
    steps: list[Step] = []
    for bath_c in power_baths_c(night):
        for rate_w_per_min in (1.0, 0.5):
            if rate_w_per_min < 1.0 and bath_c > night.start_c - SHUT_K:
                steps.append(_let_close(cycle, night.start_c - SHUT_K))
            steps += _powered(cycle, "recorded", bath_c, rate_w_per_min, night.most_w)
            cycle += 1
    return steps


def currents_at_one_bath(night: HeatedNight, cycle: int) -> list[Step]:
    """Return set currents one after the other upwards, each to steady, then a power ramp down.

    Where it is asked for, the valves close before each.
    """
    figures = night.figures
    at_c = bath_of_currents_c(night)
    shut_c = min(at_c, night.start_c - SHUT_K)
    name = f"cycle {cycle}"
    to_bath: list[Step] = [
        _let_close(cycle, shut_c),
        Soak(label=f"{name}: soak at {at_c:g} °C", cycle=cycle, to_c=at_c),
    ]
    down = PowerRamp(label=f"{name}: power falling", cycle=cycle, to_w=0.0, rate_w_per_min=4.0)
    steps: list[Step] = []
    for n, a in enumerate(currents_a(night)):
        if n and figures.each_from_shut:
            steps.append(down)
        if not n or figures.each_from_shut:
            steps += to_bath
        energise = Energise(
            label=f"{name}: {a:g} A at {at_c:g} °C",
            cycle=cycle,
            element_a=a,
            at_least_s=figures.held_s,
            at_most_s=max(LONGEST_HELD_S, figures.held_s),
        )
        steps.append(energise)
    return [*steps, down.model_copy(update={"rate_w_per_min": 1.0})]


def bath_of_currents_c(night: HeatedNight) -> float:
    """Return the bath for currents at one temperature."""
    usual_c = round(min(night.limit_c - HOT_K, night.start_c - UNDER_K), 1)
    return night.figures.bath_c or usual_c


def opens_under_c(night: HeatedNight) -> float:
    """Return up to where a ramp of the bath shows an opening."""
    return night.limit_c - SEEN_K


def opens_a_unit(night: HeatedNight, current_a: float) -> bool:
    """Tell whether a current may open a unit on a ramp of the bath."""
    return night.start_c - MOST_K_PER_W * current_a**2 * night.ohm <= opens_under_c(night)


def openings_at_currents(night: HeatedNight, cycle: int) -> list[Step]:
    """Return a rise and a fall of the bath at each set current that opens a unit in this bath."""
    steps: list[Step] = []
    for a in openings_a(night):
        if opens_a_unit(night, a):
            steps += _opening(night, cycle, a, a**2 * night.ohm)
            cycle += 1
    return steps


def _opening(night: HeatedNight, cycle: int, current_a: float, power_w: float) -> list[Step]:
    from_c = max(COLDEST_C, round(night.start_c - MOST_K_PER_W * power_w - UNDER_K, 1))
    full_c = night.opens.full_c - LEAST_K_PER_W * power_w + OVER_FULL_K
    top_c = round(min(night.limit_c - HOT_K, full_c), 1)
    shut_c = night.place.model.falls_from_c(from_c, power_w * night.elements)
    name, at = f"cycle {cycle}", f"at {current_a:g} A"

    def ramp(way: str, to_c: float) -> Step:
        return Ramp(
            label=f"{name}: {way} {at}",
            cycle=cycle,
            to_c=to_c,
            rate_k_per_min=night.figures.rise_k_per_min,
            element_a=current_a,
            ends_with_lifts=True,
        )

    def down() -> Step:
        return PowerRamp(label=f"{name}: power falling", cycle=cycle, to_w=0.0, rate_w_per_min=4.0)

    return [
        Soak(label=f"{name}: soak for {current_a:g} A", cycle=cycle, to_c=from_c, element_a=0.0),
        ramp("rising", top_c),
        Hold(label=f"{name}: full lift {at}", cycle=cycle, for_s=300.0, element_a=current_a),
        ramp("falling", min(shut_c, top_c)),
        down(),
    ]


def _powered(
    cycle: int, purpose: Purpose, bath_c: float, rate_w_per_min: float, to_w: float
) -> list[Step]:
    name = purpose if purpose == "conditioning" else f"cycle {cycle}"
    return [
        Soak(label=f"{name}: soak at {bath_c:g} °C", cycle=cycle, purpose=purpose, to_c=bath_c),
        PowerRamp(
            label=f"{name}: power rising at {rate_w_per_min:g} W/min",
            cycle=cycle,
            purpose=purpose,
            to_w=to_w,
            rate_w_per_min=rate_w_per_min,
        ),
        PowerRamp(
            label=f"{name}: power falling",
            cycle=cycle,
            purpose=purpose,
            to_w=0.0,
            rate_w_per_min=max(1.0, rate_w_per_min),
        ),
    ]


def _let_close(cycle: int, to_c: float) -> Step:
    """Between its closing and its opening a valve stays open without power: cool it first."""
    return Soak(
        label=f"cycle {cycle}: let the valves close",
        cycle=cycle,
        to_c=round(to_c, 1),
        at_least_s=120.0,
    )

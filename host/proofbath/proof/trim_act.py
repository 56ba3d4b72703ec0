"""What is done to a unit in one round, and what it does: equivalent lift, shift, stretch."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from proofbath.errors import InputError

Floats = np.ndarray

CLEAN = "clean wax"
"""The source whose filler share is none by definition."""
OWN = "own fill"
"""The source a unit of the type was filled from when it was made."""
WAX_MM3_PER_MG = 1.16
"""1.10 solid to 1.30 liquid; this where a valve begins to lift [element model]."""
COPPER_MM3_PER_MG = 1 / 8.96
COPPER_SHARE = COPPER_MM3_PER_MG / WAX_MM3_PER_MG
COLD_SHORT = 0.04
"""Wax cold takes so much less of its volume than where the valve begins to lift."""
SPRING_K_PER_MPA = 0.24
"""Melting rises with pressure: Clapeyron, from memory."""


class Donor(NamedTuple):
    """Another wax: how far from this unit's it melts, in K, negative for colder, with its u."""

    source: str
    full_shift_k: float
    u_shift_k: float


class Act(NamedTuple):
    """What a round changes; + is more wax, a thicker shim, a closing that leaves less cavity.

    Masses are of what is on the balance, metal powder included. With `pin_stick_out_mm` the
    unit is filled until its cold pin stands so much further out, and `mass_in_mg` is foreseen.
    """

    mass_out_mg: float = 0.0
    mass_in_mg: float = 0.0
    source: str = CLEAN
    donor: Donor | None = None
    shim_mm: float = 0.0
    closing_mm: float = 0.0
    """How much deeper it is closed."""
    spring_mpa: float = 0.0
    pin_stick_out_mm: float | None = None
    opened: bool = True

    @property
    def doses(self) -> int:
        """How many times something is weighed."""
        return (self.mass_out_mg > 0) + (self.mass_in_mg > 0)


class Part(NamedTuple):
    """A part of a fill: where it came from and its mass in mg, metal powder included."""

    source: str
    mass_mg: float


class Fill(NamedTuple):
    """What a unit holds, stirred together when melted, and the areas of its pin and bore."""

    parts: tuple[Part, ...]
    pin_area_mm2: float
    bore_area_mm2: float = 78.5
    """Of a 10 mm bore: closed 0.05 mm deeper lifts as 3.4 mg of wax."""

    @property
    def mass_mg(self) -> float:
        """Mass of the whole fill."""
        return sum(part.mass_mg for part in self.parts)

    def after(self, act: Act) -> Fill:
        """Return what a unit holds after wax was taken out of it and other put in."""
        share = 1.0 - act.mass_out_mg / self.mass_mg
        kept = {part.source: share * part.mass_mg for part in self.parts}
        if act.mass_in_mg:
            kept[act.source] = kept.get(act.source, 0.0) + act.mass_in_mg
        return self._replace(parts=tuple(Part(*item) for item in kept.items()))


class Theta(NamedTuple):
    """Possible values of what a shop has to learn, arrays of one shape."""

    wax: Floats
    """Over what the volume of clean wax and the area of the pin say."""
    closing_mm: Floats
    exchange: Floats
    spring: Floats
    filler: Mapping[str, Floats]
    """By source; a source that is not named is clean wax."""

    def filler_of(self, source: str) -> Floats:
        """Return the metal powder's share by mass of a source."""
        return self.filler.get(source, np.zeros_like(self.wax))

    def filler_in(self, fill: Fill) -> Floats:
        """Return the metal powder's share by mass of a unit's fill."""
        shares = [part.mass_mg * self.filler_of(part.source) for part in fill.parts]
        return np.asarray(sum(shares) / fill.mass_mg)


class Errors(NamedTuple):
    """What a round misses by, arrays of one shape: balance in mg, pin's stick-out, shim in mm."""

    out_mg: Floats | float = 0.0
    in_mg: Floats | float = 0.0
    stick_out_mm: Floats | float = 0.0
    shim_mm: Floats | float = 0.0


class Effect(NamedTuple):
    """What an act does: lift in mm, shift in K, stretch of the wax's share, cold stick-out."""

    lift_mm: Floats
    shift_k: Floats
    stretch: Floats
    stick_out_mm: Floats
    mass_in_mg: Floats


def effect(act: Act, fill: Fill, theta: Theta, errors: Errors | None = None) -> Effect:
    """Return what an act does for every value of what is not known."""
    off = errors or Errors()
    per_mg = WAX_MM3_PER_MG * theta.wax / fill.pin_area_mm2
    out_mg = act.mass_out_mg + (off.out_mg if act.mass_out_mg else 0.0)
    given, own = theta.filler_of(act.source), theta.filler_in(fill)
    takes_in = 1.0 - given * (1.0 - COPPER_SHARE)
    takes_out = 1.0 - own * (1.0 - COPPER_SHARE)
    if act.pin_stick_out_mm is None:
        in_mg = act.mass_in_mg + (off.in_mg if act.mass_in_mg else 0.0)
    else:
        cold = per_mg * (takes_out - COLD_SHORT * (1 - own)) * out_mg
        wanted = act.pin_stick_out_mm + off.stick_out_mm + cold
        in_mg = wanted / (per_mg * (takes_in - COLD_SHORT * (1 - given)))
    own_mg = fill.mass_mg * (1 - own)
    kept_mg = (fill.mass_mg - out_mg) * (1 - own)
    given_mg = in_mg * (1 - given)
    more_mg = given_mg + kept_mg - own_mg
    by_wax = per_mg * (in_mg * takes_in - out_mg * takes_out)
    shift = SPRING_K_PER_MPA * theta.spring * act.spring_mpa
    if act.donor is not None:
        share = given_mg / np.maximum(given_mg + kept_mg, 1.0)
        shift = shift + theta.exchange * act.donor.full_shift_k * share
    shim_mm = act.shim_mm + (off.shim_mm if act.shim_mm else 0.0)
    lift = by_wax + shim_mm + act.closing_mm * fill.bore_area_mm2 / fill.pin_area_mm2
    if act.opened:
        lift = lift + theta.closing_mm
    zero = np.zeros_like(theta.wax)
    return Effect(
        lift + zero,
        shift + zero,
        more_mg / own_mg + zero,
        by_wax - COLD_SHORT * per_mg * more_mg + zero,
        in_mg + zero,
    )


def check_act(act: Act, fill: Fill) -> None:
    """Raise InputError where an act cannot be done to a unit."""
    if act.mass_out_mg < 0 or act.mass_in_mg < 0:
        raise InputError(
            f"{act.mass_out_mg:g} mg out and {act.mass_in_mg:g} mg in: give both as figures of 0"
            " or more"
        )
    if act.mass_out_mg > fill.mass_mg:
        raise InputError(
            f"{act.mass_out_mg:g} mg out of a unit that holds {fill.mass_mg:g} mg: check the figure"
        )
    if not act.opened and (act.doses or act.closing_mm):
        raise InputError("wax or the closing changed on a unit that was not opened: say it was")

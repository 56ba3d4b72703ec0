"""Units to be reworked in simulated shops: drawn, measured, changed; all from the closed forms."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from proofbath.proof.lift_curve import Element, LiftCurve, OpeningCurve, lift_curve
from proofbath.proof.trim_act import COPPER_MM3_PER_MG, OWN, Act, Donor, Fill, Part
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.truth import (
    Power,
    falling_c,
    lift_mm,
    pin_area_mm2,
    rising_c,
    steady_volume_lift_mm,
    volume_lift_mm,
)

Floats = np.ndarray

AT_MM = 2.0
"""Where an engine regulates (common practice, no source): targets are stated at this lift."""
CLOSING_MM, DOSING_MG, STICK_OUT_MM = 0.2, 1.0, 0.1
NIGHT_K, U_BATH_K = 0.1, 0.1
GAUGE_MM = 0.004
UNIT_MELTING_K, UNIT_WAX_MG, UNIT_FILLER = 0.6, 8.0, 0.005
DONOR_K = 0.5
DONOR_SOURCE = "melted out of other units"
HEATED_W, UNPOWERED_K = 4.0, 0.3
LEVELS_MM = np.concatenate([[0.1, 0.2, 0.35], np.arange(0.5, 9.6, 0.5)])
DENSEST_K = 2.0


class Population(NamedTuple):
    """Types of one kind: what they are marked, and the melted share at the start."""

    title: str
    marked_c: tuple[float, float]
    melted: tuple[float, float]
    heated: bool


PLAIN = Population("plain", (82.0, 95.0), (0.08, 0.25), False)
HEATED = Population("heated", (95.0, 105.0), (0.12, 0.30), True)
ODD = Population("heated, starts in the far foot", (95.0, 105.0), (0.015, 0.04), True)


class Type(NamedTuple):
    """A shop's type with the donor wax at hand: fillers by mass, how much colder it melts."""

    model: VirtualUnit
    filler: float
    donor_filler: float
    donor_melting_c: float
    heated: bool


class Bench(NamedTuple):
    """A unit on the bench: its truth, what is constant of it, and the type it is of."""

    unit: VirtualUnit
    of: Type
    fill_mg: float
    copper_mg: float
    unpowered_error_k: float

    @property
    def wax_at_2_mm_c(self) -> float:
        """True unpowered temperature at the target's lift."""
        found = rising_c(self.unit, AT_MM)
        return math.inf if found is None else found

    @property
    def open_cold(self) -> bool:
        """Whether it leaks at 20 °C."""
        return lift_mm(self.unit, 20.0) > 0.0


def draw_type(rng: np.random.Generator, population: Population) -> Type:
    """Return a type whose melting alone lifts 9 mm or more; the rest is drawn."""
    while True:
        marked, melted = rng.uniform(*population.marked_c), rng.uniform(*population.melted)
        width = rng.uniform(3.0, 5.0)
        model = VirtualUnit(
            serial="MODEL",
            station=1,
            heater_ohm=15.0 if population.heated else 0.0,
            shells=3 if population.heated else 1,
            film_growth_per_k=0.003,
            wax_mg=rng.uniform(800.0, 2000.0),
            pin_mm=rng.uniform(3.5, 5.0),
            melting_width_k=width,
            melting_c=marked + width * math.log((1 - melted) / melted),
            melt_ratio=rng.uniform(1.10, 1.13),
            solid_expansion_per_k=rng.uniform(2.8e-4, 5.6e-4),
        )
        if 0.11 * 1.13 * model.wax_mg / pin_area_mm2(model) < 9.0:
            continue
        lifted = volume_lift_mm(model, marked) - 0.1 - model.friction_mm / 2
        cavity = model.cavity_mm3 + lifted * pin_area_mm2(model)
        model = model.model_copy(update={"cavity_mm3": cavity})
        return Type(
            model,
            rng.uniform(0.0, 0.5),
            rng.uniform(0.0, 0.5),
            model.melting_c - rng.uniform(15.0, 25.0),
            population.heated,
        )


def draw_bench(rng: np.random.Generator, of: Type, serial: str) -> Bench:
    """Return a unit of a type as found."""
    model = of.model
    wax = rng.normal(model.wax_mg, UNIT_WAX_MG)
    filler = float(np.clip(rng.normal(of.filler, UNIT_FILLER), 0.0, 0.6))
    unit = model.model_copy(
        update={
            "serial": serial,
            "melting_c": rng.normal(model.melting_c, UNIT_MELTING_K),
            "wax_mg": wax,
            "play_k": rng.uniform(1.5, 4.0),
            "friction_mm": rng.uniform(0.02, 0.08),
            "wax_w_per_k": rng.uniform(0.5, 1.2),
        }
    )
    fill_mg = wax / (1 - filler)
    return Bench(unit, of, fill_mg, fill_mg - wax, rng.normal(0.0, UNPOWERED_K))


def donor_of(rng: np.random.Generator, bench: Bench) -> Donor:
    """Return the donor wax as the shop knows it: the difference of two measured melting curves."""
    true = bench.of.donor_melting_c - bench.unit.melting_c
    return Donor(DONOR_SOURCE, true + rng.normal(0.0, DONOR_K), DONOR_K)


def fill_of(bench: Bench) -> Fill:
    """Return what the shop knows of a fill as found: the balance tells the whole mass."""
    return Fill((Part(OWN, bench.fill_mg),), pin_area_mm2(bench.unit))


def opening_curve(rng: np.random.Generator, bench: Bench) -> OpeningCurve | None:
    """Return a night's curve with its errors, None where the valve did not open on the bench."""
    unit, power = bench.unit, Power(w=HEATED_W) if bench.of.heated else Power()
    unpowered_k = 0.0
    if bench.of.heated:
        model = bench.of.model.model_copy(update={"wax_w_per_k": unit.wax_w_per_k})
        cold_c, warm_c = rising_c(model, AT_MM), rising_c(model, AT_MM, power)
        assert cold_c is not None
        assert warm_c is not None
        unpowered_k = cold_c - warm_c + bench.unpowered_error_k
    bath_c = np.linspace(15.0, 112.0, 98)
    free = np.array([steady_volume_lift_mm(unit, c, power, 0.0) for c in bath_c])
    free -= unit.friction_mm / 2
    levels = LEVELS_MM[(free[-1] > LEVELS_MM) & (free[0] < LEVELS_MM)]
    if not len(levels):
        return None
    at_c = np.interp(levels, free, bath_c)
    lift = levels + GAUGE_MM * rng.standard_normal(len(levels))
    at_c = at_c + NIGHT_K * rng.standard_normal()
    down_c = falling_c(unit, 0.1)
    up_c = rising_c(unit, 0.1)
    play = up_c - down_c if up_c is not None and down_c is not None else None
    return OpeningCurve(
        tuple(map(float, at_c)),
        tuple(map(float, np.maximum.accumulate(lift))),
        (GAUGE_MM,) * len(levels),
        U_BATH_K,
        power.w,
        unpowered_k,
        play,
    )


def curve_of(
    rng: np.random.Generator, bench: Bench, shape_logs: Floats | None = None
) -> LiftCurve | None:
    """Return a unit's possible curves as the shop sees them after a night."""
    opening = opening_curve(rng, bench)
    if opening is None:
        return None
    element = Element(bench.unit.pin_mm, 0.75 * bench.fill_mg)
    return lift_curve(opening, element, shape_logs)


class Done(NamedTuple):
    """A unit after an act, with the act as it stands on record and the cold pin as read."""

    bench: Bench
    act: Act
    stick_out_mm: float | None


class Slips(NamedTuple):
    """What hands miss by in one round, standard normal: the same for every rule."""

    out: float
    given: float
    pin: float
    closing: float


def slips(seed: int, unit: int, number: int) -> Slips:
    """Return a round's slips: every rule meets the same ones."""
    return Slips(*np.random.default_rng([seed, unit, number]).standard_normal(4))


def done(bench: Bench, act: Act, by: Slips, reads_pin: bool = False) -> Done:
    """Return a unit after an act done by hands."""
    unit, of = bench.unit, bench.of
    own = bench.copper_mg / bench.fill_mg
    given_filler = of.donor_filler if act.source == DONOR_SOURCE else 0.0
    out = act.mass_out_mg + DOSING_MG * by.out if act.mass_out_mg else 0.0
    before = volume_lift_mm(unit, 20.0)

    def filled(in_mg: float) -> Bench:
        kept = unit.wax_mg - out * (1 - own)
        more = in_mg * (1 - given_filler)
        copper = bench.copper_mg - out * own + in_mg * given_filler
        melting = of.donor_melting_c if act.source == DONOR_SOURCE else unit.melting_c
        change = {
            "wax_mg": kept + more,
            "melting_c": (kept * unit.melting_c + more * melting) / (kept + more),
            "cavity_mm3": unit.cavity_mm3 - COPPER_MM3_PER_MG * (copper - bench.copper_mg),
            "setting_mm": unit.setting_mm + act.shim_mm,
        }
        fill = bench.fill_mg - out + in_mg
        return bench._replace(unit=unit.model_copy(update=change), fill_mg=fill, copper_mg=copper)

    def stands(in_mg: float) -> float:
        return volume_lift_mm(filled(in_mg).unit, 20.0) - before - act.shim_mm

    if act.pin_stick_out_mm is None:
        in_mg = act.mass_in_mg + DOSING_MG * by.given if act.mass_in_mg else 0.0
        weighed = act.mass_in_mg
    else:
        wanted = act.pin_stick_out_mm + STICK_OUT_MM * by.pin
        per_mg = stands(1.0) - stands(0.0)
        in_mg = (wanted - stands(0.0)) / per_mg
        weighed = in_mg + DOSING_MG * by.given
    after = filled(max(in_mg, 0.0))
    pin = stands(max(in_mg, 0.0)) - STICK_OUT_MM * by.pin if reads_pin and act.doses else None
    if act.opened:
        setting = after.unit.setting_mm + CLOSING_MM * by.closing
        after = after._replace(unit=after.unit.model_copy(update={"setting_mm": setting}))
    return Done(after, act._replace(mass_in_mg=weighed), pin)

"""Powered steps for a source that feeds one station at a time: the stations take turns."""

from __future__ import annotations

import math
from itertools import groupby

from proofbath.control.bath_model import BathModel
from proofbath.run.duration import total_seconds
from proofbath.run.power import stations_fed
from proofbath.run.profile import Leg, MayFeed, Soak

BACK_S = 120.0
"""Rest at the bath of the beginning before the next station's turn."""


def in_turn(legs: tuple[Leg, ...], model: BathModel) -> tuple[tuple[Leg, ...], list[str]]:
    """Return legs that feed one station each, and what that means for the time, a line a group.

    Powered steps that follow each other stay together: a station goes through all of them before
    the next one's turn, so that each unit sees the profile as it was written. Where they move the
    bath, it goes back to where they began in between.
    """
    done: list[Leg] = []
    told = []
    before_c = math.nan
    for powered, group in groupby(enumerate(legs, 1), lambda numbered: _powered(numbered[1])):
        numbered = list(group)
        together = tuple(leg for _, leg in numbered)
        turns = _turns(together, before_c) if powered else together
        if len(turns) > len(together):
            numbers = sorted({numbered[0][0], numbered[-1][0]})
            told.append(
                f"step {' to '.join(map(str, numbers))}: the supply feeds one station at a time:"
                f" {len(_stations(together))} stations take turns,"
                f" {total_seconds(turns, model, before_c) / 60:.0f} min instead of"
                f" {total_seconds(together, model, before_c) / 60:.0f}"
            )
        done += turns
        before_c = together[-1].to_c
    return tuple(done), told


def _powered(leg: Leg) -> bool:
    return bool(stations_fed(leg))


def _stations(legs: tuple[Leg, ...]) -> list[int]:
    return sorted({station for leg in legs for station in stations_fed(leg)})


def _turns(legs: tuple[Leg, ...], before_c: float) -> tuple[Leg, ...]:
    turns: list[Leg] = []
    for station in _stations(legs):
        if turns and turns[-1].to_c != before_c and not math.isnan(before_c):
            turns.append(_back(legs[0], before_c, station))
        turns += [_for_one(leg, station) for leg in legs if station in stations_fed(leg)]
    return tuple(turns)


def _back(first: Leg, to_c: float, station: int) -> Leg:
    soak = Soak(
        label=f"back to {to_c:.1f} °C, station {station}",
        cycle=first.step.cycle,
        to_c=to_c,
        at_least_s=BACK_S,
        element_a=0.0,
    )
    purpose = {"purpose": first.step.purpose}
    return Leg(soak.model_copy(update=purpose), to_c, loading=first.loading)


def _for_one(leg: Leg, station: int) -> Leg:
    step = leg.step
    changed: dict[str, object] = {
        "stations": [station],
        "label": f"{step.label or step.kind}, station {station}",
    }
    if isinstance(step, MayFeed):
        name = "element_a" if step.element_a is not None else "element_v"
        changed[name] = step.set_at(station)
    return leg._replace(step=step.model_copy(update=changed))

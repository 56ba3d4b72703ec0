"""Powered steps for a source that feeds one station at a time: the stations take turns."""

from __future__ import annotations

from itertools import groupby

from proofbath.control.bath_model import BathModel
from proofbath.run.duration import total_seconds
from proofbath.run.power import fed
from proofbath.run.profile import Energise, Leg, PowerRamp


def in_turn(legs: tuple[Leg, ...], model: BathModel) -> tuple[tuple[Leg, ...], list[str]]:
    """Return legs that feed one station each, and what that means for the time, a line a group.

    Powered steps that follow each other stay together: a station goes through all of them before
    the next one's turn, so that each unit sees the profile as it was written.
    """
    done: list[Leg] = []
    told = []
    for powered, group in groupby(enumerate(legs, 1), lambda numbered: _powered(numbered[1])):
        numbered = list(group)
        together = tuple(leg for _, leg in numbered)
        turns = _turns(together) if powered else together
        if len(turns) > len(together):
            numbers = sorted({numbered[0][0], numbered[-1][0]})
            at_c = together[0].to_c
            told.append(
                f"step {' to '.join(map(str, numbers))}: the supply feeds one station at a time:"
                f" {len(_stations(together))} stations take turns,"
                f" {total_seconds(turns, model, at_c) / 60:.0f} min instead of"
                f" {total_seconds(together, model, at_c) / 60:.0f}"
            )
        done += turns
    return tuple(done), told


def _powered(leg: Leg) -> bool:
    return isinstance(leg.step, (Energise, PowerRamp))


def _stations(legs: tuple[Leg, ...]) -> list[int]:
    return sorted({station for leg in legs for station in _fed(leg)})


def _turns(legs: tuple[Leg, ...]) -> tuple[Leg, ...]:
    return tuple(
        _for_one(leg, station)
        for station in _stations(legs)
        for leg in legs
        if station in _fed(leg)
    )


def _fed(leg: Leg) -> list[int]:
    assert isinstance(leg.step, (Energise, PowerRamp))
    return [station for station, on in enumerate(fed(leg.step, leg.loading), 1) if on]


def _for_one(leg: Leg, station: int) -> Leg:
    label = f"{leg.step.label or leg.step.kind}, station {station}"
    return leg._replace(step=leg.step.model_copy(update={"stations": [station], "label": label}))

"""What a night must run beside a heated type's usual profile so that its limits can be judged."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from proofbath.errors import InputError
from proofbath.proof.specification import BATH_K, Limit, Specification
from proofbath.quantity.currents import AT_A_CURRENT, IN_A_BATH
from proofbath.run.heated_profiles import AT_ONE_BATH, ON_RAMPS, HeatedFigures

BEHIND_S = 10.0
"""A current is held so much longer than the last time its lift is limited at."""


class Programme(NamedTuple):
    """Profiles that follow the usual one, and the figures they are run with."""

    then: tuple[str, ...] = ()
    heated: HeatedFigures = HeatedFigures()


def programme_for(specification: Specification) -> Programme:
    """Return what the limits at set currents ask of a night; nothing where there are none.

    Raises InputError where they ask for currents in more than one bath.
    """
    in_a_bath = [limit for limit in specification.limit if limit.quantity in IN_A_BATH]
    on_ramps = [
        limit
        for limit in specification.limit
        if limit.quantity in AT_A_CURRENT and limit.quantity not in IN_A_BATH
    ]
    wanted = [(AT_ONE_BATH, in_a_bath), (ON_RAMPS, on_ramps)]
    then = tuple(name for name, limits in wanted if limits)
    after_s = [limit.after_s for limit in in_a_bath if limit.after_s is not None]
    figures = {
        "current_a": _currents(in_a_bath) or None,
        "opening_a": _currents(on_ramps) or None,
        "bath_c": _one_bath(in_a_bath),
        "each_from_shut": bool(after_s),
    }
    if after_s:
        figures["held_s"] = max(HeatedFigures().held_s, max(after_s) + BEHIND_S)
    return Programme(then, HeatedFigures.model_validate(figures))


def programme_by_order(marked: Specification) -> Programme:
    """Return what a night as left runs of an ordered batch, whose limits at currents are set aside.

    The currents of the limits in a bath are shown, in a bath below where its units open now; they
    are not judged.
    """
    asked = programme_for(marked)
    if AT_ONE_BATH not in asked.then:
        return Programme()
    return Programme((AT_ONE_BATH,), asked.heated.model_copy(update={"bath_c": None}))


def _currents(limits: Sequence[Limit]) -> list[float]:
    return sorted({limit.element_a for limit in limits if limit.element_a is not None})


def _one_bath(limits: Sequence[Limit]) -> float | None:
    baths_c = [limit.bath_c for limit in limits if limit.bath_c is not None]
    if baths_c and max(baths_c) - min(baths_c) > BATH_K:
        told = " and ".join(f"{c:g}" for c in sorted(set(baths_c)))
        raise InputError(
            f"specification {limits[0].quantity}: limits at set currents in baths of {told} °C, a"
            " shipped profile runs one bath a night; write the night's [[step]] tables yourself"
        )
    return baths_c[0] if baths_c else None

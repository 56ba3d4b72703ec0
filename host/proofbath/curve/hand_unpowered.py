"""The unpowered start of a unit measured by hand under power: rises, and steps in one pot."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from proofbath.curve.bench_budget import PRIOR_REPEATABILITY_DOF, PRIOR_REPEATABILITY_K
from proofbath.curve.budget import Contribution
from proofbath.curve.drive import PoweredEvent
from proofbath.curve.film import Known, fit_laws
from proofbath.curve.lag import PRIOR_LAG_S, PRIOR_LAG_SD_S
from proofbath.curve.result import Quantity, unknown
from proofbath.curve.result import known as quantity_of
from proofbath.curve.unpowered import SHORTEST_SPAN_K


class HandStart(NamedTuple):
    """A start met under a power, at zero rate: its own u in K, and what the lag brings, K per s."""

    bath_c: float
    power_w: float
    own_u_k: float
    lag_k_per_s: float = 0.0


def unpowered_start(
    starts: Sequence[HandStart],
    shared: Sequence[tuple[str, float]],
    lag_u_s: float,
    threshold_mm: float,
) -> Quantity:
    """Return the start drawn to no power over the mixture of film laws.

    `shared` names what is wrong with every temperature alike. It counts as if it might be right
    at one start and off at the other: by the largest weight of any start.
    """
    at = {"lift_mm": threshold_mm}
    baths = [start.bath_c for start in starts]
    if len(starts) < 2:
        return unknown(
            f"{len(starts)} starts under known power, two powers are needed; measure a rise, or"
            " current steps in boiling water, with another current",
            at,
        )
    span_k = max(baths) - min(baths)
    if span_k < SHORTEST_SPAN_K:
        return unknown(
            f"the starts under power span {span_k:.1f} K, {SHORTEST_SPAN_K:g} K are needed; take"
            " currents that differ more",
            at,
        )
    events = [PoweredEvent(s.bath_c, s.power_w, 0.0, 0.0, 0.35, s.own_u_k, 0.0) for s in starts]
    scatter = Known(
        lambda _: (PRIOR_LAG_S, PRIOR_LAG_SD_S), PRIOR_REPEATABILITY_K, PRIOR_REPEATABILITY_DOF
    )
    mixture = fit_laws(events, scatter)
    most = max(1.0, *(abs(weight) for weight in mixture.event_weights))
    lagging = sum(
        weight * start.lag_k_per_s
        for weight, start in zip(mixture.event_weights, starts, strict=True)
    )
    beyond_k = mixture.start_c - max(baths)
    contributions = [
        *(Contribution(name, u_k, most) for name, u_k in shared),
        Contribution("lag", lag_u_s, lagging),
        Contribution("readings and power", mixture.noise_u_k),
        Contribution("repeatability", mixture.scatter_u_k, 1.0, PRIOR_REPEATABILITY_DOF),
        Contribution(
            "film law", mixture.law_u_k, note=f"{beyond_k:.1f} K beyond the hottest start"
        ),
        Contribution("curvature", mixture.curvature_u_k, note="its prior's share"),
        Contribution("thermal resistance", mixture.resistance_u_k, note="its priors' share"),
    ]
    return quantity_of(mixture.start_c, contributions, "zero", at)

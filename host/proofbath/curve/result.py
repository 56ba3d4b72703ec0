"""What an analysis hands over: quantities with their budgets, cycles, warnings; and their JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from proofbath.curve.budget import combine
from proofbath.quantity.quantity import Contribution as Contribution
from proofbath.quantity.quantity import Quantity as Quantity
from proofbath.quantity.quantity import Rate


@dataclass(frozen=True)
class Warned:
    """One thing the user must know about a record: a code, a sentence, and what to do."""

    code: str
    text: str


def known(
    value: float,
    contributions: Sequence[Contribution],
    rate: Rate | None = None,
    at: Mapping[str, float] | None = None,
) -> Quantity:
    """Return a quantity whose uncertainty is combined from its contributions."""
    combined = combine(contributions)
    return Quantity(
        float(value),
        combined.standard_uncertainty,
        combined.expanded_uncertainty,
        combined.coverage_factor,
        combined.degrees_of_freedom,
        tuple(contributions),
        rate=rate,
        at=at or {},
    )


def unknown(reason: str, at: Mapping[str, float] | None = None) -> Quantity:
    """Return a quantity without a value, with the reason in words."""
    return Quantity(None, reason=reason, at=at or {})


@dataclass(frozen=True)
class CycleResult:
    """One cycle's own readings, uncorrected for lag unless the name says so; None where absent."""

    start_s: float
    start_to_open_c: float | None
    start_rate_k_per_min: float | None
    start_by_line_c: float | None
    full_open_c: float | None
    full_lift_mm: float | None
    closing_c: float | None
    closing_rate_k_per_min: float | None
    zero_mm: float | None
    zero_slope_mm_per_k: float | None
    zero_return_mm: float | None
    reasons: Mapping[str, str] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """Return the cycle's readings with reasons for those that are null."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__} | {
            "reasons": dict(self.reasons)
        }


@dataclass(frozen=True)
class Electrical:
    """What an element took: ampere, volt at the bench, watt and ohm behind the leads."""

    element_a: float
    element_v: float
    power_w: float
    resistance_ohm: float


@dataclass(frozen=True)
class HeaterStep:
    """One current held at one bath: what it took, how soon and how far the valve opened, and shut.

    Times in s count from switching on, `closing_s` from switching off; a lift passed before the
    step began has none.
    """

    t_s: float
    until_s: float
    bath_c: float
    begins_mm: float | None
    """Lift before it: a valve that hung open on its play then stands higher than one from shut."""
    at_start: Electrical
    settled: Electrical
    resistance_u_ohm: float
    response_s: Mapping[float, float]
    to_90_percent_s: float | None
    closing_s: float | None
    closing_reason: str | None
    steady_lift: Quantity
    lifts_after: tuple[Quantity, ...] = ()

    def without_lifts(self, reason: str) -> HeaterStep:
        """Return it without what was read from a lift that is not to be trusted."""
        return replace(
            self,
            response_s={},
            to_90_percent_s=None,
            closing_s=None,
            closing_reason=reason,
            steady_lift=unknown(reason, self.steady_lift.at),
            lifts_after=(),
        )

    @classmethod
    def from_json(cls, shown: Mapping[str, Any], steady_lift: Quantity) -> HeaterStep:
        """Return the step that `to_json` showed, its steady lift from the series of such."""
        return cls(
            shown["t_s"],
            shown["until_s"],
            shown["bath_c"],
            shown["begins_mm"],
            Electrical(**shown["at_start"]),
            Electrical(**{name: shown[name] for name in Electrical.__dataclass_fields__}),
            shown["resistance_u_ohm"],
            {float(mm): s for mm, s in shown["response_s"].items()},
            shown["to_90_percent_s"],
            shown["closing_s"],
            shown["closing_reason"],
            steady_lift,
        )

    def to_json(self) -> dict[str, Any]:
        """Return the step; response times by lift in mm. Budgets stand in `lift_at_current_mm`."""
        return {
            "t_s": self.t_s,
            "until_s": self.until_s,
            "bath_c": self.bath_c,
            "begins_mm": self.begins_mm,
            **asdict(self.settled),
            "resistance_u_ohm": self.resistance_u_ohm,
            "at_start": asdict(self.at_start),
            "response_s": {f"{mm:g}": s for mm, s in self.response_s.items()},
            "to_90_percent_s": self.to_90_percent_s,
            "closing_s": self.closing_s,
            "closing_reason": self.closing_reason,
            "steady_lift_mm": self.steady_lift.value,
            "steady_lift_u_mm": self.steady_lift.expanded_uncertainty,
            "reason": self.steady_lift.reason,
        }


@dataclass(frozen=True)
class CurveResult:
    """All that one record says about its unit."""

    name: str
    threshold_mm: float
    quantities: Mapping[str, Quantity]
    series: Mapping[str, tuple[Quantity, ...]]
    cycles: tuple[CycleResult, ...]
    warnings: tuple[Warned, ...]
    heater_steps: tuple[HeaterStep, ...] = ()

    def __post_init__(self) -> None:
        """Name each quantity as it is listed here."""
        named = {name: quantity.named(name) for name, quantity in self.quantities.items()}
        series = {name: tuple(q.named(name) for q in items) for name, items in self.series.items()}
        object.__setattr__(self, "quantities", named)
        object.__setattr__(self, "series", series)

    def __getattr__(self, name: str) -> Quantity:
        """Return a quantity by its JSON name, e.g. result.start_to_open_c."""
        quantities: Mapping[str, Quantity] = self.__dict__.get("quantities", {})
        if name in quantities:
            return quantities[name]
        raise AttributeError(name)

    def warned(self, code: str) -> bool:
        """Tell whether a warning of this code was given."""
        return any(item.code == code for item in self.warnings)

    def to_json(self) -> dict[str, Any]:
        """Return the object that `proofbath curve --json` prints."""
        return {
            "name": self.name,
            "threshold_mm": self.threshold_mm,
            **{name: quantity.to_json() for name, quantity in self.quantities.items()},
            **{name: [q.to_json() for q in items] for name, items in self.series.items()},
            "warnings": [{"code": w.code, "text": w.text} for w in self.warnings],
            "cycles": [cycle.to_json() for cycle in self.cycles],
            "heater_steps": [step.to_json() for step in self.heater_steps],
        }

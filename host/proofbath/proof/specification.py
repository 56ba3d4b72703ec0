"""What a unit type must keep to: limits with the form they hold in, versioned, frozen to a batch.

A limit and a result are compared like with like only: threshold, rate, estimator and power.
"""

from __future__ import annotations

import hashlib
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from proofbath.description import Described
from proofbath.errors import InputError
from proofbath.quantity.currents import AT_A_CURRENT, IN_A_BATH, LIFTS_AFTER_S
from proofbath.quantity.levels import LEVELS_MM, OPENING, level_like
from proofbath.quantity.quantity import Quantity, usual_estimator
from proofbath.quantity.words import words_of

RATE_RELATIVE = 0.1  # a 25 s lag at 1 K/min then differs by 0.04 K
BATH_K = 0.5
CURRENT_A = 0.01
LIFT_MM = 1e-6
QUANTITY = r"^[a-z][a-z0-9_]*_(c|k|mm|k_per_w|ohm|s|min)$"

Rule = Literal["guard_band_u", "iso_14253_1", "simple"]
Name = Annotated[str, Field(min_length=1, max_length=40)]


class Limit(Described):
    """One quantity's limits: `nominal` ± `tolerance`, or `lower` and `upper`, one or both.

    `rate` and `estimator` left out mean zero rate for temperatures and the usual estimator.
    A single limit without a nominal has no tolerance, so it states `largest_u`: the largest
    expanded uncertainty a result may have to be judged by it.
    """

    quantity: Annotated[str, Field(pattern=QUANTITY)]
    nominal: float | None = None
    tolerance: Annotated[float, Field(gt=0)] | None = None
    lower: float | None = None
    upper: float | None = None
    largest_u: Annotated[float, Field(gt=0)] | None = None
    threshold_mm: Annotated[float, Field(gt=0, le=20)] | None = None
    rate: Literal["zero"] | Annotated[float, Field(gt=0, le=20)] | None = None
    estimator: Literal["crossing", "line", "extrapolation", "reading"] | None = None
    element_a: Annotated[float, Field(ge=0, le=2)] | None = None
    bath_c: Annotated[float, Field(ge=0, le=130)] | None = None
    after_s: Annotated[float, Field(gt=0, le=3600)] | None = None
    """For `lift_after_mm`: how long after the current came on."""

    @model_validator(mode="after")
    def _says_enough(self) -> Self:
        if self.tolerance is not None:
            if self.nominal is None or self.lower is not None or self.upper is not None:
                raise ValueError("tolerance goes with nominal, and without lower and upper")
        elif self.lower is None and self.upper is None:
            raise ValueError("state nominal and tolerance, or lower, or upper, or both")
        low, high = self.bounds
        if low is not None and high is not None and low >= high:
            raise ValueError(f"lower {low:g} must lie below upper {high:g}")
        if self.nominal is not None and not (
            (low is None or low <= self.nominal) and (high is None or self.nominal <= high)
        ):
            raise ValueError(f"nominal {self.nominal:g} must lie inside its limits")
        if self.judged_with_u <= 0:
            raise ValueError("a single limit needs a nominal away from it, or largest_u")
        crossed = self.quantity.endswith(("_c", "_k")) and self.stated_estimator != "line"
        if crossed and self.threshold_mm is None:
            raise ValueError(f"{self.quantity} needs threshold_mm: the lift it is stated at")
        if self.quantity == OPENING and level_like(self.threshold_mm or 0.0) is None:
            levels = ", ".join(f"{level:g}" for level in LEVELS_MM)
            raise ValueError(f"{self.quantity} is measured at {levels} mm; state one of them")
        return self

    @model_validator(mode="after")
    def _states_its_current(self) -> Self:
        if self.quantity in AT_A_CURRENT and self.element_a is None:
            raise ValueError(f"{self.quantity} needs element_a: the current it is stated at")
        if self.quantity in IN_A_BATH and self.bath_c is None:
            raise ValueError(f"{self.quantity} needs bath_c: the bath it is stated in")
        if self.quantity == "lift_after_mm" and self.after_s not in LIFTS_AFTER_S:
            times = ", ".join(f"{s:g}" for s in LIFTS_AFTER_S)
            raise ValueError(f"lift_after_mm needs after_s, one of {times}: read after these times")
        if self.quantity != "lift_after_mm" and self.after_s is not None:
            raise ValueError("after_s goes with lift_after_mm only")
        return self

    @property
    def bounds(self) -> tuple[float | None, float | None]:
        """Lower and upper limit in the quantity's unit; None on an open side."""
        if self.nominal is not None and self.tolerance is not None:
            return self.nominal - self.tolerance, self.nominal + self.tolerance
        return self.lower, self.upper

    @property
    def judged_with_u(self) -> float:
        """Largest expanded uncertainty that this limit can be judged with: half its tolerance."""
        if self.largest_u is not None:
            return self.largest_u
        low, high = self.bounds
        if low is not None and high is not None:
            return (high - low) / 4
        limit = low if low is not None else high
        return (
            abs(limit - self.nominal) / 2 if limit is not None and self.nominal is not None else 0
        )

    @property
    def stated_rate(self) -> str | float | None:
        """The rate the limit holds for: as written, otherwise zero rate for temperatures."""
        if self.rate is None and self.quantity.endswith(("_c", "_k")):
            return "zero"
        return self.rate

    @property
    def stated_estimator(self) -> str:
        """The estimator the limit holds for: as written, otherwise the quantity's usual one."""
        return self.estimator or usual_estimator(self.quantity)

    def form(self) -> str:
        """Return quantity, threshold, rate, estimator and power in words, as certificates print."""
        parts = [self.quantity]
        parts += [f"at {self.threshold_mm:g} mm"] if self.threshold_mm is not None else []
        rate = self.stated_rate
        if rate is not None:
            parts.append("at zero rate" if rate == "zero" else f"at {rate:g} K/min")
        parts.append(f"by {self.stated_estimator}")
        parts += [f"at {self.element_a:g} A"] if self.element_a is not None else []
        parts += [f"in a bath of {self.bath_c:g} °C"] if self.bath_c is not None else []
        parts += [f"within {self.after_s:g} s"] if self.after_s is not None else []
        return " ".join(parts)

    def called(self) -> str:
        """Return the form as a person reads it, the usual estimator left out."""
        usual = f" by {usual_estimator(self.quantity)}"
        form = self.form().removeprefix(self.quantity).replace(usual, "").strip()
        return ", ".join(filter(None, [words_of(self.quantity), form]))

    def unlike(self, measured: Quantity) -> str | None:
        """Return why a result must not be compared with this limit; None for like with like."""
        if measured.name != self.quantity:
            return f"the result is {measured.name}, the limit {self.quantity}"
        forms = [
            ("threshold", self.threshold_mm, measured.threshold_mm, LIFT_MM, "mm"),
            ("element current", self.element_a, measured.element_a, CURRENT_A, "A"),
            ("time", self.after_s, measured.after_s, LIFT_MM, "s"),
        ]
        if self.bath_c is not None:
            forms.append(("bath", self.bath_c, measured.bath_c, BATH_K, "°C"))
        for what, wanted, got, within, unit in forms:
            if not _alike(wanted, got, within):
                return (
                    f"{what} of the result {_shown(got, unit)}, of the limit"
                    f" {_shown(wanted, unit)}; measure at that"
                )
        if self.stated_estimator != measured.estimator:
            return f"the result is by {measured.estimator}, the limit by {self.stated_estimator}"
        return self._unlike_rate(measured.rate)

    def _unlike_rate(self, rate: str | float | None) -> str | None:
        wanted = self.stated_rate
        if isinstance(wanted, float) and isinstance(rate, int | float):
            same = abs(rate - wanted) <= RATE_RELATIVE * wanted
        else:
            same = rate == wanted
        if same:
            return None
        return f"the result holds at rate {rate} (K/min), the limit at {wanted}"


def _alike(wanted: float | None, got: float | None, within: float) -> bool:
    if wanted is None or got is None:
        return wanted is got
    return abs(wanted - got) <= within


def _shown(value: float | None, unit: str) -> str:
    return "none" if value is None else f"{value:g} {unit}"


class Specification(Described):
    """The limits of one unit type in one version, and the rule that judges by them."""

    unit_type: Name
    version: Annotated[int, Field(ge=1)]
    rule: Rule = "guard_band_u"
    limit: Annotated[tuple[Limit, ...], Field(min_length=1)]

    @model_validator(mode="after")
    def _each_form_once(self) -> Self:
        forms = [limit.form() for limit in self.limit]
        twice = sorted({form for form in forms if forms.count(form) > 1})
        if twice:
            raise ValueError(f"limited twice: {'; '.join(twice)}")
        return self

    def fingerprint(self) -> str:
        """Return the SHA-256 in hex of what the specification states: a batch is frozen to it."""
        stated = self.model_dump_json(exclude_defaults=True)
        return hashlib.sha256(stated.encode()).hexdigest()

    def of(self, quantity: str) -> tuple[Limit, ...]:
        """Return the limits of one quantity."""
        return tuple(limit for limit in self.limit if limit.quantity == quantity)


def check_frozen(specification: Specification, fingerprint: str) -> None:
    """Raise InputError unless the specification is the one a batch was frozen to."""
    if specification.fingerprint() != fingerprint:
        raise InputError(
            f"specification {specification.unit_type} version {specification.version} differs from"
            " the one frozen to the batch; use the frozen one, or start a batch on the new one"
        )


def check_successor(new: Specification, old: Specification) -> None:
    """Raise InputError where a changed specification does not carry a higher version."""
    if new.unit_type != old.unit_type:
        raise InputError(f"specification of {new.unit_type} cannot follow that of {old.unit_type}")
    if new.fingerprint() != old.fingerprint() and new.version <= old.version:
        raise InputError(
            f"specification {new.unit_type}: changed, but version {new.version} is not above"
            f" {old.version}; raise the version"
        )

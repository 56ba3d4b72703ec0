"""The one model of a measured value: analysed, stored, judged, certified and published as this."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, ConfigDict, Strict, TypeAdapter, ValidationError

from proofbath.errors import RecordError
from proofbath.quantity.levels import OPENING
from proofbath.quantity.words import unit_of, words_of

Number = Annotated[float, Strict()]
Rate = Literal["zero"] | Number
"""At zero rate, or the ramp's rate in K/min that a value holds for."""
Freedom = Annotated[Number, BeforeValidator(lambda given: math.inf if given is None else given)]
"""Degrees of freedom; stored as null where there are infinitely many."""

_CROSSINGS = ("start_to_open_c", "full_open_c", "closing_c", "hysteresis_k", OPENING)
_USUAL_ESTIMATOR = {"unpowered_start_to_open_c": "extrapolation"}
Evaluation = Literal["A", "B", "not supplied"]
"""By statistics, otherwise, or not at all (JCGM 100:2008 0.7)."""
_BY_OTHER_ESTIMATOR = {"start_by_line_c": ("start_to_open_c", "line")}
"""Names in an analysis of what is the same quantity by another estimator."""


@dataclass(frozen=True)
class Contribution:
    """One input of a budget: its standard uncertainty in its own unit, and what it does.

    `sensitivity` turns it into the result's unit; `degrees_of_freedom` may be infinite;
    `standard_uncertainty` None means that nobody supplied it: listed, not counted.
    """

    __pydantic_config__ = ConfigDict(extra="forbid")

    name: str
    standard_uncertainty: Number | None
    sensitivity: Number = 1.0
    degrees_of_freedom: Freedom = math.inf
    evaluation: Evaluation = "B"
    note: str = ""

    @property
    def is_supplied(self) -> bool:
        """Whether anybody stated its uncertainty."""
        return self.standard_uncertainty is not None

    @property
    def share(self) -> float:
        """The signed contribution in the result's unit; 0 where not supplied."""
        return self.sensitivity * (self.standard_uncertainty or 0.0)

    def as_share(self) -> Contribution:
        """Return the contribution in the result's unit, unsigned."""
        share = abs(self.share) if self.is_supplied else None
        return replace(
            self, standard_uncertainty=share, sensitivity=1.0, evaluation=self.said_evaluation
        )

    @property
    def said_evaluation(self) -> Evaluation:
        """How its uncertainty was evaluated, or that nobody supplied it."""
        return self.evaluation if self.is_supplied else "not supplied"

    def to_json(self) -> dict[str, Any]:
        """Return the fixed JSON shape of a budget's line."""
        return {
            "name": self.name,
            "standard_uncertainty": self.standard_uncertainty,
            "sensitivity": self.sensitivity,
            "contribution": abs(self.share) if self.is_supplied else None,
            "degrees_of_freedom": finite_or_none(self.degrees_of_freedom),
            "evaluation": self.said_evaluation,
            "note": self.note,
        }


def _as_given(line: object) -> object:
    """Return a budget's line without what follows from the rest of it."""
    if isinstance(line, Mapping):
        return {key: part for key, part in line.items() if key != "contribution"}
    return line


_Line = Annotated[Contribution, BeforeValidator(_as_given)]


@dataclass(frozen=True)
class Quantity:
    """A measured value with its uncertainty, or None with the reason why there is none.

    `rate` is None where a rate has no meaning; `at` holds what the value is stated for, e.g.
    {"lift_mm": 0.1}.  `name` ends on the unit; an analysis gives it when the value is complete.
    """

    __pydantic_config__ = ConfigDict(extra="forbid")

    value: Number | None
    standard_uncertainty: Number | None = None
    expanded_uncertainty: Number | None = None
    """Half width of the interval for about 95 %, in the value's unit."""
    coverage_factor: Number | None = None
    degrees_of_freedom: Freedom = math.inf
    contributions: tuple[_Line, ...] = ()
    reason: str | None = None
    rate: Rate | None = None
    at: Mapping[str, Number] = field(default_factory=dict)
    name: str = ""
    estimator: str = "reading"

    @property
    def unit(self) -> str:
        """Unit of the value and its uncertainties, as printed."""
        return unit_of(self.name)

    @property
    def words(self) -> str:
        """What it is called on paper and on screens."""
        return words_of(self.name, self.threshold_mm)

    @property
    def threshold_mm(self) -> float | None:
        """Lift that the value is stated at; None where it holds at none."""
        return self.at.get("lift_mm")

    @property
    def element_a(self) -> float | None:
        """Element current that the value is stated at; None where it holds at none."""
        return self.at.get("element_a")

    @property
    def bath_c(self) -> float | None:
        """Bath temperature that the value is stated at; None where it holds at none."""
        return self.at.get("bath_c")

    @property
    def after_s(self) -> float | None:
        """Time since the current came on that a lift is stated for; None where it has none."""
        return self.at.get("after_s")

    @property
    def form(self) -> tuple[object, ...]:
        """What it is a value of, and how: values of one form may be compared."""
        where = (self.threshold_mm, self.element_a, self.bath_c, self.after_s)
        return (self.name, self.rate, *where, self.estimator)

    def u_without(self, names: tuple[str, ...]) -> float:
        """Return the standard uncertainty less what the budget states under these names."""
        left = [item.share for item in self.contributions if item.name not in names]
        return math.hypot(*left) if self.contributions else self.standard_uncertainty or 0.0

    def u_of(self, names: tuple[str, ...]) -> float:
        """Return the standard uncertainty of what the budget states under these names."""
        return math.hypot(*(item.share for item in self.contributions if item.name in names))

    def named(self, key: str) -> Quantity:
        """Return the quantity with the name and the estimator that an analysis lists it by."""
        name, estimator = _BY_OTHER_ESTIMATOR.get(key, (key, usual_estimator(key)))
        return replace(self, name=name, estimator=estimator)

    def to_json(self) -> dict[str, Any]:
        """Return the fixed JSON shape of a quantity; infinite degrees of freedom become null."""
        return {
            "value": self.value,
            "standard_uncertainty": self.standard_uncertainty,
            "expanded_uncertainty": self.expanded_uncertainty,
            "coverage_factor": self.coverage_factor,
            "degrees_of_freedom": finite_or_none(self.degrees_of_freedom),
            "budget": [item.to_json() for item in self.contributions],
            "reason": self.reason,
            "rate": self.rate,
            **({"at": dict(self.at)} if self.at else {}),
        }

    @classmethod
    def from_json(cls, shown: Mapping[str, Any], key: str) -> Quantity:
        """Return the quantity that its fixed JSON shape states under the name `key`.

        Raises RecordError for a shape that is not of a quantity.
        """
        name, estimator = _BY_OTHER_ESTIMATOR.get(key, (key, usual_estimator(key)))
        stated = {"contributions" if k == "budget" else k: part for k, part in shown.items()}
        stated |= {"name": name, "estimator": estimator}
        try:
            return _READER.validate_python(stated)
        except ValidationError as error:
            raise RecordError(f"{key}: is no measured value: {error}") from error


_READER = TypeAdapter(Quantity)


def is_quantity(item: object) -> bool:
    """Tell whether a part of a stored analysis has the fixed JSON shape of a quantity."""
    return isinstance(item, Mapping) and "standard_uncertainty" in item and "budget" in item


def usual_estimator(quantity: str) -> str:
    """Return the estimator of a quantity unless another is stated."""
    return _USUAL_ESTIMATOR.get(quantity, "crossing" if quantity in _CROSSINGS else "reading")


def finite_or_none(value: float) -> float | None:
    """Return a number, None for one that JSON has no number for."""
    return value if math.isfinite(value) else None

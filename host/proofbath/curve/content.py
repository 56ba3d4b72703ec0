"""The content of a result on record, written and read back: its analysis, and what its run adds."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from typing import Any

from proofbath.curve.result import CurveResult, CycleResult, HeaterStep, Quantity, Warned
from proofbath.quantity.quantity import is_quantity

_OF_THE_RUN = ("probe_minus_guard_k", "profile", "program", "unit_type")
_OTHER_LISTS = ("warnings", "cycles", "heater_steps", *_OF_THE_RUN)


@dataclass(frozen=True)
class ResultContent:
    """What a result on record says; what an earlier version of the program did not keep is empty.

    Of heater steps the lifts after some time are not read back: the series holds them.
    """

    curve: CurveResult
    probe_minus_guard_k: tuple[float, ...] = ()
    """One difference of the probes a soak."""
    profile: str = ""
    program: str = ""
    unit_type: str = ""

    def each(self) -> Iterator[Quantity]:
        """Yield each quantity by the order of the names on record, those of a series singly."""
        single, series = self.curve.quantities, self.curve.series
        for name in sorted({*single, *series}):
            yield from series[name] if name in series else (single[name],)

    def to_json(self) -> dict[str, Any]:
        """Return the content as it is kept."""
        beside = {name: getattr(self, name) for name in _OF_THE_RUN}
        beside["probe_minus_guard_k"] = list(self.probe_minus_guard_k)
        return {**self.curve.to_json(), **beside}

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> ResultContent:
        """Return what a content on record says; raises RecordError for a broken quantity."""
        kept = {name: content[name] for name in _OF_THE_RUN if name in content}
        if "probe_minus_guard_k" in kept:
            kept["probe_minus_guard_k"] = tuple(kept["probe_minus_guard_k"])
        return cls(_curve_in(content), **kept)


def _curve_in(content: Mapping[str, Any]) -> CurveResult:
    lists = {
        name: item
        for name, item in content.items()
        if isinstance(item, list) and name not in _OTHER_LISTS and all(map(is_quantity, item))
    }
    series = {n: tuple(Quantity.from_json(part, n) for part in item) for n, item in lists.items()}
    return CurveResult(
        content["name"],
        content["threshold_mm"],
        {n: Quantity.from_json(item, n) for n, item in content.items() if is_quantity(item)},
        series,
        tuple(_cycle_in(cycle) for cycle in content["cycles"]),
        tuple(Warned(warned["code"], warned["text"]) for warned in content["warnings"]),
        _steps_in(content, series.get("lift_at_current_mm", ())),
    )


def _steps_in(content: Mapping[str, Any], steady: tuple[Quantity, ...]) -> tuple[HeaterStep, ...]:
    """Return the steps of current; a result of before their lifts were quantities has none."""
    shown = content["heater_steps"] if steady else ()
    return tuple(HeaterStep.from_json(*pair) for pair in zip(shown, steady, strict=True))


def _cycle_in(shown: Mapping[str, Any]) -> CycleResult:
    stated: dict[str, Any] = {one.name: shown.get(one.name) for one in fields(CycleResult)}
    return CycleResult(**stated | {"reasons": shown.get("reasons", {})})

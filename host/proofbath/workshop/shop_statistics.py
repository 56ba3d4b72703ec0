"""What the shop's own numbers say: a batch, a type's history, and all types side by side."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping, Sequence
from statistics import fmean
from typing import Any, NamedTuple

from proofbath.proof.compare import Comparison, Trend, adjusted_p, compare, trend
from proofbath.proof.specification import Limit
from proofbath.proof.statistics import (
    BatchStatistics,
    Capability,
    batch_statistics,
    capability,
)
from proofbath.quantity.quantity import Quantity
from proofbath.quantity.words import unit_of
from proofbath.store import kinds
from proofbath.store.records import Kept, RecordsReader
from proofbath.workshop.intake import newest_type
from proofbath.workshop.measured_values import SHARED_BY_UNITS, STARTS, step_value
from proofbath.workshop.orders import OF_THE_MARKING, batch_order, by_order, order_of
from proofbath.workshop.snapshot import Snapshot
from proofbath.workshop.story import Step, StepStage, UnitStory, batch_story, unit_story

DAYS = 30.0
"""Trends are stated per so many days."""
UNKNOWN = "not recorded"


class LimitStatistics(NamedTuple):
    """One limited quantity over a batch, as found and as left; None where nothing was measured."""

    form: str
    unit: str
    as_found: BatchStatistics | None
    as_left: BatchStatistics | None


class Left(NamedTuple):
    """A unit as it left: its value in the form of a limit, when, and by what it may differ."""

    serial: str
    date: dt.date
    value: float
    common_u: float
    factors: Mapping[str, str]


class Factor(NamedTuple):
    """Groups of one factor compared, in words, with the p that counts all factors looked at."""

    factor: str
    groups: Mapping[str, int]
    """Units by group, those too few to be compared too."""
    comparison: Comparison | None
    adjusted_p: float | None
    words: str
    trends: Mapping[str, Trend]
    """Trend of each group over time where four units show one; slope in K or mm per 30 days."""


class TypeStatistics(NamedTuple):
    """A type's as-left history under one limit of its newest specification."""

    type_name: str
    form: str
    unit: str
    units: int
    capability: Capability
    trend: Trend | None
    factors: tuple[Factor, ...]

    def to_json(self) -> dict[str, Any]:
        """Return the statistics as they are printed for programs."""
        return self._asdict() | {
            "capability": self.capability._asdict(),
            "trend": self.trend._asdict() if self.trend else None,
            "factors": [factor_json(factor) for factor in self.factors],
        }


def batch_figures(records: RecordsReader, batch_name: str) -> list[LimitStatistics]:
    """Return mean, s and range of a batch for each limit that it is judged by."""
    kept = Snapshot(records)
    stories = batch_story(kept, batch_name)
    batch = kept.find(kinds.Batch, name=batch_name)
    version = kept.one(kinds.TypeVersion, batch.entry.type_version_id).entry
    return [
        LimitStatistics(
            limit.called(),
            unit_of(limit.quantity),
            _statistics(stories, "as-found", limit),
            _statistics(stories, "as-left", limit),
        )
        for limit in by_order(version, batch_order(kept, batch)).specification.limit
    ]


def _statistics(
    stories: Sequence[UnitStory], stage: StepStage, limit: Limit
) -> BatchStatistics | None:
    steps = [step for story in stories if (step := story.counting(stage))]
    values = [value for step in steps if (value := step_value(limit, step))]
    if not values:
        return None
    return batch_statistics([_number(value) for value in values], _common_u(values))


def _number(value: Quantity) -> float:
    assert value.value is not None
    return value.value


def _common_u(values: Sequence[Quantity]) -> float:
    return math.sqrt(fmean(value.u_of(SHARED_BY_UNITS) ** 2 for value in values))


def type_figures(records: RecordsReader, type_name: str) -> list[TypeStatistics]:
    """Return what a type's as-left history says for each limit of its newest specification."""
    kept = Snapshot(records)
    version = newest_type(kept, type_name).entry
    stories = _stories_of(kept, type_name)
    people = {person.root: person.entry.name for person in kept.current(kinds.Person)}
    return [
        _type_statistics(type_name, limit, list(_left(kept, stories, limit, people)))
        for limit in version.specification.limit
    ]


def _stories_of(records: RecordsReader, type_name: str) -> list[UnitStory]:
    units = records.current(kinds.Unit, unit_type=type_name)
    return [story for unit in units for story in unit_story(records, unit.entry.serial)]


def _left(
    records: RecordsReader,
    stories: Sequence[UnitStory],
    limit: Limit,
    people: Mapping[int, str],
) -> Iterator[Left]:
    """Yield each unit as it left, but none that an order made otherwise than the limit asks."""
    for story in stories:
        if limit.quantity in OF_THE_MARKING and order_of(records, story) is not None:
            continue
        step = _as_it_left(story)
        value = step_value(limit, step) if step else None
        if step and value:
            yield Left(
                story.unit.entry.serial,
                step.date,
                _number(value),
                value.u_of(SHARED_BY_UNITS),
                _factors(story, step, people),
            )


def _as_it_left(story: UnitStory) -> Step | None:
    """Return the measurement a unit left by: as found counts where it was certified untouched."""
    left = story.counting("as-left")
    return left or (story.present if story.certificate else None)


def _factors(story: UnitStory, step: Step, people: Mapping[int, str]) -> dict[str, str]:
    """Return what a unit as left may differ by."""
    reworks = [item.rework for item in story.steps if item.rework]
    loading = step.loading
    found = {
        "bench": loading.entry.bench if loading else UNKNOWN,
        "station": f"{loading.entry.bench} {loading.entry.station}" if loading else UNKNOWN,
        "loader": _who(loading, people),
        "supplier lot": story.unit.entry.supplier_lot or UNKNOWN,
    }
    if reworks:
        found["reworker"] = _who(reworks[-1], people)
        lots = [item.entry.supplier_lot for item in reworks if item.entry.supplier_lot]
        found["lot of wax or part"] = lots[-1] if lots else UNKNOWN
    return found


def _who(kept: Kept[Any] | None, people: Mapping[int, str]) -> str:
    return people.get(kept.by, UNKNOWN) if kept and kept.by is not None else UNKNOWN


def _type_statistics(type_name: str, limit: Limit, left: list[Left]) -> TypeStatistics:
    newest = {item.serial: item.value for item in sorted(left, key=lambda item: item.date)}
    common_u = math.sqrt(fmean(item.common_u**2 for item in left)) if left else None
    return TypeStatistics(
        type_name,
        limit.called(),
        unit_of(limit.quantity),
        len(newest),
        capability(newest, limit, common_u),
        _trend(left),
        compare_factors(left, unit_of(limit.quantity)),
    )


def _trend(left: Sequence[Left]) -> Trend | None:
    if len(left) < 4:
        return None
    first = min(item.date for item in left)
    days = [(item.date - first).days / DAYS for item in left]
    return trend(days, [item.value for item in left])


def compare_factors(left: Sequence[Left], unit: str) -> tuple[Factor, ...]:
    """Return each factor's groups compared; p counts that all factors were looked at."""
    names = dict.fromkeys(name for item in left for name in item.factors)
    grouped = {name: _grouped(left, name) for name in names}
    found = {
        name: compare({group: [item.value for item in items] for group, items in groups.items()})
        for name, groups in grouped.items()
    }
    counted = adjusted_p({name: one.p for name, one in found.items() if one})
    return tuple(
        _factor(name, groups, found[name], counted.get(name), unit)
        for name, groups in grouped.items()
    )


def _grouped(left: Sequence[Left], factor: str) -> dict[str, list[Left]]:
    groups: dict[str, list[Left]] = {}
    for item in left:
        group = item.factors.get(factor)
        if group is not None:
            groups.setdefault(group, []).append(item)
    return dict(sorted(groups.items()))


def _factor(
    name: str,
    groups: Mapping[str, list[Left]],
    found: Comparison | None,
    p: float | None,
    unit: str,
) -> Factor:
    enough = sum(len(items) > 1 for items in groups.values()) > 1
    words = "all units read alike" if enough else "two groups of two units at least are needed"
    words = f"{name}: {words}"
    if found:
        words = found.in_words(name, _difference_unit(unit), p)
    trends = {group: line for group, items in groups.items() if (line := _trend(items))}
    return Factor(
        name, {group: len(items) for group, items in groups.items()}, found, p, words, trends
    )


def _difference_unit(unit: str) -> str:
    return "K" if unit == "°C" else unit


def compare_types(records: RecordsReader) -> Factor | None:
    """Return all types side by side by how far units left from the middle of their limits.

    None where no type has a start-to-open with two limits on record.
    """
    kept = Snapshot(records)
    left = list[Left]()
    for name in dict.fromkeys(version.entry.name for version in kept.current(kinds.TypeVersion)):
        specification = newest_type(kept, name).entry.specification
        for limit in specification.limit:
            low, high = limit.bounds
            if limit.quantity in STARTS and low is not None and high is not None:
                left += [
                    item._replace(value=item.value - (low + high) / 2, factors={"type": name})
                    for item in _left(kept, _stories_of(kept, name), limit, {})
                ]
                break
    return compare_factors(left, "K")[0] if left else None


def factor_json(factor: Factor) -> dict[str, Any]:
    """Return one factor as it is printed for programs."""
    return factor._asdict() | {
        "comparison": _comparison_json(factor.comparison) if factor.comparison else None,
        "trends": {group: line._asdict() for group, line in factor.trends.items()},
    }


def _comparison_json(found: Comparison) -> dict[str, Any]:
    groups = [group._asdict() | {"stands_out": group.stands_out} for group in found.groups]
    return vars(found) | {"groups": groups}

"""Where a unit is expected to open in its next night: by its last result and its rework since."""

from __future__ import annotations

from collections.abc import Sequence

from proofbath.curve.content import ResultContent
from proofbath.proof.ordered import Ordered
from proofbath.proof.specification import LIFT_MM
from proofbath.proof.trim_advice import Forecast
from proofbath.quantity.levels import OPENING
from proofbath.quantity.quantity import Quantity
from proofbath.run.unit_type import Opens, UnitType
from proofbath.store.kinds import HandMeasurement, TypeVersion
from proofbath.store.records import RecordsReader
from proofbath.workshop.measured_values import STARTS, limit_of
from proofbath.workshop.orders import order_of
from proofbath.workshop.story import Step, UnitStory, unit_story
from proofbath.workshop.trim_shop import forecast_of

CAME_BACK_K = 3.0
"""A unit that was away may have moved by so much either way (common practice, no source)."""
COLDER_K, COLDEST_FIRST_C = 15.0, 40.0
"""A unit that was open at the first bath is looked for so much colder, down to there."""
REWORKED_SPAN_K = 5.0
"""A reworked unit is watched to be open so far beyond the last start expected of it."""


def expected_of(records: RecordsReader, story: UnitStory) -> Opens | None:
    """Return where a unit is expected to open; None where nothing but its marking tells.

    Its last result counts, wherever that was. One that was reworked since opens where the forecast
    says; where there is none, between its last start and what was ordered of it, or marked. One
    that was open at the first bath since is looked for colder.
    """
    version = records.one(TypeVersion, story.batch.entry.type_version_id).entry
    stories = unit_story(records, story.unit.entry.serial)
    steps = [step for one in stories for step in one.steps]
    measured = [n for n, step in enumerate(steps) if step.content and _start(step.content)]
    last = _as_measured(steps[measured[-1]], version.unit_type) if measured else None
    last = last or _by_hand(records, story, version.unit_type)
    since = steps[measured[-1] + 1 :] if measured else steps
    if last is None:
        return _colder(version.unit_type.opens, since) if _open_at_once(since) else None
    if any(step.rework for step in since):
        foretold = forecast_of(records, story)
        if foretold is not None:
            last = _foretold(foretold, last, version.unit_type)
        else:
            last = _between(last, _aim_c(records, story, version, last))
    elif not measured or steps[measured[-1]] not in story.steps:
        first_c, last_c, full_c = last
        last = Opens(first_c - CAME_BACK_K, last_c + CAME_BACK_K, full_c + CAME_BACK_K)
    return _colder(last, since)


def _open_at_once(since: Sequence[Step]) -> int:
    """Return how often a unit was found open at the first bath, its start below all of them."""
    return sum(step.open_at_once for step in since)


def _colder(opens: Opens, since: Sequence[Step]) -> Opens:
    """Return where to look for a unit that was open at the first bath: colder each time."""
    first_c = opens.first_c - COLDER_K * _open_at_once(since)
    return opens._replace(first_c=min(opens.first_c, max(first_c, COLDEST_FIRST_C)))


def _start(content: ResultContent) -> Quantity | None:
    """Return the start-to-open that a result states, the measured before the extrapolated."""
    found = (content.curve.quantities.get(name) for name in STARTS)
    return next((one for one in found if one is not None and one.value is not None), None)


def _as_measured(step: Step, unit_type: UnitType) -> Opens | None:
    content = step.content
    start = _start(content) if content else None
    if content is None or start is None or start.value is None:
        return None
    full = content.curve.quantities.get("full_open_c")
    full_c = full.value if full is not None else None
    return _opens(start.value, full_c, unit_type, content.curve.series.get(OPENING, ()))


def _opens(
    start_c: float, full_c: float | None, unit_type: UnitType, levels: Sequence[Quantity] = ()
) -> Opens:
    """Return where a unit of a start opens; `levels` are of its rising curve.

    What it was not seen to lift takes it as long as its type's units.
    """
    if full_c is not None and full_c > start_c:
        return Opens(start_c, start_c, full_c)
    seen = [(one.value, one.threshold_mm) for one in levels if one.value is not None]
    top_c, top_mm = max([(start_c, unit_type.threshold_mm), *((c, mm or 0.0) for c, mm in seen)])
    usual_k = unit_type.full_open_c - unit_type.nominal_start_to_open_c
    left = (unit_type.full_lift_mm - top_mm) / (unit_type.full_lift_mm - unit_type.threshold_mm)
    return Opens(start_c, start_c, max(top_c + max(left, 0.0) * usual_k, start_c + 0.1))


def _by_hand(records: RecordsReader, story: UnitStory, unit_type: UnitType) -> Opens | None:
    kept = records.current(HandMeasurement, unit_id=story.unit.root)
    for one in reversed(kept):
        for name in STARTS:
            if name in one.entry.content:
                start = Quantity.from_json(one.entry.content[name], name)
                if start.value is not None:
                    return _opens(start.value, None, unit_type)
    return None


def _aim_c(records: RecordsReader, story: UnitStory, version: TypeVersion, last: Opens) -> float:
    """Return the start-to-open that a rework is to lead to."""
    order = order_of(records, story)
    if order is None:
        marked = limit_of(version.specification, STARTS)
        nominal_c = marked.nominal if marked else None
        return version.unit_type.nominal_start_to_open_c if nominal_c is None else nominal_c
    return start_ordered_c(order.entry.ordered, version.unit_type, last, _levels(records, story))


def start_ordered_c(
    ordered: Ordered, unit_type: UnitType, last: Opens, levels: Sequence[Quantity] = ()
) -> float:
    """Return the start-to-open of a unit that keeps to an order; `levels` are its last curve's."""
    if ordered.lift_mm <= unit_type.threshold_mm + LIFT_MM:
        return ordered.wanted_c
    for one in levels:
        if one.value is not None and abs((one.threshold_mm or 0.0) - ordered.lift_mm) <= LIFT_MM:
            return ordered.wanted_c - (one.value - last.first_c)
    share = (ordered.lift_mm - unit_type.threshold_mm) / (
        unit_type.full_lift_mm - unit_type.threshold_mm
    )
    return ordered.wanted_c - min(share, 1.0) * (last.full_c - last.first_c)


def _levels(records: RecordsReader, story: UnitStory) -> Sequence[Quantity]:
    contents = [step.content for step in story.steps if step.content]
    return contents[-1].curve.series.get(OPENING, ()) if contents else ()


def _foretold(forecast: Forecast, last: Opens, unit_type: UnitType) -> Opens:
    """Return where a reworked unit opens with a probability of 95 %."""
    found = {lift_mm: at_c for lift_mm, at_c in forecast.temperature_c if at_c is not None}
    if not found:
        return last
    start, full = found[min(found)], found[max(found)]
    reaches = max(found) >= unit_type.full_lift_mm - LIFT_MM
    full_c = full.high if reaches else start.high + (last.full_c - last.last_c)
    return Opens(start.low, start.high, max(full_c, start.high + REWORKED_SPAN_K))


def _between(last: Opens, aim_c: float) -> Opens:
    """Return where a unit may open that was brought from its last start towards another."""
    first_c, last_c = min(last.first_c, aim_c), max(last.last_c, aim_c)
    full_c = aim_c + (last.full_c - last.last_c)
    return Opens(first_c, last_c, max(full_c, last_c + REWORKED_SPAN_K))

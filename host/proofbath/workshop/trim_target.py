"""Where rework is to lead: the limit that it aims between, its guard band taken off."""

from __future__ import annotations

from proofbath.errors import InputError
from proofbath.proof.decision import acceptance_limits
from proofbath.proof.lift_curve import START_MM
from proofbath.proof.specification import Limit, Specification
from proofbath.proof.trim_policy import Target
from proofbath.quantity.levels import OPENING
from proofbath.store import kinds
from proofbath.store.records import RecordsReader
from proofbath.workshop.measured_curve import full_lift_of
from proofbath.workshop.measured_values import LIFT, STARTS, limit_of, value_of
from proofbath.workshop.orders import specification_of
from proofbath.workshop.story import UnitStory


def target_of(records: RecordsReader, story: UnitStory) -> Target:
    """Return where a unit is to come to, the guard band of its own uncertainty taken off.

    Raises InputError where its specification has no two limits to aim between.
    """
    specification = specification_of(records, story)
    limit = aimed_at(specification)
    low, high = acceptance_limits(limit, _big_u(story, limit), specification.rule)
    assert low is not None
    assert high is not None
    wanted = limit.nominal if limit.nominal is not None else (low + high) / 2
    version = records.one(kinds.TypeVersion, story.batch.entry.type_version_id).entry
    heated = version.unit_type.element_ohm is not None
    target = Target(
        wanted,
        low,
        high,
        limit.threshold_mm or START_MM,
        highest_c=None if heated else version.unit_type.cap_c,
    )
    return _with_lift(target, specification, story)


def aimed_at(specification: Specification) -> Limit:
    """Return the limit that rework aims between: what was ordered, else the start-to-open.

    Raises InputError where there is none with two ends.
    """
    for quantities in ((OPENING,), STARTS):
        limit = limit_of(specification, quantities)
        if limit is not None and None not in limit.bounds:
            return limit
    raise InputError(
        f"type {specification.unit_type}: its specification has no two limits of start-to-open to"
        " aim between; order a temperature (proofbath batch order)"
    )


def wanted_of(records: RecordsReader, story: UnitStory) -> tuple[float, float] | None:
    """Return the temperature and the lift that a unit is to come to; None where none is stated."""
    try:
        limit = aimed_at(specification_of(records, story))
    except InputError:
        return None
    low, high = limit.bounds
    middle = limit.nominal if limit.nominal is not None else ((low or 0.0) + (high or 0.0)) / 2
    return middle, limit.threshold_mm or START_MM


def _big_u(story: UnitStory, limit: Limit) -> float:
    """Return the uncertainty of a unit's last value of a limit, else half the largest allowed."""
    for step in reversed(story.steps):
        value = value_of(limit, step.content) if step.content else None
        if value is not None and value.expanded_uncertainty is not None:
            return value.expanded_uncertainty
    return limit.judged_with_u / 2


def _with_lift(target: Target, specification: Specification, story: UnitStory) -> Target:
    """Return the target with the lift its specification asks for, at the bath it was read in."""
    limit = limit_of(specification, (LIFT,))
    lower = limit.bounds[0] if limit else None
    if limit is None or lower is None:
        return target
    for step in reversed(story.steps):
        value = value_of(limit, step.content) if step.content else None
        top = full_lift_of(step.content) if step.content else None
        if value is not None and top is not None:
            low, _ = acceptance_limits(limit, value.expanded_uncertainty or 0.0, specification.rule)
            return target._replace(lower_lift_mm=low, full_at_c=top[1])
    return target

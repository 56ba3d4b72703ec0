"""A unit's whole history as one object: batches, nights, rework, decisions, certificates, logs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from proofbath.certificate.results import WORDS
from proofbath.store.kinds import Decision, HandMeasurement, ReferenceUnit, ServiceLog, Unit
from proofbath.store.records import Kept, Records
from proofbath.workshop.findings import usual_results
from proofbath.workshop.history import rework_in_words
from proofbath.workshop.issued import certificates_of
from proofbath.workshop.story import Step, UnitStory, unit_story

Shown = dict[str, Any]
_ORDER = tuple(WORDS)
_HAND = ("start_to_open_c", "shift_k_per_w")
_REFERENCE = ("since", "in_use", "text")


def unit_history(records: Records, serial: str) -> Shown:
    """Return everything on record of a unit, oldest first; raises InputError for an unknown one."""
    unit = records.find(Unit, serial=serial)
    mine = {"unit_id": unit.root}
    return {
        **unit.entry.model_dump(mode="json"),
        "batches": [_batch(records, story) for story in unit_story(records, serial)],
        "certificates": [
            {
                "number": line.number,
                "batch": line.batch,
                "issued": line.issued.isoformat(),
                "state": line.state,
                "document": line.document,
                "why": line.why,
            }
            for line in certificates_of(records, serial=serial)
        ],
        "hand_measurements": [_hand(kept) for kept in records.current(HandMeasurement, **mine)],
        "service_logs": [
            {
                "number": kept.root,
                **kept.entry.model_dump(mode="json", include={"fitted", "engine"}),
            }
            for kept in records.current(ServiceLog, **mine)
        ],
        "reference": [
            kept.entry.model_dump(mode="json", include={*_REFERENCE})
            for kept in records.current(ReferenceUnit, **mine)
        ],
    }


def _batch(records: Records, story: UnitStory) -> Shown:
    intake = story.intake
    keys = {"unit_id": story.unit.root, "batch_id": story.batch.root}
    return {
        "batch": story.batch.entry.name,
        "customer": story.batch.entry.customer,
        "received": story.batch.entry.received.isoformat(),
        "intake": intake.entry.model_dump(mode="json", exclude={"unit_id", "batch_id"}),
        "steps": [_step(step) for step in story.steps],
        "decisions": [_decision(kept) for kept in records.current(Decision, **keys)],
        "certificate": story.certificate,
    }


def _step(step: Step) -> Shown:
    shown: Shown = {"stage": step.stage, "date": step.date.isoformat()}
    if step.rework:
        return shown | {"rework": rework_in_words(step.rework.entry)}
    run = step.station_run.entry if step.station_run else None
    loading = step.loading.entry if step.loading else None
    return shown | {
        "bench": loading.bench if loading else None,
        "station": loading.station if loading else None,
        "retest_cause": loading.retest_cause if loading else None,
        "run": run.run_id if run else None,
        "status": run.status if run else "not run yet",
        "results": values_in(step.result.entry.content) if step.result else [],
        "reason": _why_none(step.result.entry.content) if step.result else None,
    }


def values_in(content: Mapping[str, Any]) -> list[Shown]:
    """Return the values of a result, each with its expanded uncertainty and its form."""
    return [
        {
            "quantity": result.quantity,
            "words": result.words,
            "value": result.value,
            "expanded_uncertainty": result.expanded_uncertainty,
            "unit": result.unit,
            "rate": result.rate,
            "threshold_mm": result.threshold_mm,
        }
        for result in sorted(usual_results(content), key=lambda r: _ORDER.index(r.quantity))
    ]


def _why_none(content: Mapping[str, Any]) -> str | None:
    """Return why no start-to-open was found, None where there is one."""
    starts = [
        shown
        for name in ("start_to_open_c", "unpowered_start_to_open_c")
        if isinstance(shown := content.get(name), Mapping)
    ]
    if not starts or any(shown["value"] is not None for shown in starts):
        return None
    return str(starts[0]["reason"])


def _decision(kept: Kept[Decision]) -> Shown:
    entry = kept.entry
    return {
        "day": kept.at[:10],
        "outcome": entry.outcome,
        "rule": entry.rule,
        "probability": entry.probability,
        "reason": entry.content.get("reason", ""),
        "agreement": entry.agreement_customer,
    }


def _hand(kept: Kept[HandMeasurement]) -> Shown:
    entry = kept.entry
    shown: Shown = {"number": kept.root, "date": entry.date.isoformat(), "stage": entry.stage}
    for name in _HAND:
        told = entry.content.get(name) or {}
        shown[name] = {
            key: told.get(key) for key in ("value", "expanded_uncertainty", "reason", "rate")
        }
    return shown

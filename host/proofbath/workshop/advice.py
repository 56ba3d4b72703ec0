"""Rework advice for units on record: from their latest curves and all rounds of their type."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from proofbath.errors import InputError
from proofbath.proof.effort import Effort
from proofbath.proof.lift_curve import START_MM, Interval, interval
from proofbath.proof.rework_act import CLEAN_WAX, ReworkAct
from proofbath.proof.trim_act import CLEAN, OWN, Act
from proofbath.proof.trim_advice import Forecast, TrimAction, TrimAdvice, TrimAdviser
from proofbath.proof.trim_knowledge import TrimKnowledge
from proofbath.proof.trim_policy import Means, Target, TrimUnit
from proofbath.store import kinds
from proofbath.store.records import RecordsReader
from proofbath.store.tables import place_key
from proofbath.workshop.advice_words import Told, lines_of, target_in_words
from proofbath.workshop.rework_checks import round_question
from proofbath.workshop.service import type_offset
from proofbath.workshop.snapshot import Snapshot
from proofbath.workshop.story import UnitStory, batch_story, unit_story
from proofbath.workshop.trim_history import body_of, events_of, rework_kind
from proofbath.workshop.trim_shop import knowledge_of, means_of, target_of, trim_unit


class UnitAdvice(NamedTuple):
    """Advice for one unit, or in `refusal` why there is none yet.

    `lines` say it in the terms of the workshop, the first one what to do next; `to_do` is the same
    as it goes on record. `now` is where the target's lift is reached as the unit is.
    """

    serial: str
    batch: str
    rounds_done: int = 0
    refusal: str | None = None
    target: Target | None = None
    target_words: str = ""
    now: Interval | None = None
    start_now: Interval | None = None
    advice: TrimAdvice | None = None
    to_do: ReworkAct | None = None
    lines: tuple[str, ...] = ()

    @property
    def next_act(self) -> str:
        """What to do with the unit next, in one line: every face says the same."""
        return self.lines[0] if self.lines else self.refusal or ""

    def to_json(self) -> dict[str, Any]:
        """Return the advice as it is printed for programs."""
        advice = self.advice
        return {
            "serial": self.serial,
            "batch": self.batch,
            "rounds_done": self.rounds_done,
            "refusal": self.refusal,
            "target": self.target and self.target._asdict(),
            "target_words": self.target_words,
            "now_c": self.now and self.now._asdict(),
            "start_now_c": self.start_now and self.start_now._asdict(),
            "action": advice and advice.action.value,
            "to_do": self.to_do and self.to_do.model_dump(mode="json", exclude_defaults=True),
            "rounds_foreseen": [] if advice is None else [act_json(x) for x in advice.rounds],
            "forecast": advice and advice.forecast and forecast_json(advice.forecast),
            "chance_inside": advice and advice.chance_inside,
            "expected_min": advice and advice.expected_min,
            "cause": advice and advice.cause and advice.cause.value,
            "figure": advice and advice.figure,
            "next_act": self.next_act,
            "lines": list(self.lines),
        }


def act_json(act: Act) -> dict[str, Any]:
    """Return an act as it is printed for programs; what it leaves as it is is left out."""
    told = {name: part for name, part in act._asdict().items() if name not in ("donor", "opened")}
    usual = Act()._asdict()
    donor = act.donor and act.donor._asdict()
    shown = {name: part for name, part in told.items() if part != usual[name]}
    return {"opened": act.opened, **shown, **({"donor": donor} if donor else {})}


def forecast_json(found: Forecast) -> dict[str, Any]:
    """Return a forecast as it is printed for programs."""
    rows = [
        {"lift_mm": mm, "temperature_c": told and told._asdict()}
        for mm, told in found.temperature_c
    ]
    rest = {name: part for name, part in found._asdict().items() if name != "temperature_c"}
    return {"opening": rows, **{name: part and part._asdict() for name, part in rest.items()}}


def advice_for(records: RecordsReader, name: str, effort: Effort | None = None) -> list[UnitAdvice]:
    """Return the advice for each unit of a batch, or for one unit by its serial number.

    `effort` is what rework takes in the shop. Raises InputError where there is neither, and where
    the type cannot be reworked.
    """
    kept = Snapshot(records)
    if kept.current(kinds.Batch, name=name):
        stories = [s for s in batch_story(kept, name) if s.intake.entry.accepted]
    elif kept.current(kinds.Unit, serial=name):
        stories = unit_story(kept, name)[-1:]
    else:
        raise InputError(f"{name!r}: neither a batch nor a unit on record; check the name")
    if not stories:
        raise InputError(f"{name}: nothing taken in; take it into a batch first")
    advisor = Advisor(kept, effort)
    version = kept.one(kinds.TypeVersion, stories[0].batch.entry.type_version_id).entry
    rework_kind(kept, version)
    return [advisor.advise(story) for story in stories]


_KEPT: dict[tuple[str, str, str, int, int], UnitAdvice] = {}
"""Advice as it was worked out at a state of the records: pages ask for the same again and again."""
_MOST_KEPT = 2048


class Advisor:
    """Advice for units on record; what is known of a type is worked out once."""

    def __init__(self, records: RecordsReader, effort: Effort | None = None) -> None:
        self.records, self.effort = records, effort or Effort()
        self._known: dict[str, TrimKnowledge] = {}
        self._offset_k: dict[str, tuple[float, float] | None] = {}
        self._state = (place_key(records.place), records.head().digest, repr(self.effort))

    def advise(self, story: UnitStory) -> UnitAdvice:
        """Return the advice for a unit in a batch; why there is none stands in its refusal."""
        key = (*self._state, story.batch.root, story.unit.root)
        if key not in _KEPT:
            if len(_KEPT) >= _MOST_KEPT:
                _KEPT.clear()
            _KEPT[key] = self._worked_out(story)
        return _KEPT[key]

    def _worked_out(self, story: UnitStory) -> UnitAdvice:
        serial = story.unit.entry.serial
        blank = UnitAdvice(serial, story.batch.entry.name)
        if story.moved_to is not None:
            return blank._replace(refusal=f"was taken into {story.moved_to} since: ask for that")
        try:
            target = target_of(self.records, story)
            blank = blank._replace(target=target, target_words=target_in_words(target))
            unit = trim_unit(self.records, story, self._knowledge(story))
            blank = blank._replace(rounds_done=unit.rounds_done)
            return self._advise(blank, story, unit, target)
        except InputError as error:
            return blank._replace(refusal=str(error))

    def _knowledge(self, story: UnitStory) -> TrimKnowledge:
        name = story.unit.entry.unit_type
        if name not in self._known:
            self._known[name] = knowledge_of(self.records, name)
        return self._known[name]

    def _advise(
        self, blank: UnitAdvice, story: UnitStory, unit: TrimUnit, target: Target
    ) -> UnitAdvice:
        version = self.records.one(kinds.TypeVersion, story.batch.entry.type_version_id).entry
        kind, body = rework_kind(self.records, version), body_of(self.records, version.name)
        means = means_of(self.records, kind, unit.curve, body)
        adviser = TrimAdviser(self._knowledge(story), means, target, self.effort)
        advice = adviser.advise(unit)
        pin_mm, closing_mm = last_heights(self.records, blank.serial)
        to_do = rework_act_of(
            advice.act,
            type_name=version.name,
            pin_before_mm=pin_mm,
            closing_before_mm=closing_mm,
            openings_left=unit.openings_left,
        )
        odd = round_question(self.records, story)
        told = Told(
            advice,
            target,
            now_c=_at(unit, target.lift_mm),
            to_do=to_do,
            kind=kind,
            heated=version.unit_type.element_ohm is not None,
            give_up_min=self.effort.give_up_min,
            unmeasured=_unmeasured(kind.donors if kind.kind == "refillable" else (), means),
            engine_offset_k=self._offset(version.name),
        )
        return blank._replace(
            now=told.now_c,
            start_now=_at(unit, START_MM),
            advice=advice,
            to_do=to_do,
            lines=(*lines_of(told), *([odd] if odd else [])),
        )

    def _offset(self, type_name: str) -> tuple[float, float] | None:
        """Return how much warmer engines run than their unit's start, with u; None without logs."""
        if type_name not in self._offset_k:
            self._offset_k[type_name] = None
            if self.records.current(kinds.ServiceLog):
                found = type_offset(self.records, type_name)
                if found.seen:
                    offset = found.offset
                    self._offset_k[type_name] = (offset.mean_k, offset.u_next_k)
        return self._offset_k[type_name]


def rework_act_of(
    act: Act | None,
    *,
    type_name: str,
    pin_before_mm: float | None = None,
    closing_before_mm: float | None = None,
    openings_left: int | None = None,
) -> ReworkAct | None:
    """Return an advised act as it goes on record; None for none.

    Heights that only the hands know stand in it where the last ones on record are given.
    """
    if act is None:
        return None
    source = {CLEAN: CLEAN_WAX, OWN: type_name}.get(act.source, act.source)
    pin_after = closing_after = None
    if act.pin_stick_out_mm is not None and pin_before_mm is not None:
        pin_after = round(pin_before_mm + act.pin_stick_out_mm, 2)
    if closing_before_mm is not None and act.opened:
        closing_after = round(closing_before_mm - act.closing_mm, 2)
    left = None if openings_left is None else openings_left - act.opened
    return ReworkAct(
        opened=act.opened,
        mass_out_mg=act.mass_out_mg,
        mass_in_mg=act.mass_in_mg,
        source=source,
        donor_type=None if act.donor is None else act.donor.source,
        shim_mm=act.shim_mm,
        closing_before_mm=closing_before_mm if act.opened else None,
        closing_after_mm=closing_after,
        pin_before_mm=pin_before_mm if act.doses else None,
        pin_after_mm=pin_after,
        openings_left=None if left is None else max(left, 0),
    )


def last_heights(records: RecordsReader, serial: str) -> tuple[float | None, float | None]:
    """Return a unit's cold pin and closing height as last read in a rework, None where not read."""
    pin = closing = None
    for event in events_of(records, serial):
        act = event.rework.entry.act if event.rework else None
        if act is not None:
            pin = act.pin_after_mm if act.pin_after_mm is not None else pin
            closing = act.closing_after_mm if act.closing_after_mm is not None else closing
    return pin, closing


def leads_on(one: UnitAdvice) -> bool:
    """Tell whether something is to be changed on a unit as advised."""
    return one.advice is not None and one.advice.action in (
        TrimAction.CHANGE,
        TrimAction.CHANGE_AND_MEASURE,
    )


def _at(unit: TrimUnit, lift_mm: float) -> Interval:
    return interval(unit.curve.temperature_c(lift_mm), unit.curve.weights)


def _unmeasured(donors: Sequence[str], means: Means) -> tuple[str, ...]:
    """Return the donors at hand whose wax is not known."""
    known = {donor.source for donor in means.donors}
    return tuple(name for name in donors if name not in known)

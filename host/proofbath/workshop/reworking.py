"""Rework put on record: what was changed on a unit, corrected or cancelled where it was not so."""

from __future__ import annotations

import datetime as dt

from proofbath.errors import InputError
from proofbath.proof.rework_act import ReworkAct
from proofbath.proof.rework_kind import Refillable
from proofbath.proof.rework_kind import Rework as ReworkKind
from proofbath.store.kinds import Rework, TypeVersion
from proofbath.store.records import Kept, Stamp
from proofbath.workshop.entry import made
from proofbath.workshop.rework_checks import round_question
from proofbath.workshop.rework_heat import kind_of, openings_left
from proofbath.workshop.rework_questions import questions_of
from proofbath.workshop.shop import Shop
from proofbath.workshop.story import UnitStory, story_in, unit_story
from proofbath.workshop.virtual_rework import Done, virtual_changes

_CHANGED_BY = {"wax": "refillable", "element": "refillable", "setting": "setting"}
_MOST = {"wax": (100.0, "mg"), "setting": (5.0, "mm")}
"""Largest change of one round that is believed: several times what any type bears (common
practice, no source). A slip of the pen would spoil all later advice."""
_FULLEST = 1.5
"""No unit holds more than so many times the fill of a new one (common practice, no source)."""
_PASTE_SHARE = 1.0
"""Paste weighs up to so much more than the clean wax that takes as much room: half of it is metal
powder (from memory)."""


class Question(InputError):
    """What was given may be right or a slip: it goes on record once somebody confirms it."""


def put_rework(
    shop: Shop,
    batch_name: str,
    serial: str,
    *,
    date: dt.date,
    kind: str,
    amount: float | None = None,
    text: str,
    supplier_lot: str | None = None,
    act: ReworkAct | None = None,
    stamp: Stamp,
    reason: str = "",
    confirmed: bool = False,
) -> int:
    """Put on record what was changed on a unit, and return its number.

    A `reason` corrects the unit's last rework in this batch instead.  Refused before the unit was
    measured as found in this batch, while a certificate of this batch stands, and where the type
    does not bear this kind of rework; what may be a slip raises Question unless `confirmed`.  A
    unit of a virtual bench is changed by it, as hands do it.
    """
    story = story_in(shop.records, batch_name, serial)
    called = f"rework of {serial}"
    _check_turn(story, called)
    found = story.counting("as-found")
    if found is None:
        raise InputError(f"{called}: has no as-found result in {batch_name}; measure it first")
    if not found.date <= date <= stamp.day:
        raise InputError(
            f"{called}: {date} must lie between the as-found run of {found.date} and today"
        )
    version = shop.records.one(TypeVersion, story.batch.entry.type_version_id).entry
    known = kind_of(shop.records, version)
    _check_bears(known, called, kind, amount)
    if kind == "wax" and act is None and amount is not None and known is not None:
        act = clean_wax(amount)
        kind, amount = "element", None
    if act is not None:
        _check_act(version, known, called, act)
    rework = made(
        Rework,
        called,
        unit_id=story.unit.root,
        batch_id=story.batch.root,
        date=date,
        kind=kind,
        amount=amount,
        text=text,
        supplier_lot=supplier_lot,
        act=act,
    )
    before = _last(story, called) if reason else None
    left = openings_left(shop.records, unit_story(shop.records, serial))
    asked = questions_of(story, rework, left, corrects=before is not None)
    if before is None:
        odd = round_question(shop.records, story)
        asked += [odd] if odd else []
    if asked and not confirmed:
        raise Question(*(f"{called}: {question}" for question in asked))
    changes = virtual_changes(
        shop, serial, _done(rework), _done(before.entry) if before is not None else None
    )
    if before is not None:
        root = before.root
        shop.records.correct(root, rework, reason, stamp)
    else:
        root = shop.records.add(rework, stamp)
    for change in changes:
        change.write()
    return root


def cancel_rework(shop: Shop, batch_name: str, serial: str, *, why: str, stamp: Stamp) -> int:
    """Cancel a unit's last rework in a batch, which was never done, and return its number.

    It stays on record as cancelled; a virtual unit is again as it was before.
    """
    story = story_in(shop.records, batch_name, serial)
    called = f"rework of {serial}"
    _check_turn(story, called)
    last = _last(story, called)
    if not why.strip():
        raise InputError(f"{called}: say why it is cancelled")
    changes = virtual_changes(shop, serial, None, _done(last.entry))
    cancelled = last.entry.model_copy(update={"cancelled": True})
    shop.records.correct(last.root, cancelled, why, stamp)
    for change in changes:
        change.write()
    return last.root


def clean_wax(amount_mg: float) -> ReworkAct:
    """Return the act of adding clean wax, or of taking wax out where the amount is negative."""
    return ReworkAct(mass_in_mg=max(amount_mg, 0.0), mass_out_mg=max(-amount_mg, 0.0))


def _done(rework: Rework) -> Done:
    return Done(rework.kind, rework.amount, rework.act)


def _check_turn(story: UnitStory, called: str) -> None:
    """Refuse what is said of a unit that was refused, is certified, or went on elsewhere."""
    if not story.intake.entry.accepted:
        raise InputError(f"{called}: was refused at intake; take it in first")
    if story.certificate is not None:
        raise InputError(f"{called}: certificate {story.certificate} stands; withdraw it first")
    if story.moved_to is not None:
        raise InputError(f"{called}: was taken into {story.moved_to} since; name that batch")


def _last(story: UnitStory, called: str) -> Kept[Rework]:
    """Return a unit's last rework in a batch; raises InputError where there is none."""
    if story.last_rework is None:
        raise InputError(
            f"{called}: none is on record in {story.batch.entry.name}; nothing to correct"
        )
    return story.last_rework


def _check_bears(known: ReworkKind | None, called: str, kind: str, amount: float | None) -> None:
    """Refuse wax for what does not open, a setting where there is none, an unbelievable amount."""
    wanted = _CHANGED_BY.get(kind)
    if wanted is None:
        if amount is not None:
            raise InputError(f"{called}: {kind} has no amount; say it in words")
        return
    if known is not None and known.kind != wanted:
        raise InputError(f"{called}: the type is {known.kind}, which bears no change of {kind}")
    if kind == "element":
        return
    most, unit = _MOST[kind]
    if not amount:
        raise InputError(f"{called}: say by how many {unit}; advice is learnt from it")
    if not abs(amount) <= most:
        raise InputError(
            f"{called}: {amount:+g} {unit}, believable are {most:g} at most; give {unit}"
        )


def _check_act(version: TypeVersion, known: ReworkKind | None, called: str, act: ReworkAct) -> None:
    """Refuse masses that cannot be of a fill, and the insulation of a heater that is not there."""
    if act.insulation_mohm is not None and version.unit_type.element_ohm is None:
        raise InputError(f"{called}: a {version.name} has no heater; leave insulation_mohm out")
    fill_mg = known.wax_mg if isinstance(known, Refillable) else None
    if fill_mg is not None and act.mass_out_mg > _FULLEST * fill_mg:
        raise InputError(
            f"{called}: {act.mass_out_mg:g} mg out of a unit whose type is filled with"
            f" {fill_mg:g} mg (its wax_mg); give mg"
        )
    more_mg, least_mg = act.mass_in_mg - act.mass_out_mg, min(act.mass_in_mg, act.mass_out_mg)
    most_mg = _MOST["wax"][0] + _PASTE_SHARE * least_mg
    if not abs(more_mg) <= most_mg:
        raise InputError(
            f"{called}: {act.mass_out_mg:g} mg out and {act.mass_in_mg:g} mg in leave"
            f" {more_mg:+g} mg, believable are {most_mg:.0f} at most; give mg, and both masses"
        )

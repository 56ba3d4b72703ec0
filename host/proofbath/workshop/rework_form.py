"""What a rework is asked for, in the order in which hands do it, and what it is filled with."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from proofbath.errors import InputError
from proofbath.proof.effort import Effort
from proofbath.proof.rework_act import ReworkAct
from proofbath.proof.rework_kind import Refillable, Rework, Setting
from proofbath.store import kinds
from proofbath.store.records import RecordsReader
from proofbath.workshop.advice import advice_for
from proofbath.workshop.rework_heat import kind_of


class Asked(NamedTuple):
    """One thing that is asked for: a field of an act, what it is called, and where it is asked."""

    name: str
    words: str
    hint: str = ""


ASKED: tuple[Asked, ...] = (
    Asked("mass_before_mg", "Whole unit before it was opened, mg"),
    Asked("pin_before_mm", "Cold pin stood out before, mm"),
    Asked("closing_before_mm", "Height over crimp or cap before, mm"),
    Asked("mass_out_mg", "Taken out, mg"),
    Asked("mass_in_mg", "Put in, mg"),
    Asked("source", "Put in from", "clean wax, or the type or unit whose paste it is"),
    Asked("donor_type", "Wax of another type", "the type's name, where it melts elsewhere"),
    Asked(
        "bubbles_gone",
        "Molten wax was held until no bubbles rose, and filled warm",
        "common practice",
    ),
    Asked("pin_after_mm", "Cold pin stood out before it was closed, mm"),
    Asked("shim_mm", "Shims are thicker by, mm", "+ opens it colder"),
    Asked("closing_after_mm", "Height over crimp or cap after, mm"),
    Asked("sealed_by", "What was done to seal and crimp"),
    Asked("mass_after_mg", "Whole unit after it was closed, mg"),
    Asked("openings_left", "Openings its closure has left", "one to three for a crimped lip"),
    Asked("insulation_mohm", "Heater against the case after closing, MΩ", "cold and dry"),
    Asked("u_mass_mg", "Standard uncertainty of the balance, mg"),
)
_WORDS = frozenset(("source", "donor_type", "sealed_by", "bubbles_gone"))
NUMBERS = frozenset(asked.name for asked in ASKED) - _WORDS
"""Names of what is a number."""
ASKED_OF_HANDS = tuple(asked for asked in ASKED if asked.name != "u_mass_mg")


class Filled(NamedTuple):
    """What a rework is filled with before anybody corrects it."""

    kind: str
    amount: float | None = None
    act: ReworkAct | None = None
    text: str = ""
    supplier_lot: str | None = None
    untold: tuple[str, ...] = ()
    """Fields of the act that are only foreseen: what they came to, hands must tell."""
    stick_out_mm: float | None = None
    """How much further out than before the cold pin is to stand, where it is filled by that."""

    @classmethod
    def of(cls, entry: kinds.Rework) -> Filled:
        """Return a rework on record, to be corrected."""
        return cls(entry.kind, entry.amount, entry.act, entry.text, entry.supplier_lot)


def asked_for(records: RecordsReader, version: kinds.TypeVersion) -> tuple[Asked, ...]:
    """Return what hands are asked for on a unit of a type."""
    kind, out = kind_of(records, version), set[str]()
    if version.unit_type.element_ohm is None:
        out |= {"insulation_mohm"}
    if isinstance(kind, Refillable):
        out |= set() if kind.reads_pin else {"pin_before_mm", "pin_after_mm"}
        out |= set() if kind.shim else {"shim_mm"}
        out |= set() if kind.donors else {"donor_type"}
    return tuple(asked for asked in ASKED_OF_HANDS if asked.name not in out)


def usual_kind(kind: Rework | None) -> str | None:
    """Return what is changed on units reworked so, None where it is not known."""
    if isinstance(kind, Refillable):
        return "element"
    return "setting" if isinstance(kind, Setting) else None


def advised(
    records: RecordsReader, version: kinds.TypeVersion, serial: str, effort: Effort
) -> tuple[Filled | None, tuple[str, ...]]:
    """Return what is advised for a unit as it goes on record, None for nothing, and its words."""
    (advice,) = advice_for(records, serial, effort)
    words = advice.lines or (advice.next_act,)
    if advice.to_do is None:
        return None, words
    if isinstance(kind_of(records, version), Setting):
        return Filled("setting", advice.to_do.shim_mm, text="set as advised"), words
    act = advice.advice.act if advice.advice is not None else None
    by_pin_mm = act.pin_stick_out_mm if act is not None else None
    untold = () if by_pin_mm is None else ("mass_in_mg",)
    filled = Filled("element", act=advice.to_do, text="as advised")
    return filled._replace(untold=untold, stick_out_mm=by_pin_mm), words


def fields_of(filled: Filled, given: Mapping[str, Any]) -> dict[str, Any]:
    """Return the fields of an act: those given, the rest as it is filled."""
    before = filled.act.model_dump(exclude=set(filled.untold)) if filled.act is not None else {}
    return before | {name: value for name, value in given.items() if value is not None}


def weighed(called: str, fields: Mapping[str, Any]) -> dict[str, Any]:
    """Return the fields of an act with what was put in, where only the whole unit was weighed.

    Raises InputError where wax is said to be put in and nothing tells how much.
    """
    told = dict(fields)
    if told.get("mass_in_mg") is not None:
        return told
    before, after = told.get("mass_before_mg"), told.get("mass_after_mg")
    if before is not None and after is not None:
        told["mass_in_mg"] = max(after - before + (told.get("mass_out_mg") or 0.0), 0.0)
    elif told.get("donor_type") or told.get("bubbles_gone"):
        raise InputError(
            f"{called}: say how many mg went in, or what the whole unit weighed before and after"
        )
    return told

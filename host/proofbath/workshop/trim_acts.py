"""Reworks on record as acts of trimming: what was put in, where it came from, how it melts."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from proofbath.proof.lift_curve import LiftCurve
from proofbath.proof.rework_act import CLEAN_WAX
from proofbath.proof.trim_act import CLEAN, OWN, Act, Donor
from proofbath.proof.trim_moved import donor_from
from proofbath.store import kinds
from proofbath.store.records import Kept, RecordsReader
from proofbath.workshop.trim_history import Body, body_of, curve_of, events_of

USUAL_SPREAD_K, SPREAD_UNITS = 0.5, 2
"""How far units of a type melt apart, believed as much as so many units show (from memory)."""
MOST_DONORS = 8
"""Units of a donor's type that its melting is taken from, the newest ones."""


def acts_of(
    records: RecordsReader, reworks: Sequence[Kept[kinds.Rework]], own: LiftCurve, body: Body
) -> Act | None:
    """Return several reworks on record as one act; None where something else was changed too.

    Wax of two sources in one go teaches nothing: None as well.
    """
    acts = [act_on(records, kept.entry, own, body) for kept in reworks]
    known = [act for act in acts if act is not None]
    if not known or len(known) < len(acts):
        return None
    filled = [act for act in known if act.mass_in_mg]
    if len({act.source for act in filled}) > 1:
        return None
    dosed = [act for act in known if act.doses]
    pins = [act.pin_stick_out_mm for act in dosed if act.pin_stick_out_mm is not None]
    return Act(
        sum(act.mass_out_mg for act in known),
        sum(act.mass_in_mg for act in known),
        filled[0].source if filled else CLEAN,
        filled[0].donor if filled else None,
        sum(act.shim_mm for act in known),
        sum(act.closing_mm for act in known),
        pin_stick_out_mm=sum(pins) if dosed and len(pins) == len(dosed) else None,
        opened=any(act.opened for act in known),
    )


def act_on(records: RecordsReader, entry: kinds.Rework, own: LiftCurve, body: Body) -> Act | None:
    """Return a rework on record as an act on a unit of a curve; None where it is none.

    The cold pin's stick-out stands in it where it was read twice.
    """
    if entry.kind == "wax" and entry.amount:
        out, given = max(-entry.amount, 0.0), max(entry.amount, 0.0)
        return Act(mass_out_mg=out, mass_in_mg=given)
    if entry.kind == "setting" and entry.amount:
        return Act(shim_mm=entry.amount, opened=False)
    done = entry.act
    if done is None:
        return None
    source = source_of(records, done.donor_type or done.source, body.name)
    if done.source == CLEAN_WAX:
        source = CLEAN
    donor = None
    if done.donor_type is not None and done.donor_type != body.name:
        donor = donor_of(records, done.donor_type, own)
        if donor is None:
            return None
        donor = donor._replace(source=source)
    return Act(
        done.mass_out_mg,
        done.mass_in_mg,
        source,
        donor,
        done.shim_mm,
        done.closing_mm,
        pin_stick_out_mm=done.stick_out_mm,
        opened=done.opened,
    )


def source_of(records: RecordsReader, called: str, type_name: str) -> str:
    """Return a source of wax by what it is filled from: the type of a unit, or the unit's own."""
    if called == CLEAN_WAX:
        return CLEAN
    of = [kept.entry.unit_type for kept in records.current(kinds.Unit, serial=called)]
    name = of[0] if of else called
    return OWN if name == type_name else name


def donor_of(records: RecordsReader, type_name: str, own: LiftCurve) -> Donor | None:
    """Return another type's wax by the measured curves of its units; None where none is known.

    Units that were filled otherwise do not count. How far units of the type differ is in its u.
    """
    found = [donor_from(type_name, own, curve) for curve in as_made(records, type_name)]
    if not found:
        return None
    shifts = np.array([donor.full_shift_k for donor in found])
    squares = float(((shifts - shifts.mean()) ** 2).sum()) + SPREAD_UNITS * USUAL_SPREAD_K**2
    spread_k = math.sqrt(squares / (len(found) - 1 + SPREAD_UNITS))
    own_u = min(donor.u_shift_k for donor in found)
    return Donor(type_name, float(shifts.mean()), math.hypot(own_u, spread_k))


def as_made(records: RecordsReader, type_name: str) -> list[LiftCurve]:
    """Return the curves of a type's units as they were before anything was changed on them."""
    if not records.current(kinds.TypeVersion, name=type_name):
        return []
    body = body_of(records, type_name)
    curves: list[LiftCurve] = []
    for unit in reversed(records.current(kinds.Unit, unit_type=type_name)):
        if len(curves) == MOST_DONORS:
            break
        for event in events_of(records, unit.entry.serial):
            if event.rework is not None:
                break
            curve = curve_of(event, body)
            if not isinstance(curve, str):
                curves.append(curve)
                break
    return curves

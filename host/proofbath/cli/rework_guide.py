"""Asks the person who opened an element for what balance, pin and caliper showed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import click

from proofbath.proof.cautions import REWORK
from proofbath.proof.rework_act import CLEAN_WAX
from proofbath.workshop.advice_words import MOLTEN
from proofbath.workshop.rework_form import NUMBERS, Asked, Filled, fields_of

_OF_WAX_IN = frozenset(("source", "donor_type", "bubbles_gone"))


def ask_hands(
    serial: str, asked: Sequence[Asked], filled: Filled, given: Mapping[str, Any]
) -> dict[str, Any]:
    """Return an act's fields with what a person answers; what was given is not asked again.

    Enter takes what stands in brackets, or leaves out what was not read.
    """
    click.echo(f"{serial}: {REWORK}", err=True)
    click.echo("Enter takes what stands in brackets; without any, it was not read.", err=True)
    told = fields_of(filled, given)
    for one in asked:
        filling = told.get("mass_in_mg") or "mass_in_mg" in filled.untold
        if one.name in given or (one.name in _OF_WAX_IN and not filling):
            continue
        if one.name == "bubbles_gone":
            click.echo(f"{MOLTEN[:1].upper()}{MOLTEN[1:]}.", err=True)
            told[one.name] = click.confirm(one.words, default=True, err=True)
            continue
        found = _ask(one, _usual(one, told, filled))
        if found is not None:
            told[one.name] = found
    return told


def _usual(one: Asked, told: Mapping[str, Any], filled: Filled) -> Any:
    """Return what Enter takes: as advised, or where the pin is to stand by what it stood before."""
    before_mm, further_mm = told.get("pin_before_mm"), filled.stick_out_mm
    if one.name == "pin_after_mm" and before_mm is not None and further_mm is not None:
        return round(before_mm + further_mm, 2)
    return told.get(one.name)


def _ask(one: Asked, usual: Any) -> Any:
    prompt = f"{one.words} ({one.hint})" if one.hint else one.words
    if one.name == "source":
        return click.prompt(prompt, default=usual or CLEAN_WAX, err=True)
    default = "" if usual in (None, "") else usual
    while True:
        text = click.prompt(prompt, default=default, show_default=default != "", err=True)
        text = str(text).strip()
        if not text:
            return None
        if one.name not in NUMBERS:
            return text
        try:
            return float(text.replace(",", ".")) if one.name != "openings_left" else int(text)
        except ValueError:
            click.echo(f"{text[:40]!r} is no number; type digits", err=True)

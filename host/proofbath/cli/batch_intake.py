"""`proofbath batch intake`: what is found on a unit that came in."""

from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple, get_args

import click

from proofbath.bench.clock import utc_text
from proofbath.cli.options import json_option
from proofbath.cli.output import console, print_json
from proofbath.cli.shop_options import by_option, shop_option
from proofbath.errors import InputError
from proofbath.store.kinds import Batch, Finding, Findings, Intake, TypeVersion
from proofbath.workshop.entry import made
from proofbath.workshop.receiving import check_known, receive
from proofbath.workshop.shop import Shop, open_shop
from proofbath.workshop.story import story_in

LOOKED_AT = tuple(
    name for name in Findings.model_fields if name not in ("heater_ohm", "insulation_mohm")
)
FINDINGS = get_args(Finding)
CAUSES = get_args(Intake.model_fields["cause"].annotation)
_POSITIVE = click.FloatRange(min=0)


class _Found(NamedTuple):
    """What is said of a unit that came in."""

    findings: dict[str, Any]
    accepted: bool
    remark: str


@click.command()
@click.argument("name")
@click.argument("serial")
@click.option(
    "--cause",
    type=click.Choice(CAUSES),
    help="Why it is here; rework when left out.",
)
@click.option(
    "--finding",
    "said",
    type=(click.Choice(LOOKED_AT), click.Choice(FINDINGS)),
    multiple=True,
    metavar="WHAT HOW",
    help="As in: spring bad. Repeat it; asked for otherwise. What: "
    + ", ".join(LOOKED_AT)
    + ". How: "
    + ", ".join(FINDINGS)
    + ".",
)
@click.option("--good", is_flag=True, help="All that is not named by --finding is good.")
@click.option("--heater-ohm", type=_POSITIVE, help="Resistance of its heater, cold.")
@click.option("--insulation-mohm", type=_POSITIVE, help="Heater against the case, in megohms.")
@click.option(
    "--refuse/--accept",
    "refuse",
    default=None,
    help="It is not taken: say why in --remark. Or it is, all the same.",
)
@click.option("--remark", default="", help="Needed where something is bad, or it is refused.")
@click.option("--new", is_flag=True, help="The serial is new here: put the unit on record too.")
@click.option(
    "--correct",
    "reason",
    default="",
    help="Corrects its intake on record: say why. What is not said stays as it was.",
)
@by_option
@shop_option
@json_option
def intake(
    name: str,
    serial: str,
    cause: str | None,
    said: tuple[tuple[str, str], ...],
    good: bool,
    heater_ohm: float | None,
    insulation_mohm: float | None,
    refuse: bool | None,
    remark: str,
    new: bool,
    reason: str,
    by: str,
    shop_file: Path,
    as_json: bool,
) -> None:
    """Take unit SERIAL into batch NAME, or refuse it, with what was found on it.

    Without --finding, --good and --refuse you are asked one thing after the other.

    Example:  proofbath batch intake "ferry 12" T82-0412 --good --finding seal bad
    --remark "new seal" --by "Ada Quay"
    """
    found = _Found(_said(said, good), not refuse, remark)
    measured = {"heater_ohm": heater_ohm, "insulation_mohm": insulation_mohm}
    with open_shop(shop_file) as shop:
        stamp = shop.stamp(by, utc_text())
        heated = _type(shop, name).unit_type.element_ohm is not None
        check_known(shop, serial, new)
        if reason:
            before = story_in(shop.records, name, serial).intake.entry
            found, measured = _changed(before, found, refuse, measured)
            cause = cause or before.cause
        elif not (said or good or refuse is not None):
            found, measured = _ask(serial, heated, measured, remark)
        findings = made(Findings, serial, **found.findings, **measured)
        fields = {"cause": cause or CAUSES[0], "findings": findings}
        fields |= {"accepted": found.accepted, "remark": found.remark}
        number = receive(shop, name, serial, fields=fields, new=new, stamp=stamp, reason=reason)
    if as_json:
        shown = findings.model_dump(mode="json")
        print_json(
            {"serial": serial, "intake": number, "accepted": found.accepted, "findings": shown}
        )
    else:
        state = f"taken into {name}" if found.accepted else f"refused: {found.remark}"
        console().print(f"{serial}: {state}", markup=False, soft_wrap=True)


def _said(said: tuple[tuple[str, str], ...], good: bool) -> dict[str, Any]:
    twice = {what for what, _ in said if [w for w, _ in said].count(what) > 1}
    if twice:
        raise InputError(f"--finding: {', '.join(sorted(twice))} is said twice; say it once")
    return (dict.fromkeys(LOOKED_AT, "good") if good else {}) | dict(said)


def _changed(
    before: Intake, said: _Found, refuse: bool | None, measured: dict[str, float | None]
) -> tuple[_Found, dict[str, float | None]]:
    """Return an intake on record with what is said now in its place."""
    known = before.findings.model_dump()
    looked = {what: said.findings.get(what, known[what]) for what in LOOKED_AT}
    numbers = {what: known[what] if ohm is None else ohm for what, ohm in measured.items()}
    accepted = before.accepted if refuse is None else not refuse
    return _Found(looked, accepted, said.remark or before.remark), numbers


def _type(shop: Shop, name: str) -> TypeVersion:
    batch = shop.records.find(Batch, name=name).entry
    return shop.records.one(TypeVersion, batch.type_version_id).entry


def _ask(
    serial: str, heated: bool, measured: dict[str, float | None], remark: str
) -> tuple[_Found, dict[str, float | None]]:
    """Ask for each finding in turn; a unit with something bad is taken only for a reason."""
    click.echo(f"{serial}: look at it dry, cold and in good light.", err=True)
    findings = {
        what: click.prompt(
            what.replace("_", " "), type=click.Choice(FINDINGS), default="good", err=True
        )
        for what in LOOKED_AT
    }
    asked = dict(measured)
    if heated and asked["heater_ohm"] is None:
        asked["heater_ohm"] = click.prompt("heater, ohm", type=_POSITIVE, err=True)
    if heated and asked["insulation_mohm"] is None:
        asked["insulation_mohm"] = click.prompt("insulation, Mohm", type=_POSITIVE, err=True)
    bad = [what for what, found in findings.items() if found == "bad"]
    accepted = click.confirm("Take it in?", default=not bad, err=True)
    if not remark and (bad or not accepted):
        question = "What will be done about it" if accepted else "Why not"
        remark = click.prompt(question, err=True)
    return _Found(findings, accepted, remark), asked

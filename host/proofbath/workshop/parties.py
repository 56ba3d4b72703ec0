"""Customer, unit and persons of a batch as documents name them, made of what is on record."""

from __future__ import annotations

from proofbath.certificate.parties import Customer, Person, Unit
from proofbath.certificate.text import LONGEST
from proofbath.store import kinds
from proofbath.store.records import Kept, RecordsReader
from proofbath.workshop.story import UnitStory

NO_ADDRESS = "address not on record"
NOT_LOOKED_AT = "not looked at"


def one_line(text: str) -> str:
    """Return a remark on one line, cut where it is too long for paper."""
    flat = " ".join(text.split())
    return flat if len(flat) <= LONGEST else f"{flat[: LONGEST - 2]} …"


def customer_of(batch: kinds.Batch) -> Customer:
    """Return who asked for the work."""
    return Customer(
        name=batch.customer,
        address=batch.customer_address or (NO_ADDRESS,),
        contact=one_line(batch.customer_contact),
    )


def unit_of(story: UnitStory) -> Unit:
    """Return the unit of a story, in the condition in which it came."""
    unit = story.unit.entry
    return Unit(
        description=one_line(unit.description) or "Coolant thermostat",
        unit_type=unit.unit_type,
        serial=unit.serial,
        condition=condition_of(story.intake.entry),
        customer_mark=one_line(unit.customer_mark),
    )


def condition_of(intake: kinds.Intake) -> str:
    """Return what was found when a unit came in: by finding, then the remark."""
    by_finding = dict[str, list[str]]()
    for name, found in intake.findings:
        if isinstance(found, str) and found != NOT_LOOKED_AT:
            by_finding.setdefault(found, []).append(name.replace("_", " "))
    parts = [f"{', '.join(names)} {found}" for found, names in by_finding.items()]
    findings = intake.findings
    parts += [f"heater {findings.heater_ohm:g} Ω"] if findings.heater_ohm is not None else []
    if findings.insulation_mohm is not None:
        parts.append(f"insulation {findings.insulation_mohm:g} MΩ")
    parts += [intake.remark] if intake.remark.strip() else []
    return one_line("; ".join(parts) or "not described")


def person_of(records: RecordsReader, kept: Kept[kinds.Loading], role: str) -> Person:
    """Return who hung up a unit; the program where no person is named."""
    name = "proofbath" if kept.by is None else records.one(kinds.Person, kept.by).entry.name
    return Person(name=name, role=role)

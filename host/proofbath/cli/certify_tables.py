"""What `proofbath certify` prints: units with their certificates, and certificates on record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from proofbath.workshop.issued import IssuedLine
from proofbath.workshop.papers import Certified

Doubts = Mapping[str, Sequence[str]]


def certified_lines(units: Sequence[Certified]) -> list[str]:
    """Return units with their certificates, or why they have none; a reason a line."""
    wide = max((len(unit.serial) for unit in units), default=0)
    lines = []
    for unit in units:
        state = "new" if unit.new else "stands"
        told = f"{unit.number}  {state}  {unit.pdf}" if unit.number else "no certificate"
        lines.append(f"{unit.serial:{wide}}  {told}")
        lines += [f"{'':{wide}}    {text}" for text in unit.refusals]
    return lines


def certified_json(units: Sequence[Certified]) -> dict[str, Any]:
    """Return the same for programs."""
    shown = [
        {**unit._asdict(), "pdf": str(unit.pdf) if unit.pdf else None, "refusals": [*unit.refusals]}
        for unit in units
    ]
    return {"units": shown, "certified": sum(unit.number is not None for unit in units)}


def issued_lines(lines: Sequence[IssuedLine], doubts: Doubts) -> list[str]:
    """Return certificates with what became of them, and what puts them in doubt."""
    told = []
    for line in lines:
        ended = f" by {line.document}: {line.why}" if line.document else ""
        about = f"{line.number}  {line.serial}  {line.batch}  {line.issued}"
        told.append(f"{about}  {line.state}{ended}")
        told += [f"    in doubt: {text}" for text in doubts.get(line.number, ())]
    return told


def issued_json(lines: Sequence[IssuedLine], doubts: Doubts) -> dict[str, Any]:
    """Return the same for programs."""
    names = ("number", "serial", "batch", "state", "document", "why")
    shown = [
        {name: getattr(line, name) for name in names}
        | {"issued": str(line.issued), "doubts": [*doubts.get(line.number, ())]}
        for line in lines
    ]
    return {"certificates": shown}

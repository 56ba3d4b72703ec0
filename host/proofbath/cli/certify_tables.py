"""What `proofbath certify` prints: units with their certificates, and certificates on record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rich.table import Table
from rich.text import Text

from proofbath.workshop.issued import IssuedLine
from proofbath.workshop.papers import Certified

Doubts = Mapping[str, Sequence[str]]


def certified_table(units: Sequence[Certified]) -> Table:
    """Return units with their certificates, or why they have none."""
    table = Table("unit", "certificate", "", "PDF, or what keeps from it", box=None)
    for unit in units:
        state = "" if unit.number is None else "new" if unit.new else "stands"
        lines = [*unit.refusals, *([str(unit.pdf)] if unit.pdf else [])]
        table.add_row(Text(unit.serial), Text(unit.number or "none"), state, Text("\n".join(lines)))
    return table


def certified_json(units: Sequence[Certified]) -> dict[str, Any]:
    """Return the same for programs."""
    shown = [
        {**unit._asdict(), "pdf": str(unit.pdf) if unit.pdf else None, "refusals": [*unit.refusals]}
        for unit in units
    ]
    return {"units": shown, "certified": sum(unit.number is not None for unit in units)}


def issued_table(lines: Sequence[IssuedLine], doubts: Doubts) -> Table:
    """Return certificates with what became of them."""
    table = Table("certificate", "unit", "batch", "issued", "state", "", box=None)
    for line in lines:
        ended = [f"by {line.document}: {line.why}"] if line.document else []
        told = Text("\n".join([*ended, *doubts.get(line.number, ())]))
        row = (Text(text) for text in (line.number, line.serial, line.batch, str(line.issued)))
        table.add_row(*row, line.state, told)
    return table


def issued_json(lines: Sequence[IssuedLine], doubts: Doubts) -> dict[str, Any]:
    """Return the same for programs."""
    names = ("number", "serial", "batch", "state", "document", "why")
    shown = [
        {name: getattr(line, name) for name in names}
        | {"issued": str(line.issued), "doubts": [*doubts.get(line.number, ())]}
        for line in lines
    ]
    return {"certificates": shown}

"""Writes what the book generates: drawings, pin map, the example's data, tables inside pages.

python rig_docs/make/book.py           write everything
python rig_docs/make/book.py --check   write nothing; name what is not as it would be written
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

import design
import hazard_tables
import heated_times
import worked_example
from draw_bath import bath, station
from draw_chain import chain
from draw_low_voltage import element_channel, low_voltage
from draw_mains import mains
from page_table import table
from pin_map import page as pin_map_page

from proofbath.bench.interlocks import (
    AT_STATION,
    CABLE,
    CUT_OUT,
    DECLARED,
    LEASE,
    POWER,
    STATION_OFF,
    TRIPS,
)
from proofbath.certificate.evidence import METHOD

DOCS = Path(__file__).resolve().parents[1]

FILES: dict[str, Callable[[], str]] = {
    "drawings/mains.svg": mains,
    "drawings/low_voltage.svg": low_voltage,
    "drawings/contactor_chain.svg": chain,
    "drawings/element_channel.svg": element_channel,
    "drawings/bath.svg": bath,
    "drawings/station.svg": station,
    "data/worked_example.csv": worked_example.csv_text,
    "pin_map.md": pin_map_page,
}

MUST_HAPPEN = {
    STATION_OFF: "a station switched off carries no current, the others go on; at each station",
    LEASE: "the host falls silent: heat and elements off within the lease, the contactor 1 s later",
    CABLE: "the cable to the host is pulled under heat: the same, heard at the contactor",
    CUT_OUT: "the hard-wired cut-out opens the contactor; only its own reset lets it close again",
    POWER: "everything off under heat; when power comes back nothing heats by itself",
}


def proofs() -> str:
    """Return the commissioning list in Markdown: the rows of `check --commission`."""
    rows: list[tuple[str, str, str]] = [
        (name, "you answer for it", asked) for name, asked in DECLARED.items()
    ]
    for row in TRIPS:
        reasons = " or ".join(f"`{r.name.lower()}`" for r in (row.reason, *row.or_else))
        act = row.act or f"nothing: the {row.lowered.value} is lowered under the healthy bench"
        rows.append((row.name, act, f"trip {reasons} within {row.within_s:g} s"))
    rows.append((LEASE, "nothing", MUST_HAPPEN[LEASE]))
    for at in AT_STATION:
        flag = (at.flag.name or "").lower()
        act = at.act.replace("station {n}", "the station")
        rows.append((f"station n {at.name}", act, f"flag `{flag}`, the others go on"))
    rows.append((f"station n {STATION_OFF}", "nothing", MUST_HAPPEN[STATION_OFF]))
    rows += [(name, "as asked", MUST_HAPPEN[name]) for name in (CUT_OUT, CABLE, POWER)]
    return table(("proof", "what is done", "what must happen"), rows)


BLOCKS: dict[str, dict[str, Callable[[], str]]] = {
    "design_calculations.md": {name: partial(design.table_text, name) for name in design.TABLES},
    "safety.md": {
        "proofs": proofs,
        "hazards": hazard_tables.hazards,
        "guards": hazard_tables.guards,
    },
    "trips.md": {
        "repairs": hazard_tables.repairs,
        "trips": hazard_tables.trips,
        "flags": hazard_tables.flags,
        "stops": hazard_tables.stops,
        "ends": hazard_tables.run_ends,
    },
    "warnings.md": {
        "told": hazard_tables.told,
        "ended": hazard_tables.ended,
        "behind": hazard_tables.behind,
    },
    "heated.md": {"times": heated_times.times},
    "method.md": {
        "name": lambda: f"> {METHOD}",
        "cycles": worked_example.cycles_text,
        "budget": worked_example.budget_text,
    },
}


def with_blocks(text: str, blocks: dict[str, Callable[[], str]], page: str) -> str:
    """Return a page with each block between its marks written anew."""
    for name, make in blocks.items():
        begin, end = f"<!-- make {name} -->", "<!-- end -->"
        pattern = re.compile(re.escape(begin) + ".*?" + re.escape(end), re.DOTALL)
        if len(pattern.findall(text)) != 1:
            raise LookupError(f"{page}: the marks of block {name!r} must stand in it once")
        before, after = pattern.split(text)
        text = f"{before}{begin}\n{make()}\n{end}{after}"
    return text


def wanted() -> dict[Path, str]:
    """Return every generated file and page as it should read."""
    files = {DOCS / name: make() for name, make in FILES.items()}
    for page, blocks in BLOCKS.items():
        text = (DOCS / page).read_text(encoding="utf-8")
        files[DOCS / page] = with_blocks(text, blocks, page)
    return files


def main() -> int:
    """Write, or with --check compare; returns 1 when a comparison fails."""
    check = "--check" in sys.argv
    if not check:
        worked_example.FILE.parent.mkdir(exist_ok=True)
        worked_example.FILE.write_text(worked_example.csv_text(), encoding="utf-8")
    stale = []
    for path, text in wanted().items():
        if path.exists() and path.read_text(encoding="utf-8") == text:
            continue
        stale.append(path)
        if not check:
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8")
        print(f"{'differs' if check else 'wrote'}: {path.relative_to(DOCS.parent)}")
    return 1 if check and stale else 0


if __name__ == "__main__":
    sys.exit(main())

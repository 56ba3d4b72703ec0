"""The design calculations: every number of design_calculations.md, from the constants in use.

`python rig_docs/make/design.py` prints them; `book.py` writes them into the page.
"""

from __future__ import annotations

from collections.abc import Callable

import design_bath as bath
import design_electric as electric
from page_table import Row, table

TABLES: dict[str, Callable[[], list[Row]]] = {
    "heater": bath.heater_rows,
    "cooling": bath.cooling_rows,
    "relay": electric.relay_rows,
    "channel": electric.channel_rows,
    "resolution": electric.resolution_rows,
    "probe": electric.probe_rows,
    "noise": electric.noise_rows,
    "evaporation": bath.evaporation_rows,
    "fixture": bath.fixture_rows,
}


def table_text(name: str) -> str:
    """Return one table in Markdown."""
    return table(("what", "number", "from"), TABLES[name]())


if __name__ == "__main__":
    for name in TABLES:
        print(f"{name}\n\n{table_text(name)}\n")

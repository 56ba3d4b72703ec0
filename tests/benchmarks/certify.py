"""How fast a batch is certified from its records: `python tests/benchmarks/certify.py [count]`.

From judging what is on record to signed, sealed, synced files on record; the goal is 24 in 2 s.
The nights' raw samples, once a second here, are read once a run.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from host.workshop.raw_shop import (
    BATCH,
    CERTIFIER,
    FOUND_ON,
    REFERENCE,
    TODAY,
    RawUnit,
    at,
    make_shop,
    raw_night,
)
from proofbath.certificate.render import pdf_of
from proofbath.workshop.batch_papers import batch_labels, batch_summary
from proofbath.workshop.papers import certify
from proofbath.workshop.shop import open_shop

A_NIGHT = 5


def main() -> None:
    """Print seconds for the certificates of a batch, its summary and its labels."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("count", type=int, nargs="?", default=24)
    count: int = parser.parse_args().count
    serials = [f"T82-{n:04}" for n in range(count)]
    with tempfile.TemporaryDirectory() as name:
        make_shop(Path(name), serials)
        with open_shop(Path(name) / "workshop.toml") as shop:
            for first in range(0, count, A_NIGHT):
                loaded = enumerate(serials[first : first + A_NIGHT], 1)
                units = [RawUnit(n, serial, 82.0 + 0.1 * n) for n, serial in loaded]
                night = [*units, RawUnit(6, REFERENCE, 82.1)]
                raw_night(shop, BATCH, "as-found", night, FOUND_ON)
            pdf_of("label", {"labels": []}, {})  # the typesetter's fonts are loaded once a process
            began_s = time.perf_counter()
            units_done = certify(shop, BATCH, shop.stamp(CERTIFIER, at(TODAY)))
            certified_s = time.perf_counter()
            batch_summary(shop, BATCH, shop.stamp(CERTIFIER, at(TODAY, 10)))
            summed_s = time.perf_counter()
            batch_labels(shop, BATCH)
            labelled_s = time.perf_counter()
    done = sum(unit.number is not None for unit in units_done)
    print(f"{done} of {count} certified: {certified_s - began_s:.2f} s")
    print(f"summary: {summed_s - certified_s:.2f} s, labels: {labelled_s - summed_s:.2f} s")


if __name__ == "__main__":
    main()

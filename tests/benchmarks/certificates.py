"""How fast certificates are made: `python tests/benchmarks/certificates.py [count]`.

From contents with their curves to signed, sealed, checked and synced files; the goal is 24 in 2 s.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from host.certificate import ferry
from proofbath.certificate.issue import issue
from proofbath.certificate.keys import open_key
from proofbath.certificate.label import labels_pdf
from proofbath.certificate.verify import verify


def main() -> None:
    """Print seconds for the certificates, their labels, and verifying the PDFs."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("count", type=int, nargs="?", default=24)
    count: int = parser.parse_args().count
    contents = [
        ferry.certificate(f"LN-2025-{n:04}", f"T82-{n:04}", 81.0 + 1.5 * n / count)
        for n in range(count)
    ]
    with tempfile.TemporaryDirectory() as folder:
        key = open_key(Path(folder) / "keys")
        began_s = time.perf_counter()
        issued = [
            issue(content, key, Path(folder) / "certificates", lambda _: None)
            for content in contents
        ]
        issued_s = time.perf_counter()
        labels_pdf([each.json for each in issued])
        labelled_s = time.perf_counter()
        genuine = sum(verify(each.pdf, {key.fingerprint}).outcome == "genuine" for each in issued)
        verified_s = time.perf_counter()
    size_kb = sum(len(each.pdf) for each in issued) / count / 1000
    print(f"{count} certificates of {size_kb:.0f} kB: {issued_s - began_s:.2f} s")
    print(f"their labels: {labelled_s - issued_s:.2f} s")
    print(f"verified: {verified_s - labelled_s:.2f} s, {genuine} genuine")


if __name__ == "__main__":
    main()

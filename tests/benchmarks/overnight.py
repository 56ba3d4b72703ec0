"""What a bench that runs overnight must show, in one go: `python tests/benchmarks/overnight.py`.

Control on 200 random baths, kill -9 of the host, 1,000 healthy nights, speed of a whole night,
host load at life speed. About half an hour on two cores; `--short` is a tenth of it.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent
FULL = {
    "tracking": ["--baths", "200"],
    "kill": ["--kills", "200"],
    "healthy_nights": ["1000"],
    "night": ["3"],
    "host_load": ["5"],
}
SHORT = {
    "tracking": ["--baths", "20"],
    "kill": ["--kills", "20"],
    "healthy_nights": ["50"],
    "night": ["1"],
    "host_load": ["0.5"],
}


def main() -> None:
    """Run each study in turn and print its table under its name."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--short", action="store_true", help="a tenth of everything")
    studies = SHORT if parser.parse_args().short else FULL
    subprocess.run(
        ["make", "-s", "-C", str(HERE.parents[1] / "firmware"), "all", "simulator"],
        check=True,
        stdout=subprocess.DEVNULL,
    )
    for name, options in studies.items():
        print(f"\n== {name} {' '.join(options)}", flush=True)
        subprocess.run([sys.executable, str(HERE / f"{name}.py"), *options], check=True)


if __name__ == "__main__":
    main()

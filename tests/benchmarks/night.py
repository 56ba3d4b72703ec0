"""How fast a batch's whole story is: `python tests/benchmarks/night.py [seeds]`.

The demo on the virtual bench: over 20 hours of bench time, of them a blank night of the
calibration, a night as found and one as left; then analyses, judgements, certificates.  Six
stations at 10 Hz, real controller sources, journalled durably.  CPU time is the fair measure while
the computer has other work; it includes starting the program.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile

RUN = [sys.executable, "-c", "from proofbath.cli import main; main()"]


def story(seed: int) -> dict[str, float]:
    """Run the demo of a seed and return its summary, with its `cpu_s`."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    with tempfile.TemporaryDirectory() as out:
        command = [*RUN, "demo", "--seed", str(seed), "--out", out, "--json"]
        done = subprocess.run(
            command, check=True, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
        )
        summary: dict[str, float] = json.loads(done.stdout)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    summary["cpu_s"] = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return summary


def main() -> None:
    """Print a row a story; the goal is 2,400 x life, 15 s for 10 h, over all of it on two cores."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("seeds", type=int, nargs="?", default=3)
    seeds: int = parser.parse_args().seeds
    print("seed  bench h  wall s  x life  wall s for 10 h  CPU s for 10 h")
    for seed in range(1, seeds + 1):
        found = story(seed)
        hours, wall_s = found["bench_hours"], found["wall_s"]
        print(
            f"{seed:4}  {hours:7.2f}  {wall_s:6.1f}  {3600 * hours / wall_s:6.0f}"
            f"  {10 * wall_s / hours:15.1f}  {10 * found['cpu_s'] / hours:14.1f}"
        )


if __name__ == "__main__":
    main()

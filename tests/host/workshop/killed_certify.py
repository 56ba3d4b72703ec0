"""Certifies in child processes that are killed at one step after the other, each in a shop's copy.

`python killed_certify.py SHOP OUT MOST`: prints how many steps there were; OUT/N is the copy whose
process was killed before its step N + 1.  Steps are openings, links, removals and new folders in
the shop, and the records' insertions and commits.  Children are forked, so that what is imported
is imported once.
"""

from __future__ import annotations

import os
import shutil
import signal
import sys
from pathlib import Path

from sqlalchemy import Engine, event

from host.workshop.raw_shop import BATCH, CERTIFIER, TODAY, at
from proofbath.workshop.papers import certify
from proofbath.workshop.shop import open_shop

COUNTED = ("open", "os.link", "os.remove", "os.mkdir", "os.rename")


class Countdown:
    """Kills its own process when its steps are used up."""

    def __init__(self, folder: Path, steps: int) -> None:
        self.folder, self.left = str(folder), steps
        sys.addaudithook(self._audited)
        event.listen(Engine, "before_cursor_execute", self._executed)
        event.listen(Engine, "commit", lambda _: self.step())

    def step(self) -> None:
        """Count one step."""
        self.left -= 1
        if self.left < 0:
            os.kill(os.getpid(), signal.SIGKILL)

    def _audited(self, name: str, arguments: tuple[object, ...]) -> None:
        if name in COUNTED and str(arguments[0]).startswith(self.folder):
            self.step()

    def _executed(self, *arguments: object) -> None:
        if str(arguments[2]).startswith("INSERT"):
            self.step()


def certify_killed(folder: Path, steps: int) -> int:
    """Certify in a child that has so many steps; return its exit status."""
    child = os.fork()
    if child == 0:
        with open_shop(folder / "workshop.toml") as shop:
            Countdown(folder, steps)
            certify(shop, BATCH, shop.stamp(CERTIFIER, at(TODAY)))
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def main() -> None:
    """Kill at step 0, 1, 2... until one process comes to its end."""
    base, out, most = Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
    for steps in range(most):
        folder = out / str(steps)
        shutil.copytree(base, folder)
        ended = certify_killed(folder, steps)
        if ended == 0:
            print(steps)
            return
        if ended != -signal.SIGKILL:
            raise SystemExit(f"step {steps}: ended by {ended}")
    raise SystemExit("never came to its end")


if __name__ == "__main__":
    main()

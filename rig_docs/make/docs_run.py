"""Types every command of the book and of the README as a reader would, page by page.

python rig_docs/make/docs_run.py [--long] [PAGE ...]

A page's blocks are run from its first to its last, each in a shell of its own that begins in the
page's scratch folder. What stands behind the three backticks says how:

    sh                  typed; must leave with status 0
    sh exits-1          typed; must leave with that status
    sh until-stopped    typed; goes on until it is ended; must say a line before
    sh long             typed only with --long: takes minutes, or fetches from a network
    sh hardware-only    never typed: needs a controller, a programmer or root
    typed               what a person types into the command of the block before
    output              what the block before printed; "…" stands for anything
    toml NAME, csv NAME a file of that name, written into the scratch folder

A page whose commands want more than an empty folder says so in words, and in a comment:
`<!-- typed in: project -->` a copy of the project, `<!-- typed in: demo -->` the demo's folder.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

ROOT = Path(__file__).resolve().parents[2]
BLOCK_LIMIT_S = 3600
"""A block that hangs is ended; the longest, the whole of the tests, takes a quarter of it."""
STATUS = re.compile(r"exits-(\d+)")
MARKS = ("hardware-only", "long", "until-stopped")
PLACES = ("empty", "project", "demo")


class Fence(NamedTuple):
    """A fenced block: where it begins, its language, the words behind that, its lines."""

    line: int
    language: str
    words: tuple[str, ...]
    text: str

    @property
    def is_command(self) -> bool:
        """Whether it is to be typed."""
        return self.language == "sh"

    def is_typed(self, long: bool) -> bool:
        """Return whether it is typed now."""
        skipped = {"hardware-only"} if long else {"hardware-only", "long"}
        return self.is_command and not skipped & set(self.words)

    @property
    def status(self) -> int:
        """Exit status that its command must leave with."""
        found = [STATUS.fullmatch(word) for word in self.words]
        return next((int(match[1]) for match in found if match), 0)


class PageError(Exception):
    """A block did not do what its page says."""


def pages() -> list[Path]:
    """Return the README, the contributors' page and every page of the book."""
    book = sorted((ROOT / "rig_docs").rglob("*.md"))
    return [ROOT / "README.md", ROOT / "DEVELOPERS.md", *book]


def fences(text: str) -> list[Fence]:
    """Return a page's fenced blocks in order; raises PageError for one that is not closed."""
    found: list[Fence] = []
    lines = text.splitlines()
    opened: tuple[int, str] | None = None
    for number, line in enumerate(lines, start=1):
        mark = re.match(r"(`{3,})(.*)", line)
        if not mark:
            continue
        if opened is None:
            opened = number, mark[2].strip()
        elif not mark[2].strip():
            first, info = opened
            language, *words = info.split() or [""]
            found.append(Fence(first, language, tuple(words), "\n".join(lines[first : number - 1])))
            opened = None
    if opened is not None:
        raise PageError(f"line {opened[0]}: a block is not closed")
    return found


def place_of(text: str) -> str:
    """Return where a page's commands are typed; raises PageError for an unknown place."""
    said = re.search(r"<!-- typed in: (\w+) -->", text)
    place = said[1] if said else "empty"
    if place not in PLACES:
        raise PageError(f"typed in {place}: known are {', '.join(PLACES)}")
    return place


def run_page(page: Path, demo: Callable[[], Path], long: bool = False) -> int:
    """Type a page's commands and return how many blocks were run; `demo` makes the demo's folder.

    Raises PageError at the first block that does not do what the page says.
    """
    text = page.read_text(encoding="utf-8")
    blocks = fences(text)
    if not any(block.is_typed(long) for block in blocks):
        return 0
    with TemporaryDirectory(prefix="pb") as scratch, TemporaryDirectory(prefix="pb") as runtime:
        folder = _prepared(Path(scratch), place_of(text), demo)
        environment = _environment(Path(runtime))
        return sum(
            _run_block(page.name, folder, environment, blocks, at, long)
            for at in range(len(blocks))
        )


def _prepared(scratch: Path, place: str, demo: Callable[[], Path]) -> Path:
    folder = scratch / "here"
    if place == "demo":
        shutil.copytree(demo(), folder)
    elif place == "project":
        ignored = shutil.ignore_patterns(".*", "__pycache__", "build", "node_modules")
        shutil.copytree(ROOT, folder, ignore=ignored)
    else:
        folder.mkdir()
    return folder


def _environment(runtime: Path) -> dict[str, str]:
    """Return the variables of a shell with this Python's programs first, and no user's own."""
    kept = {name: os.environ[name] for name in ("PATH", "LANG", "TMPDIR") if name in os.environ}
    programs = Path(sys.executable).parent
    return kept | {
        "PATH": f"{programs}{os.pathsep}{kept.get('PATH', '')}",
        "HOME": str(runtime),
        "XDG_RUNTIME_DIR": str(runtime),
        "COLUMNS": "100",
        "LC_ALL": "C.UTF-8",
    }


def _run_block(
    page: str, folder: Path, environment: dict[str, str], blocks: list[Fence], at: int, long: bool
) -> int:
    block = blocks[at]
    following = blocks[at + 1 :]
    if block.words and block.language in ("toml", "csv"):
        (folder / block.words[0]).write_text(block.text + "\n", encoding="utf-8")
    if not block.is_typed(long):
        return 0
    where = f"{page}:{block.line}"
    if "until-stopped" in block.words:
        _run_until_stopped(where, folder, environment, block)
        return 1
    typed = following[0].text + "\n" if following and following[0].language == "typed" else ""
    if typed:
        following = following[1:]
    done = subprocess.run(
        ["bash", "-e", "-o", "pipefail", "-c", block.text],
        cwd=folder,
        env=environment,
        input=typed,
        capture_output=True,
        text=True,
        timeout=BLOCK_LIMIT_S,
        check=False,
    )
    if done.returncode != block.status:
        raise PageError(
            f"{where}: left with {done.returncode}, the page says {block.status}\n{block.text}\n"
            f"{done.stdout[-3000:]}\n{done.stderr[-3000:]}"
        )
    if following and following[0].language == "output":
        _compare(where, following[0].text, done.stdout)
    return 1


def _compare(where: str, wanted: str, printed: str) -> None:
    """Compare word by word, for the width of a terminal is the reader's own."""
    parts = [re.escape(" ".join(part.split())) for part in wanted.split("…")]
    if not re.fullmatch(".*?".join(parts), " ".join(printed.split()), re.DOTALL):
        raise PageError(f"{where}: the page shows\n{wanted}\nbut it prints\n{printed}")


def _run_until_stopped(where: str, folder: Path, environment: dict[str, str], block: Fence) -> None:
    with subprocess.Popen(
        ["bash", "-c", f"exec {block.text}"],
        cwd=folder,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        assert process.stdout
        first = process.stdout.readline()
        process.send_signal(signal.SIGTERM)
        rest, _ = process.communicate(timeout=BLOCK_LIMIT_S)
    if not first or process.returncode not in (0, -signal.SIGTERM):
        raise PageError(f"{where}: ended with {process.returncode}\n{block.text}\n{first}{rest}")


def make_demo(folder: Path) -> Path:
    """Take the demo's batch through the virtual bench into a folder; return it."""
    with TemporaryDirectory(prefix="pb") as runtime:
        subprocess.run(
            ["proofbath", "demo", "--seed", "1", "--out", str(folder)],
            env=_environment(Path(runtime)),
            capture_output=True,
            check=True,
        )
    return folder


@contextmanager
def demo_once() -> Iterator[Callable[[], Path]]:
    """Yield a function that makes the demo's folder when it is first called."""
    with TemporaryDirectory(prefix="pb") as scratch:
        folder = Path(scratch) / "demo"
        yield lambda: folder if folder.exists() else make_demo(folder)


def main() -> int:
    """Run the pages named, or all; return 1 when one does not do what it says."""
    parser = argparse.ArgumentParser(description="Type the commands of the book.")
    parser.add_argument("page", nargs="*", type=Path, help="Pages; all when none is named.")
    parser.add_argument("--long", action="store_true", help="Also blocks marked long.")
    asked = parser.parse_args()
    failed = 0
    with demo_once() as demo:
        for page in asked.page or pages():
            try:
                count = run_page(page, demo, asked.long)
                print(f"{page.name}: {count} blocks")
            except (PageError, subprocess.SubprocessError) as error:
                failed = 1
                print(error, file=sys.stderr)
    return failed


if __name__ == "__main__":
    sys.exit(main())

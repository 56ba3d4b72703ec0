"""What is released: the source distribution, the wheel built from it, the program in it.

Nothing is fetched: the backend builds in place, and the new environment borrows the dependencies of
the one that tests.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import tomllib
import venv
import zipfile
from fnmatch import fnmatch
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

pytestmark = pytest.mark.xdist_group("release")
ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
VERSION = PROJECT["version"]
TOP = f"proofbath-{VERSION}"
IGNORED = {".git"} | {Path(line).name for line in (ROOT / ".gitignore").read_text().split()}
"""Names that are no part of the project: what else is in its folder belongs into a release."""
KINDS = ("*.py", "*.html", "*.css", "*.js", "*.svg", "*.typ", "*.toml", "py.typed")
VENDOR = {
    f"proofbath/web/static/vendor/{name}"
    for name in ("LICENSE", "uPlot.iife.min.js", "uPlot.min.css")
}
ONE_RISE = """
[[step]]
kind = "soak"
to_c = 75.0
at_least_s = 300.0
cycle = 1
[[step]]
kind = "ramp"
to_c = 95.0
rate_k_per_min = 1.0
cycle = 1
[[step]]
kind = "ramp"
to_c = 70.0
rate_k_per_min = 1.0
cycle = 1
"""
CACHES = (
    "host/proofbath/.mypy_cache/3.11/cache.json",
    "host/proofbath/run/__pycache__/plan.cpython-311.pyc",
    "host/proofbath/.hypothesis/constants/0",
    "firmware/build/lock",
    "rig_docs/make/.ruff_cache/0",
)


def build(root: Path, target: str, out: Path, path: str) -> Path:
    """Build a distribution of the tree below `root`, with `path` to find programs on."""
    command = [sys.executable, "-m", "hatchling", "build", "-t", target, "-d", str(out)]
    subprocess.run(command, cwd=root, check=True, env=os.environ | {"PATH": path})
    (built,) = out.iterdir()
    return built


@pytest.fixture(scope="module")
def tree(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A working tree as developers have it, with what their tools leave lying about."""
    root = tmp_path_factory.mktemp("tree")
    shutil.copytree(ROOT, root, ignore=shutil.ignore_patterns(*IGNORED), dirs_exist_ok=True)
    vendor = "host/proofbath/web/static/vendor"
    shutil.copytree(ROOT / vendor, root / vendor)
    for name in CACHES:
        (root / name).parent.mkdir(parents=True, exist_ok=True)
        (root / name).write_text("left lying about")
    return root


@pytest.fixture(scope="module")
def bare_path(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A PATH with a compiler's programs and no npm, node or git."""
    folder = tmp_path_factory.mktemp("bin")
    for name in ("c++", "as", "ld"):
        found = shutil.which(name)
        assert found is not None, f"{name} is missing; the tests' packages bring it"
        (folder / name).symlink_to(found)
    return str(folder)


@pytest.fixture(scope="module")
def sdist(tree: Path, tmp_path_factory: pytest.TempPathFactory, bare_path: str) -> Path:
    return build(tree, "sdist", tmp_path_factory.mktemp("sdist"), bare_path)


@pytest.fixture(scope="module")
def wheel(sdist: Path, tmp_path_factory: pytest.TempPathFactory, bare_path: str) -> Path:
    """The wheel, built from the unpacked source distribution without npm and git."""
    folder = tmp_path_factory.mktemp("unpacked")
    with tarfile.open(sdist) as packed:
        packed.extractall(folder, filter="data")
    return build(folder / TOP, "wheel", tmp_path_factory.mktemp("wheel"), bare_path)


def test_the_source_distribution_holds_the_tree_and_what_npm_would_fetch(
    tree: Path, sdist: Path
) -> None:
    listed = {
        str(path.relative_to(tree))
        for path in tree.rglob("*")
        if path.is_file() and str(path.relative_to(tree)) not in CACHES
    }
    with tarfile.open(sdist) as packed:
        held = {name.removeprefix(f"{TOP}/") for name in packed.getnames()}
    assert sorted(listed - held) == []
    assert sorted(held - listed) == ["PKG-INFO"]


def test_the_wheel_holds_what_the_program_needs_and_nothing_else(tree: Path, wheel: Path) -> None:
    package = tree / "host" / "proofbath"
    wanted = {
        str(path.relative_to(tree / "host"))
        for path in package.rglob("*")
        if path.is_file() and any(fnmatch(path.name, kind) for kind in KINDS)
    }
    with zipfile.ZipFile(wheel) as packed:
        held = {name for name in packed.namelist() if ".dist-info/" not in name}
    assert held == wanted | VENDOR | {"proofbath/virtual/libproofbath.so"}
    for kind in ("web/templates/*.html", "certificate/pages/*.typ", "virtual/examples/*.toml"):
        assert any(fnmatch(name, f"proofbath/{kind}") for name in held), kind
    assert any(fnmatch(name, "proofbath/store/migrations/versions/*.py") for name in held)
    assert "proofbath/py.typed" in held


def test_a_working_tree_gives_the_same_wheel_as_its_source_distribution(
    tree: Path, wheel: Path, tmp_path: Path, bare_path: str
) -> None:
    """`pip install .` in a tree full of caches installs what is released."""
    with zipfile.ZipFile(build(tree, "wheel", tmp_path, bare_path)) as packed:
        here = {info.filename: info.CRC for info in packed.infolist()}
    with zipfile.ZipFile(wheel) as packed:
        there = {info.filename: info.CRC for info in packed.infolist()}
    assert here == there


# ---- Installed -----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A fresh environment's folder of programs, with the wheel installed and nothing fetched."""
    folder = tmp_path_factory.mktemp("environment")
    venv.create(folder, with_pip=False)
    python = folder / "bin" / "python"
    site = Path(
        subprocess.check_output(
            [python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"], text=True
        ).strip()
    )
    install = [sys.executable, "-m", "pip", "--python", str(python), "install"]
    subprocess.run(
        [*install, "--quiet", "--no-index", "--no-deps", "--disable-pip-version-check", str(wheel)],
        check=True,
    )
    # A plain line is put behind the environment's own packages; those of the tests' own .pth files,
    # as an editable proofbath, are not read.
    (site / "borrowed.pth").write_text(sysconfig.get_path("purelib") + "\n")
    return folder / "bin"


def run(bin_folder: Path, *words: str, cwd: Path) -> str:
    """Type a command into a shell without the tree's paths."""
    clean = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
    command = [str(bin_folder / words[0]), *words[1:]]
    with TemporaryDirectory(prefix="pb") as clean["XDG_RUNTIME_DIR"]:  # a socket's path is short
        done = subprocess.run(command, cwd=cwd, env=clean, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_installed_program_is_the_wheels_own(installed: Path, tmp_path: Path) -> None:
    assert run(installed, "proofbath", "--version", cwd=tmp_path).split()[-1] == VERSION
    code = "import proofbath; print(proofbath.__file__)"
    where = run(installed, "python", "-c", code, cwd=tmp_path).strip()
    assert where.startswith(str(installed.parent))


def test_the_installed_program_runs_a_short_night(installed: Path, tmp_path: Path) -> None:
    """An example plan cut to one rise and fall, on the library that came with the wheel."""
    run(installed, "proofbath", "virtual", "examples", "shop", cwd=tmp_path)
    plan = tmp_path / "shop" / "teal_82_plan.toml"
    plan.write_text(plan.read_text().replace('profile = "plain-as-left"', "") + ONE_RISE)
    night = [
        "night",
        "shop/teal_82_plan.toml",
        "--bench",
        "shop/teal_82_batch.toml",
        "--clear-trip",
    ]
    found = json.loads(run(installed, "proofbath", *night, "--json", cwd=tmp_path))
    assert found["status"] == "done"
    truth = ["virtual", "truth", "shop/teal_82_batch.toml", "--json"]
    true_c = {
        unit["serial"]: unit["start_to_open_c"]
        for unit in json.loads(run(installed, "proofbath", *truth, cwd=tmp_path))["units"]
    }
    for unit in found["units"]:
        start = unit["start_to_open_c"]
        assert abs(start["value"] - true_c[unit["serial"]]) < 3 * start["expanded_uncertainty"]

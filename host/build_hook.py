"""Compiles the native library (controller sources and plant) while the package is built.

Uses the system's C++ compiler; where there is none, `ziglang` joins the build requirements.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import sysconfig
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

SOURCES = ("firmware/native/*.cpp", "firmware/rig_controller/*.cpp")
FLAGS = ("-std=gnu++14", "-O2", "-ffp-contract=off", "-fPIC", "-shared")
SUFFIX = {"win32": ".dll", "darwin": ".dylib"}.get(sys.platform, ".so")
LIBRARY = f"host/proofbath/virtual/libproofbath{SUFFIX}"


def system_compiler() -> list[str] | None:
    """Return the command of the system's C++ compiler: $CXX, or the first of the usual names."""
    names = [os.environ.get("CXX", ""), "c++", "g++", "clang++"]
    found = next((path for path in map(shutil.which, filter(None, names)) if path), None)
    return [found] if found else None


def compile_library(root: Path) -> Path:
    """Compile the native library into the package below `root` and return its path."""
    sources = sorted(str(path) for pattern in SOURCES for path in root.glob(pattern))
    library = root / LIBRARY
    command = system_compiler() or [sys.executable, "-m", "ziglang", "c++"]
    subprocess.run([*command, *FLAGS, *sources, "-o", str(library)], check=True)
    return library


class NativeLibraryHook(BuildHookInterface[Any]):
    """Makes the wheel a wheel of this platform with the native library inside."""

    def dependencies(self) -> list[str]:
        """Name what the build needs beside the backend."""
        return [] if system_compiler() else ["ziglang"]

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Compile before the files are gathered; an editable install gets the same library."""
        compile_library(Path(self.root))
        platform = sysconfig.get_platform().replace("-", "_").replace(".", "_")
        build_data["pure_python"] = False
        build_data["tag"] = f"py3-none-{platform}"


if __name__ == "__main__":
    print(compile_library(Path(__file__).resolve().parents[1]))

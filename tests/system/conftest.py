"""One demo for all system tests that look at it or go on in its folder.

Whoever asks for it belongs to the xdist group "demo", so that it runs once.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

SEED = 1
"""That of the README and of the book's pages, which name its units."""


@pytest.fixture(scope="session")
def night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder that the demo leaves; copy it before you change it."""
    out = tmp_path_factory.mktemp("demo")
    done = subprocess.run(
        [sys.executable, "-m", "proofbath", "demo", "--seed", str(SEED), "--out", out, "--json"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(done.stdout) == json.loads((out / "summary.json").read_text())
    return out

"""The generated header and page are those the table gives now."""

from __future__ import annotations

from pathlib import Path

import pytest

from proofbath.wire import guard_levels
from proofbath.wire.generate import header_text, page_text

ROOT = Path(__file__).parents[3]


@pytest.mark.parametrize(
    ("path", "text"),
    [
        ("firmware/rig_controller/wire.h", header_text()),
        ("firmware/rig_controller/guard_levels.h", guard_levels.header_text()),
        ("rig_docs/wire.md", page_text()),
    ],
)
def test_generated_file_is_current(path: str, text: str) -> None:
    assert (ROOT / path).read_text() == text, "run: python host/write_wire.py"

"""Writes what the wire table and the guard levels generate: `python host/write_wire.py`."""

from pathlib import Path

from proofbath.wire import guard_levels
from proofbath.wire.generate import header_text, page_text

ROOT = Path(__file__).resolve().parents[1]
FILES = {
    ROOT / "firmware/rig_controller/wire.h": header_text,
    ROOT / "firmware/rig_controller/guard_levels.h": guard_levels.header_text,
    ROOT / "rig_docs/wire.md": page_text,
}

if __name__ == "__main__":
    for path, text in FILES.items():
        path.write_text(text(), encoding="utf-8")
        print(f"wrote {path.relative_to(ROOT)}")

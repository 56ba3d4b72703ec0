"""The chart script in a package is the pinned one, byte for byte, or there is none."""

from __future__ import annotations

import importlib.util
import io
import tarfile
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture
def hook() -> ModuleType:
    path = Path(__file__).parents[3] / "host" / "build_hook.py"
    spec = importlib.util.spec_from_file_location("build_hook", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_another_archive_is_refused_and_nothing_of_it_taken(
    hook: ModuleType, tmp_path: Path
) -> None:
    archive = tmp_path / "uplot.tgz"
    with tarfile.open(archive, "w:gz") as packed:
        member = tarfile.TarInfo("package/dist/uPlot.iife.min.js")
        member.size = 5
        packed.addfile(member, io.BytesIO(b"evil("))
    with pytest.raises(ValueError, match="nothing is taken"):
        hook.unpack_script(archive, tmp_path)
    assert not (tmp_path / hook.SCRIPT_FOLDER).exists()


def test_a_changed_byte_is_not_the_script(hook: ModuleType, tmp_path: Path) -> None:
    """No bytes of ours have the pinned digests, so nothing but the true files counts as there."""
    assert not hook.script_is_there(tmp_path)
    folder = tmp_path / hook.SCRIPT_FOLDER
    folder.mkdir(parents=True)
    for name in hook.SCRIPT_FILES:
        (folder / Path(name).name).write_bytes(b"changed")
    assert not hook.script_is_there(tmp_path)

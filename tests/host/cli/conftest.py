"""Calls of the command line in this process."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from tempfile import TemporaryDirectory

import pytest

from proofbath.cli import main


class Said:
    """What one call of the command line left behind."""

    def __init__(self, status: int, out: str, err: str) -> None:
        self.status, self.out, self.err = status, out, err


Call = Callable[..., Said]


@pytest.fixture(autouse=True)
def own_locks(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Benches of one test are no other test's; a socket's path must be short."""
    with TemporaryDirectory(prefix="pb") as folder:
        monkeypatch.setenv("XDG_RUNTIME_DIR", folder)
        yield


@pytest.fixture
def utc() -> Callable[[], str] | None:
    """Return the clock of verbs that issue papers; None for the computer's own."""
    return None


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str], utc: Callable[[], str] | None) -> Call:
    """Return what runs the command line and tells its status, output and errors."""

    def run(*arguments: object) -> Said:
        with pytest.raises(SystemExit) as left:
            main([str(argument) for argument in arguments], utc)
        assert isinstance(left.value.code, int)
        return Said(left.value.code, *capsys.readouterr())

    return run

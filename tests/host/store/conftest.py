"""Databases for the store's tests: a SQLite file, and a private PostgreSQL server."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest

from proofbath.store.tables import Place

NEEDED = "PostgreSQL's server is missing; type: sudo apt-get install postgresql"
ON_SERVER = pytest.param("postgresql", marks=pytest.mark.xdist_group("postgresql"))
EVERYWHERE = ["sqlite", ON_SERVER]
_NUMBERS = count(1)


def _programs() -> Path | None:
    """Debian keeps the server's programs out of the path."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    named = shutil.which("initdb")
    return found[-1].parent if found else Path(named).parent if named else None


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    """A server of its own in a temporary folder, spoken to over a socket; yields its URL's root."""
    programs = _programs()
    if programs is None:
        if os.environ.get("CI"):
            pytest.fail(NEEDED)
        pytest.skip(NEEDED)
    root = os.getuid() == 0  # the server refuses to run as root
    user = pwd.getpwnam("postgres").pw_name if root else None
    folder = Path(tempfile.mkdtemp(prefix="pg"))
    if user:
        shutil.chown(folder, user)

    def run(*words: str) -> None:
        subprocess.run(words, user=user, check=True, cwd=folder, stdout=subprocess.DEVNULL)

    run(f"{programs}/initdb", "-D", f"{folder}/data", "-A", "trust", "-U", "workshop", "-N")
    options = f"-k {folder} -c listen_addresses='' -c fsync=off"
    control = (f"{programs}/pg_ctl", "-D", f"{folder}/data", "-w", "-l", f"{folder}/log")
    run(*control, "-o", options, "start")
    try:
        yield f"postgresql://workshop@/%s?host={folder}"
    finally:
        run(*control, "-m", "immediate", "stop")
        shutil.rmtree(folder)


@pytest.fixture
def fresh_server_place(server: str) -> str:
    """An empty database on the server."""
    import psycopg

    name = f"shop{next(_NUMBERS)}"
    with psycopg.connect(server % "postgres", autocommit=True) as raw:
        raw.execute(f"CREATE DATABASE {name}")
    return server % name


@pytest.fixture
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Place:
    """An empty place of the kind that the test's parameter names."""
    if request.param == "sqlite":
        return tmp_path / "shop.db"
    url = request.getfixturevalue("fresh_server_place")
    assert isinstance(url, str)
    return url

"""The pages of a workshop with a measured batch: two pass, one fails, one passes conditionally."""

from __future__ import annotations

import functools
import shutil
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest

from host.web.conftest import CHEAP, PASSWORD, RIGHTS, WallClock
from host.workshop.papers_fixtures import measured_batch
from host.workshop.raw_shop import CERTIFIER, LEFT_ON, at
from proofbath.store.access import Access, Credential
from proofbath.store.kinds import Person
from proofbath.web.password import Passwords
from proofbath.workshop.serve_settings import ServeSettings
from proofbath.workshop.shop import Shop, open_shop


class NextMorning(WallClock):
    """The morning after the batch was measured as left."""

    def utc(self) -> str:
        """Return the time as ISO 8601 UTC."""
        return f"{LEFT_ON.isoformat()}T23:30:00+00:00"


@functools.cache
def _staffed(folder: Path) -> Path:
    path = measured_batch(folder / "measured")
    hashed = Passwords(CHEAP).hash(PASSWORD)
    with open_shop(path) as shop, closing(Access(shop.records.place)) as access:
        stamp = shop.stamp(CERTIFIER, at(LEFT_ON, 12))
        for name in (*RIGHTS, "nobody"):
            rights = (name,) if name in RIGHTS else ()
            number = shop.records.add(Person(name=name, rights=rights), stamp)  # type: ignore[arg-type]
            access.set_password(Credential(number, hashed, False, stamp.at))
    return path.parent


@pytest.fixture(scope="session")
def measured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of the workshop; to be copied, never written to."""
    return _staffed(tmp_path_factory.getbasetemp())


@pytest.fixture
def shop(measured: Path, tmp_path: Path, settings: ServeSettings) -> Iterator[Shop]:
    """Return a copy of the workshop."""
    shutil.copytree(measured, tmp_path / "shop")
    with open_shop(tmp_path / "shop" / "workshop.toml") as opened:
        file = opened.file.model_copy(update={"serve": settings})
        yield replace(opened, file=file)


@pytest.fixture
def clock() -> WallClock:
    """Return the clock of the application."""
    return NextMorning()

"""A workshop with one virtual bench, as its files say it."""

from __future__ import annotations

from dataclasses import replace

import tomlkit

from host.bench.nights import BENCH
from proofbath.workshop.settings import BenchPlace
from proofbath.workshop.shop import Shop


def with_quay(shop: Shop, bench: str = BENCH) -> Shop:
    """Return a workshop with the bench "quay", its files written."""
    (shop.folder / "bench.toml").write_text(bench)
    file = shop.file.model_copy(update={"bench": (BenchPlace(file="bench.toml"),)})
    text = tomlkit.dumps(file.model_dump(mode="json", exclude_defaults=True))
    (shop.folder / "workshop.toml").write_text(text)
    return replace(shop, file=file)

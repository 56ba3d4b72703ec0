"""`proofbath tune` on the virtual bench: what it prints, and what it leaves of the bench file."""

from __future__ import annotations

import json
import os
from importlib.resources import files
from pathlib import Path

import pytest

from host.cli.conftest import Call, Said

EXAMPLE = files("proofbath.virtual") / "examples" / "teal_82_batch.toml"


class Tune:
    """A bench file that is tuned by the command line."""

    def __init__(self, call: Call, folder: Path) -> None:
        self.call, self.folder, self.file = call, folder, folder / "bench.toml"
        text = EXAMPLE.read_text().replace("Ferry workshop", f"Ferry workshop {os.getpid()}")
        self.file.write_text(text)

    def run(self, *options: str) -> Said:
        return self.call("tune", "--bench", self.file, "--out", self.folder / "out", *options)


@pytest.fixture
def tune(call: Call, tmp_path: Path) -> Tune:
    return Tune(call, tmp_path)


def test_a_bench_is_tuned_and_its_attainable_rates_told(tune: Tune) -> None:
    before = tune.file.read_text()
    said = tune.run("--clear-trip", "--json")
    found = json.loads(said.out)
    assert said.status == 0
    assert found["bench_file"] == str(tune.file)
    assert json.loads((tune.folder / "out/tuning-1.json").read_text()) == found
    assert (tune.folder / "out/tuning-1.png").read_bytes().startswith(b"\x89PNG")
    assert "[tuned]" in tune.file.read_text()
    assert tune.file.with_name("bench.toml.bak").read_text() == before
    at_90 = next(row for row in found["attainable"] if row["bath_c"] == 90.0)
    # Energy balance by hand from the description: 1500 W less losses of 1.7 W/K and of 74 W with
    # the vapour (90 W over water, Raoult's law with 0.82 of water by moles), over 8 l of a 40 %
    # glycol mix (about 3.9 kJ/K a litre with vessel and sheath).
    assert at_90["rise_k_per_min"] == pytest.approx(60 * (1500 - 119 - 74) / 31_200, rel=0.05)
    # The open valve takes 6 W/K above 15 °C on top of the losses.
    assert at_90["fall_k_per_min"] == pytest.approx(60 * (119 + 74 + 450) / 31_200, rel=0.05)


def test_dry_leaves_the_bench_file_as_it_was(tune: Tune) -> None:
    before = tune.file.read_text()
    said = tune.run("--clear-trip", "--dry")
    assert said.status == 0
    assert "Attainable rates" in said.out
    assert "scald hazard" in said.err
    assert tune.file.read_text() == before
    assert not tune.file.with_name("bench.toml.bak").exists()


def test_a_latched_trip_is_not_cleared_unasked(tune: Tune) -> None:
    said = tune.run()
    assert (said.status, said.out) == (3, "")
    assert "power on" in said.err

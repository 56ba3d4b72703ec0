"""What `proofbath curve` gives when more is asked: lifts, baths, the element model, the heater."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from host.cli.conftest import Call
from proofbath.curve.record import CurveRecord, to_csv
from proofbath.virtual import truth
from proofbath.virtual.description import VirtualUnit
from proofbath.virtual.native import unit_response

PLAIN = VirtualUnit(serial="T82-MODEL", station=1)
ASSISTED = VirtualUnit(serial="H103-MODEL", station=1, melting_c=111.0, heater_per_k=0.0)


def written(path: Path, unit: VirtualUnit, corners: list[tuple[float, float, float]]) -> Path:
    """Write the curve of a unit driven through (minute, bath °C, power W) corners at 1 Hz."""
    minutes, baths_c, powers_w = np.array(corners).T
    t_s = np.arange(0.0, 60 * minutes[-1], 1.0)
    bath_c = np.interp(t_s, 60 * minutes, baths_c)
    power_w = np.interp(t_s, 60 * minutes, powers_w)
    lift_mm, _ = unit_response(unit.parameters(), bath_c, power_w, step_s=1.0)
    amps = np.sqrt(power_w / unit.heater_ohm)
    volts = amps * (unit.heater_ohm + 0.3)
    path.write_text(to_csv(CurveRecord(t_s, bath_c, lift_mm + 0.4, amps, volts)))
    return path


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A cycle at 1 K/min with five minutes at its top."""
    corners = [(0, 70, 0), (5, 70, 0), (34, 99, 0), (39, 99, 0), (97, 70, 0), (100, 70, 0)]
    return written(tmp_path_factory.mktemp("plain") / "unit.csv", PLAIN, corners)


@pytest.fixture(scope="module")
def heated(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Power up and down at two baths 9 K apart, closed before each, then 0.9 A switched on."""
    corners = [(0.0, 60.0, 0.0)]
    for bath_c in (88.0, 97.0):
        begin = corners[-1][0]
        corners += [
            (begin + 15, 65, 0),
            (begin + 30, bath_c, 0),
            (begin + 35, bath_c, 0),
            (begin + 59, bath_c, 12),
            (begin + 63, bath_c, 0),
        ]
    end = corners[-1][0]
    corners += [(end + 20, 80, 0), (end + 20.02, 80, 12), (end + 30, 80, 12), (end + 31, 80, 12)]
    return written(tmp_path_factory.mktemp("heated") / "unit.csv", ASSISTED, corners)


def test_lifts_baths_and_the_element_model_are_given_when_asked(call: Call, plain: Path) -> None:
    """The simulated unit's own parameters and its closed-form answers."""
    asked = ("--at-lift-mm", 1, "--at-lift-mm", 4, "--at-bath-c", 90, "--model")
    found = json.loads(call("curve", plain, "--json", *asked).out)
    at = [item["value"] for item in found["temperature_at_c"]]
    assert at == pytest.approx([truth.rising_c(PLAIN, 1.0), truth.rising_c(PLAIN, 4.0)], abs=0.3)
    assert found["lift_at_mm"][0]["value"] == pytest.approx(truth.lift_mm(PLAIN, 90.0), abs=0.2)
    model = found["model"]["parameters"]
    assert model["melting_c"]["value"] == pytest.approx(PLAIN.melting_c, abs=0.1)
    assert model["play_k"]["value"] == pytest.approx(PLAIN.play_k, abs=0.1)
    assert model["wax_w_per_k"]["value"] == pytest.approx(PLAIN.wax_w_per_k, abs=0.05)
    said = call("curve", plain, *asked).out
    assert "melting_c" in said
    assert "temperature rising" in said
    assert "heater resistance" not in said


def test_without_a_whole_cycle_the_model_has_a_reason(call: Call, heated: Path) -> None:
    found = json.loads(call("curve", heated, "--json", "--model").out)
    assert found["model"]["parameters"] is None
    assert "shut" in found["model"]["reason"]
    assert "model: none" in call("curve", heated, "--model").out


def test_heater_rows_and_picture_of_a_powered_record(
    call: Call, heated: Path, tmp_path: Path
) -> None:
    picture = tmp_path / "heater.svg"
    said = call("curve", heated, "--element-ohm", 15, "--heater-picture", picture)
    assert said.status == 0
    assert picture.read_bytes().startswith(b"<?xml")
    for words in ("unpowered start-to-open", "heater resistance", "W/min"):
        assert words in said.out
    assert "heater_resistance" not in said.out
    assert "heater_resistance" in call("curve", heated, "--element-ohm", 20).out
    refused = call("curve", heated, "--heater-picture", tmp_path / "heater.gif")
    assert refused.status == 2
    assert refused.out == ""


def test_a_step_of_current_is_told_drawn_and_filed(
    call: Call, heated: Path, tmp_path: Path
) -> None:
    """The lift is the closed form of the same unit at that bath and current."""
    lifts, openings, table = (tmp_path / name for name in ("l.svg", "o.png", "c.csv"))
    asked = ("--lifts-picture", lifts, "--openings-picture", openings, "--currents", table)
    said = call("curve", heated, *asked)
    assert said.status == 0
    assert "at set currents" in said.out
    assert lifts.read_bytes().startswith(b"<?xml")
    assert openings.read_bytes().startswith(b"\x89PNG")
    header, _, line = table.read_text().splitlines()
    told = dict(zip(header.split(","), line.split(","), strict=True))
    true_mm = truth.lift_mm(ASSISTED, 80.0, truth.Power(w=12.0))
    assert float(told["steady_lift_mm"]) == pytest.approx(true_mm, abs=0.05)
    (step,) = json.loads(call("curve", heated, "--json").out)["heater_steps"]
    assert step["steady_lift_mm"] == pytest.approx(true_mm, abs=0.05)

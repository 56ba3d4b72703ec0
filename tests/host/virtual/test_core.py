"""The heater's core: how hot it becomes wet, in air and without wax, and what its resistance tells.

Closed form: in balance the core stands above the bath by P (1 / film + 1 / wax), with the film's
or the wax's part so many times greater as less heat passes; from cold it nears that by
1 - exp(-t / RC), RC the core's heat over its way to the cup. Resistances are series of those two.
"""

from __future__ import annotations

import math
from typing import Any

import pytest

from proofbath.virtual.description import VirtualSection
from proofbath.virtual.plant import Drive, VirtualPlant

BATH_C = 60.0
FILM_W_PER_K, WAX_W_PER_K = 1.5, 0.8
HEATER_OHM = 15.0
LONG_S = 1200.0


def feed(element_a: float) -> Drive:
    return Drive(element_feed=True, element_code=(round(element_a / 0.0005),) * 6)


def plant(*faults: tuple[str, float], **unit: Any) -> VirtualPlant:
    """A unit on station 2 in a bath that keeps its temperature."""
    bath = {
        "start_c": BATH_C, "mixing_k": 0, "fill_l": 60, "loss_w_per_k": 0, "surface_m2": 0,
    }  # fmt: skip
    described = {"serial": "H103-2", "station": 2, "heater_per_k": 0, "melting_c": 150} | unit
    return VirtualPlant(
        VirtualSection.model_validate(
            {
                "bath": bath,
                "unit": [described],
                "station": [{"station": 2, "current_noise_a": 0, "voltage_noise_v": 0}],
                "fault": [{"kind": k, "station": 2, "size": size} for k, size in faults],
            }
        )
    )


def core_rise_k(bench: VirtualPlant, element_a: float, for_s: float = LONG_S) -> float:
    bench.advance(for_s, feed(element_a))
    return bench.get("unit.2.core_c") - bench.get("bath.temperature_c")


@pytest.mark.parametrize("element_a", [0.3, 0.5, 1.1])
@pytest.mark.parametrize(
    ("faults", "film", "wax"),
    [
        ((), 1.0, 1.0),
        ((("air_round_element", 125.0),), 125.0, 1.0),
        ((("waxless", 8.0),), 1.0, 8.0),
        ((("waxless", 8.0), ("air_round_element", 10.0)), 10.0, 8.0),
    ],
    ids=["wet", "air", "waxless", "both"],
)
def test_steady_core_rise_is_power_times_resistance(
    faults: tuple[tuple[str, float], ...], film: float, wax: float, element_a: float
) -> None:
    k_per_w = film / FILM_W_PER_K + wax / WAX_W_PER_K
    long_s = 20 * 60 * max(1.0, film / 10)  # ten time constants of 60 s at least
    rise_k = core_rise_k(plant(*faults), element_a, long_s)
    assert rise_k == pytest.approx(element_a**2 * HEATER_OHM * k_per_w, rel=0.01)


def test_waxless_core_warms_at_once_by_its_own_heat() -> None:
    """0.9 g of copper (0.385 J/(g K)) and a trace of wax behind 10 K/W: 3.5 s, no latent heat."""
    bench = plant(("waxless", 8.0), melting_c=70.0, cup_j_per_k=100.0, film_w_per_k=20.0)
    late_s = (0.9 * 0.385 + 0.001 * 2.3) * 8.0 / WAX_W_PER_K
    power_w = 0.5**2 * HEATER_OHM
    bench.advance(0.1, feed(0.5))  # the feed contactor closes
    before_k = bench.get("unit.2.core_c") - BATH_C
    bench.advance(late_s, feed(0.5))
    full_k = power_w * 8.0 / WAX_W_PER_K
    wanted_k = full_k - (full_k - before_k) * math.exp(-1.0)
    cup_k = bench.get("unit.2.cup_c") - BATH_C
    assert cup_k < 0.5
    assert bench.get("unit.2.core_c") - BATH_C == pytest.approx(wanted_k + cup_k / 2, abs=0.6)


def test_a_waxless_unit_stays_closed_and_stays_waxless() -> None:
    described = {"kind": "waxless", "station": 2, "size": 8.0, "until_s": 1.0}
    section = VirtualSection.model_validate(
        {
            "bath": {"start_c": 95},
            "unit": [{"serial": "H103-2", "station": 2}, {"serial": "H103-3", "station": 3}],
            "fault": [described],
        }
    )
    bench = VirtualPlant(section)
    bench.advance(60.0, feed(0.9))
    assert bench.get("unit.2.lift_mm") == 0
    assert bench.get("unit.3.lift_mm") > 5
    assert bench.get("unit.2.core_c") > bench.get("unit.3.core_c") + 50


@pytest.mark.parametrize("per_k", [0.0, 1e-4, 4e-4])
@pytest.mark.parametrize("faults", [(), (("air_round_element", 40.0),)], ids=["wet", "air"])
def test_resistance_follows_the_core(faults: tuple[tuple[str, float], ...], per_k: float) -> None:
    """R = R25 (1 + coefficient (core - 25)); the lead of 0.2 ohm is read with it."""
    bench = plant(*faults, heater_per_k=per_k)
    signals = bench.advance(600.0, feed(0.5))
    ohm = signals.voltage_ratio[1] * 20.475 / (signals.current_ratio[1] * 2.0475)
    core_c = bench.get("unit.2.core_c")
    assert core_c > (130 if faults else 67)
    assert ohm == pytest.approx(HEATER_OHM * (1 + per_k * (core_c - 25)) + 0.2, rel=1e-6)


def test_offset_of_the_shunts_amplifier_takes_current_away_unseen() -> None:
    """The sink holds what the amplifier says at its set-point: 0.02 A read too much do not flow."""
    station = {"station": 2, "current_noise_a": 0, "voltage_noise_v": 0, "voltage_offset_v": 0.1,
               "current_offset_a": 0.02, "lead_ohm": 0}  # fmt: skip
    section = VirtualSection.model_validate(
        {"station": [station], "unit": [{"serial": "H103-2", "station": 2, "heater_per_k": 0}]}
    )
    bench = VirtualPlant(section)
    signals = bench.advance(1.0, feed(0.5))
    assert bench.get("station.2.element_a") == pytest.approx(0.48)
    assert signals.current_ratio[1] * 2.0475 == pytest.approx(0.5)
    assert signals.voltage_ratio[1] * 20.475 == pytest.approx(0.48 * 15.0 + 0.1)
    off = bench.advance(1.0, Drive())
    assert off.current_ratio[1] * 2.0475 == pytest.approx(0.02)

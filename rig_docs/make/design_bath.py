"""Design calculations of bath and fixture: heat, cooling, evaporation, expansion.

What neither firmware nor host states stands at the top, with its origin.
"""

from __future__ import annotations

import math

from page_table import Row

from proofbath.bench.limits import LimitsSection
from proofbath.control.bath_model import BathModel
from proofbath.control.boiling import MARGIN_K, Coolant, pressure_kpa
from proofbath.curve.blank import SLOPE_LEFT_MM_PER_K
from proofbath.curve.zero import UNKNOWN_SLOPE_MM_PER_K
from proofbath.run.check import EVAPORATION_COVER

HEATER_W = 2000.0

# The bath drawn in drawings/bath.svg.
INNER_MM, HEIGHT_MM, FILL_MM, SWITCH_MM = 280.0, 230.0, 130.0, 80.0
SURFACE_M2 = math.pi * (INNER_MM / 2000) ** 2
COOLANT_KJ_PER_L_K = 3.82  # 40 % glycol by volume at 60 degC, from memory
VESSEL_KJ_PER_K = 0.4
LOSS_W_PER_K = 1.7  # 30 mm of mineral wool and a lid, measured baths lie at 1.5 to 2.5, from memory
LID_EVAPORATION_W = 90.0  # at 90 degC through a lid, +- 40 %, from memory
VAPORISATION_KJ_PER_KG = 2283.0  # water at 90 degC (IAPWS-IF97)
ROOM_C, TAP_C = 20.0, 15.0
COIL_W_PER_M2_K = 500.0  # water in a tube, stirred outside: 300 to 700, from memory
COIL_TUBE_MM = 10.0
NIGHT_H = 10.0

# Fixture: rods between seat and gauge, and what they are made of (per kelvin, from memory).
ROD_MM = 190.0
EXPANSION_PER_K = {
    "aluminium": 23.0e-6,
    "stainless steel": 17.3e-6,
    "steel": 12.0e-6,
    "36 % nickel iron": 1.6e-6,
}
SPAN_K = 70.0
START_SLOPE_MM_PER_K = 0.35  # lift at the start of a usual unit


def bath(litres: float, watts: float, coil_w_per_k: float = 0.0) -> BathModel:
    """Return the model of a bath of this build with so much coolant and heater."""
    share = litres / 8.0
    return BathModel(
        heat_capacity_j_per_k=1000 * (litres * COOLANT_KJ_PER_L_K + VESSEL_KJ_PER_K),
        loss_w_per_k=LOSS_W_PER_K * share ** (2 / 3),
        evaporation_w_at_90c=LID_EVAPORATION_W * share ** (2 / 3),
        ambient_c=ROOM_C,
        heater_w=watts,
        cooling_w_per_k=coil_w_per_k,
        cooling_in_c=TAP_C,
        dead_time_s=5.0,
        heater_lag_s=10.0,
    )


def heater_rows() -> list[Row]:
    """Heater power against volume and ramp."""
    rows = []
    for litres in (5.0, 8.0, 12.0, 20.0):
        rates = [f"{bath(litres, w).rise_k_per_min(90.0):.1f}" for w in (1000, 1500, 2000, 3000)]
        capacity = bath(litres, 1.0).heat_capacity_j_per_k / 1000
        rows.append(
            Row(
                f"{litres:g} l ({capacity:.0f} kJ/K): climb at 90 °C with 1 / 1.5 / 2 / 3 kW",
                " / ".join(rates) + " K/min",
                "(P - losses) / heat capacity",
            )
        )
    model = bath(8.0, HEATER_W)
    needed_w = model.heat_capacity_j_per_k / 60 + model.loss_w(98.0)
    half_cycle_k = HEATER_W * 0.01 / model.heat_capacity_j_per_k
    rows += [
        Row(
            "8 l: power for 1 K/min at 98 °C", f"{needed_w:.0f} W", "heat capacity / 60 s + losses"
        ),
        Row("8 l: power to hold 95 °C", f"{model.loss_w(95.0):.0f} W", "losses alone"),
        Row("one tick of 2 kW in 8 l", f"{1000 * half_cycle_k * 10:.1f} mK", "100 ms of heat"),
        Row(
            "a stuck relay at 2 kW, 8 l, 40 °C",
            f"{model.rise_k_per_min(40.0):.1f} K/min",
            f"climb limit {LimitsSection().climb_k_per_min:g} K/min is for a nearly empty bath",
        ),
    ]
    return rows


def cooling_rows() -> list[Row]:
    """What the coil must take, and how long it is."""
    still, at_c = bath(8.0, HEATER_W), 72.0
    wanted_w = still.heat_capacity_j_per_k / 60 - still.loss_w(at_c)
    coil_w_per_k = wanted_w / (at_c - TAP_C)
    length_m = coil_w_per_k / (COIL_W_PER_M2_K * math.pi * COIL_TUBE_MM / 1000)
    litres_per_min = wanted_w / (4186.0 * 10.0) * 60
    return [
        Row(
            "8 l, no coil: fall at 95 / 72 / 50 °C",
            " / ".join(f"{still.fall_k_per_min(c):.2f}" for c in (95.0, 72.0, 50.0)) + " K/min",
            "losses / heat capacity",
        ),
        Row(
            "8 l: heat for 1 K/min down at 72 °C",
            f"{wanted_w:.0f} W",
            "heat capacity / 60 s - losses",
        ),
        Row("that of the coil, water of 15 °C", f"{coil_w_per_k:.1f} W/K", "heat / (72 - 15) K"),
        Row(
            "tube of 10 mm needed",
            f"{length_m:.2f} m",
            f"{COIL_W_PER_M2_K:g} W/(m² K), 300 to 700 (from memory); build twice that",
        ),
        Row(
            "water that leaves 10 K warmer",
            f"{litres_per_min:.2f} l/min",
            "heat / (4186 J/(kg K) 10 K)",
        ),
    ]


def evaporation_rows() -> list[Row]:
    """The night's evaporation against the fill line."""
    lost_kg = LID_EVAPORATION_W * NIGHT_H * 3.6 / VAPORISATION_KJ_PER_KG
    litres = SURFACE_M2 * FILL_MM
    above = SURFACE_M2 * (FILL_MM - SWITCH_MM)
    before = Coolant(glycol="propylene", share_by_volume=0.4)
    after = Coolant(glycol="propylene", share_by_volume=0.4 * litres / (litres - lost_kg))
    sea, high = pressure_kpa(0.0), pressure_kpa(1000.0)
    return [
        Row("fill at the line of 130 mm", f"{litres:.1f} l", "280 mm inside"),
        Row(
            "water lost in 10 h at 90 °C, lid on",
            f"{lost_kg:.2f} kg",
            "90 W ± 40 % (from memory) / 2283 kJ/kg",
        ),
        Row("fall of the level", f"{lost_kg / SURFACE_M2:.0f} mm", "over 0.0616 m²"),
        Row(
            "coolant above the level switch at 80 mm",
            f"{above:.1f} l",
            f"`above_switch_l`; a night is refused below {EVAPORATION_COVER:g} x the loss, "
            f"{EVAPORATION_COVER * lost_kg:.1f} l",
        ),
        Row(
            "glycol share before and after",
            f"40 % and {100 * after.share_by_volume:.0f} %",
            "only water leaves",
        ),
        Row(
            "boiling point before and after",
            f"{before.boiling_c(sea):.1f} and {after.boiling_c(sea):.1f} °C",
            "sea level, ± 2 K; the night before counts",
        ),
        Row(
            "highest bath at sea level / 1000 m",
            f"{before.limit_c(sea):.1f} / {before.limit_c(high):.1f} °C",
            f"{MARGIN_K:g} K below boiling",
        ),
    ]


def fixture_rows() -> list[Row]:
    """Expansion of the station's fixture, and what the blank night takes off."""
    rows = [
        Row(
            f"190 mm of {name}, {SPAN_K:g} K",
            f"{per_k * ROD_MM * SPAN_K:.3f} mm",
            f"{per_k * 1e6:.1f} µm/(m K), from memory",
        )
        for name, per_k in EXPANSION_PER_K.items()
    ]
    stainless = EXPANSION_PER_K["stainless steel"] * ROD_MM
    whole = (stainless - EXPANSION_PER_K["36 % nickel iron"] * ROD_MM) * 12.0
    rows += [
        Row(
            "rods and push rod of one bar, 2 K apart",
            f"{1000 * stainless * 2:.1f} µm",
            "what is left of the first row when both grow together",
        ),
        Row(
            "unlike rods (stainless, nickel iron), zero to start 12 K",
            f"{whole:.3f} mm",
            f"read as {whole / START_SLOPE_MM_PER_K:.2f} K at 0.35 mm/K",
        ),
        Row(
            "unknown slope without a blank",
            f"{UNKNOWN_SLOPE_MM_PER_K * 12 / START_SLOPE_MM_PER_K * 1000:.0f} mK",
            f"{UNKNOWN_SLOPE_MM_PER_K:g} mm/K over 12 K: stands in the budget",
        ),
        Row(
            "left after a blank's curve",
            f"{SLOPE_LEFT_MM_PER_K * 12 / START_SLOPE_MM_PER_K * 1000:.0f} mK",
            f"{SLOPE_LEFT_MM_PER_K:g} mm/K over 12 K",
        ),
    ]
    return rows

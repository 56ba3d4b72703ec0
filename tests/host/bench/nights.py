"""A bench file and a plan for the bench tests, as an operator would write them."""

from __future__ import annotations

from proofbath.bench.description import BenchFile
from proofbath.description import parse_toml
from proofbath.run.plan import NightPlan

BENCH = """
[bench]
name = "quay"
altitude_m = 500

[coolant]
glycol = "propylene"
share_by_volume = 0.4

[bath]
heat_capacity_j_per_k = 40_000
loss_w_per_k = 2
heater_w = 2000
dead_time_s = 0.5
heater_lag_s = 0.5

[limits]
bath_limit_c = 104

[calibration.bath]
offset_k = 0.02

[[calibration.station]]
offset_mm = 0.1

[virtual]
seed = 3
"""

PLAN = """
batch = "ferry 12"

[unit_type]
name = "Teal-82"
nominal_start_to_open_c = 82
full_open_c = 95
full_lift_mm = 8
cap_c = 105

[[station]]
station = 1
serial = "A1"

[[station]]
station = 3
serial = "REF"
role = "reference"

[[step]]
kind = "soak"
to_c = 41
at_least_s = 80

[[step]]
kind = "hold"
for_s = 5
"""


def bench_file(text: str = BENCH) -> BenchFile:
    return parse_toml(text, BenchFile, "bench.toml")


def plan(text: str = PLAN) -> NightPlan:
    return parse_toml(text, NightPlan, "plan.toml")

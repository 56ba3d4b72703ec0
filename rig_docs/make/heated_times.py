"""How long the programmes of heated units take: forecast for the shipped plan on its bench."""

from __future__ import annotations

from importlib.resources import files
from typing import NamedTuple

from page_table import table

from proofbath.bench.description import BenchFile
from proofbath.bench.night import check_night
from proofbath.bench.supply_description import SupplySettings
from proofbath.description import parse_toml
from proofbath.run.heated_profiles import HeatedFigures
from proofbath.run.plan import NightPlan

RAMPS, STEPS, RISES = "heater-assisted-as-left", "currents-at-one-bath", "openings-at-currents"
FILL_L = 40.0
"""Room enough for what evaporates while stations take turns, so that the hours can be told."""
ONE_A_TIME = SupplySettings(
    url="socket://localhost:5025", max_voltage_v=18.0, max_current_a=1.0, station_switch=True
)


class Programme(NamedTuple):
    """A row: what it answers, and what a plan says for it."""

    answers: str
    said: str
    profiles: tuple[str, ...]
    heated: HeatedFigures = HeatedFigures()


LIMITS = HeatedFigures(
    current_a=[0.9], opening_a=[0.8], bath_c=94.0, held_s=250.0, each_from_shut=True
)
PROGRAMMES = (
    Programme("start without power", f"`{RAMPS}`", (RAMPS,)),
    Programme(
        "the same to 3 K beyond the bath only",
        f"`{RAMPS}`, `baths = 3`, `span_k = 8.0`",
        (RAMPS,),
        HeatedFigures(baths=3, span_k=8.0),
    ),
    Programme("how far and how fast, four currents in one bath", f"`{STEPS}`", (STEPS,)),
    Programme(
        "the same for one current",
        f"`{STEPS}`, `current_a = [0.9]`",
        (STEPS,),
        HeatedFigures(current_a=[0.9]),
    ),
    Programme(
        "where it opens at one current",
        f"`{RISES}`, `opening_a = [0.8]`",
        (RISES,),
        HeatedFigures(opening_a=[0.8]),
    ),
    Programme(
        "where it opens at two currents",
        f"`{RISES}`, `opening_a = [0.6, 0.8]`",
        (RISES,),
        HeatedFigures(opening_a=[0.6, 0.8]),
    ),
    Programme("where it opens at four currents", f"`{RISES}`", (RISES,)),
    Programme(
        "start without power and one lift",
        f"`{RAMPS}`, then `{STEPS}`, `current_a = [0.9]`",
        (RAMPS, STEPS),
        LIMITS,
    ),
    Programme(
        "start without power, one lift and one opening",
        "what `batch plan` makes of such limits",
        (RAMPS, STEPS, RISES),
        LIMITS,
    ),
    Programme(
        "the same in ten hours",
        "and `rise_k_per_min = 1.0`",
        (RAMPS, STEPS, RISES),
        LIMITS.model_copy(update={"rise_k_per_min": 1.0}),
    ),
)


def _shipped(name: str) -> str:
    return (files("proofbath.virtual") / "examples" / name).read_text(encoding="utf-8")


def _ready_s(programme: Programme, bench: BenchFile) -> float:
    plan = parse_toml(_shipped("heron_103_plan.toml"), NightPlan, "plan")
    profile, *then = programme.profiles
    changed = {"profile": profile, "then": then, "heated": programme.heated}
    return check_night(plan.model_copy(update=changed), bench).ready_s


def _hours(seconds: float) -> str:
    minutes = round(seconds / 60)
    return f"{minutes // 60}:{minutes % 60:02}"


def times() -> str:
    """Return the hours until the data are there, with all stations fed and with one at a time."""
    bench = parse_toml(_shipped("heron_103_batch.toml"), BenchFile, "bench")
    section = bench.bench.model_copy(update={"port": "/dev/ttyACM0", "fill_l": FILL_L})
    changed = {"bench": section, "supply": ONE_A_TIME, "virtual": None}
    in_turn = bench.model_copy(update=changed)
    rows = [
        (one.answers, one.said, _hours(_ready_s(one, bench)), _hours(_ready_s(one, in_turn)))
        for one in PROGRAMMES
    ]
    return table(("question", "profile", "side by side, h", "one at a time, h"), rows)

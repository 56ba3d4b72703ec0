"""How closely a bath follows its ramps, tuned by its own heating test, beside a plain PID loop.

Run with `python tests/benchmarks/tracking.py [--baths 200] [--seed 1] [--processes 2]`.
Each bath is drawn afresh (5-20 l, 1-3 kW, losses, dead time, lags, noise, half of them with a
cooling valve), identified from its heating test, then led up a ramp at 20-80 % of what is
attainable there, held, and led down.  Set-point minus reading in means of 10 s, after the first
3 min of a ramp.  "line" is the same about the best straight line of the rate asked for.
The plain loop is simple-pid with Ziegler-Nichols gains (0.6 Ku, Pu/2, Pu/8; from memory) and no
feed-forward.  The plant runs without its controller: heater decided each 100 ms, four scans a
sample, codes as the converter gives them.
"""

from __future__ import annotations

import argparse
import math
from concurrent.futures import ProcessPoolExecutor
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from simple_pid import PID

from proofbath.control.bath_model import BathModel
from proofbath.control.controller import BathController
from proofbath.control.identify import HeatingRecord, identify
from proofbath.errors import RecordError
from proofbath.run.profile import Drive
from proofbath.run.tuning import tuning_legs
from proofbath.virtual.description import VirtualBath, VirtualProbe, VirtualSection
from proofbath.virtual.plant import Drive as Switches
from proofbath.virtual.plant import VirtualPlant

Floats = npt.NDArray[np.float64]
TICK_S = 0.1
FROM_C, HIGHEST_C = 70.0, 95.0
LIMIT_C = 101.0
A, B = 3.9083e-3, -5.775e-7  # IEC 60751


class Result(NamedTuple):
    """One bath under one kind of control, in K and s; NaN where there was nothing to judge."""

    rising_rms_k: float
    rising_worst_k: float
    line_rms_k: float
    overshoot_k: float
    settling_s: float
    falling_rms_k: float


class Rig:
    """A plant with its heater relay and bath probe, a tick at a time."""

    def __init__(self, virtual: VirtualSection, start_c: float, seed: int) -> None:
        bath = virtual.bath.model_copy(update={"start_c": start_c})
        self._plant = VirtualPlant(virtual.model_copy(update={"bath": bath}), seed)
        self._remainder = 0.0
        self.heater_on_s = 0.0

    def tick(self, duty: float, cooling: bool) -> float:
        self._remainder += round(1000 * duty) / 1000
        on = self._remainder >= 1.0 - 1e-9
        self._remainder -= on
        self.heater_on_s += on * TICK_S
        drive = Switches(contactor=True, heater=on, cooling=cooling)
        scans = (self._plant.advance(TICK_S / 4, drive).bath_ohm for _ in range(4))
        ohm = sum(round(o / 400.0 * 32768) for o in scans) / 4 / 32768 * 400.0
        return (-A + math.sqrt(A * A - 4 * B * (1 - ohm / 100.0))) / (2 * B)


def draw(rng: np.random.Generator) -> tuple[VirtualSection, float, bool]:
    """Return a bath, its probe's lag as its owner believes it, and whether it has a valve."""
    fill_l = rng.uniform(5, 20)
    lag_s = rng.uniform(4, 8)
    bath = VirtualBath(
        ambient_c=rng.uniform(15, 28),
        fill_l=fill_l,
        glycol_percent=rng.uniform(33, 50),
        loss_w_per_k=rng.uniform(0.15, 0.25) * fill_l**0.67 * 2.0,
        surface_m2=0.015 * fill_l**0.67,
        heater_w=rng.uniform(max(1000, 90 * fill_l), 3000),
        sheath_s=rng.uniform(5, 15),
        dead_s=rng.uniform(3, 10),
        coil_w_per_k=rng.uniform(0.6, 1.2) * fill_l,
        mixing_k=rng.uniform(0.004, 0.012),
    )
    probe = VirtualProbe(lag_s=lag_s, noise_k=rng.uniform(0.001, 0.005))
    believed_s = lag_s * rng.normal(1.0, 0.15)
    return VirtualSection(bath=bath, bath_probe=probe), believed_s, bool(rng.random() < 0.5)


def tuned(virtual: VirtualSection, probe_lag_s: float, valve: bool, seed: int) -> BathModel:
    """Return the model that the bath's own heating test gives, begun from a rough guess."""
    bath = virtual.bath
    nominal = BathModel(
        heat_capacity_j_per_k=3700 * bath.fill_l,
        loss_w_per_k=2.0,
        evaporation_w_at_90c=90,
        ambient_c=bath.ambient_c,
        heater_w=bath.heater_w,
        cooling_w_per_k=5.0 if valve else 0.0,
        dead_time_s=5.0,
        heater_lag_s=10.0,
        probe_lag_s=probe_lag_s,
    )
    rig = Rig(virtual, bath.ambient_c, seed)
    rows: list[tuple[float, float, float, bool]] = []
    reading_c = bath.ambient_c
    for leg in tuning_legs(LIMIT_C, valve):
        if not isinstance(leg.step, Drive):
            break
        for _ in range(round(leg.step.for_s / TICK_S)):
            reading_c = rig.tick(leg.step.duty, leg.step.cooling)
            rows.append((len(rows) * TICK_S, reading_c, rig.heater_on_s, leg.step.cooling))
            if leg.step.duty and reading_c >= leg.step.until_c:
                break
    return identify(HeatingRecord(*np.array(rows, dtype=float).T), nominal).model


class Plain:
    """A plain PID loop on a straight set-point, as the controller's stand-in."""

    def __init__(self, model: BathModel) -> None:
        ku, pu_s = ultimate(model)
        kp = 0.6 * ku
        self._pid = PID(kp, kp / (pu_s / 2), kp * pu_s / 8, sample_time=None, time_fn=lambda: 0.0)
        self._pid.output_limits = (0.0, 1.0)
        self.cooling = False
        self._valve = model.cooling_w_per_k > 0
        self._filtered_c = math.nan
        self._target_c = self._rate = 0.0
        self.setpoint_c = FROM_C

    def anchor(self, at_c: float) -> None:
        self.setpoint_c = self._target_c = self._filtered_c = at_c

    def aim(self, to_c: float, rate_k_per_min: float) -> None:
        self._target_c, self._rate = to_c, rate_k_per_min / 60.0
        self.cooling = self._valve and to_c < self.setpoint_c

    def step(self, bath_c: float, dt_s: float) -> float:
        left_k = self._target_c - self.setpoint_c
        self.setpoint_c += math.copysign(min(abs(left_k), self._rate * dt_s), left_k)
        # Without a filter the derivative would only pass the converter's last digit on.
        self._filtered_c += 0.1 * (bath_c - self._filtered_c)
        self._pid.setpoint = self.setpoint_c
        return self._pid(self._filtered_c, dt=dt_s) or 0.0


def ultimate(model: BathModel) -> tuple[float, float]:
    """Return the gain in duty per K and the period in s at which a P loop would just swing."""
    omega = np.logspace(-3, 0.5, 20_000)
    s = 1j * omega
    slope = model.loss_w(85.5) - model.loss_w(84.5)
    loop = model.heater_w / (model.capacity_j_per_k(85.0) * s + slope)
    loop = loop * np.exp(-s * model.dead_time_s)
    loop = loop / (model.heater_lag_s * s + 1) / (model.probe_lag_s * s + 1)
    at = int(np.argmin(np.abs(np.unwrap(np.angle(loop)) + math.pi)))
    return float(1.0 / abs(loop[at])), float(2 * math.pi / omega[at])


def trial(rig: Rig, control: BathController | Plain, rate: float, fall: float) -> Result:
    """Return what one ramp up, a hold and a ramp down show."""
    reading_c = FROM_C

    def run(minutes: float) -> tuple[Floats, Floats]:
        nonlocal reading_c
        rows = []
        for _ in range(round(600 * minutes)):
            reading_c = rig.tick(control.step(reading_c, TICK_S), control.cooling)
            rows.append((control.setpoint_c, reading_c))
        means = np.array(rows)[: len(rows) // 100 * 100].reshape(-1, 100, 2).mean(axis=1)
        return means[:, 0], means[:, 1]

    control.anchor(FROM_C)
    control.aim(FROM_C, 5.0)
    run(10)
    top_c = min(HIGHEST_C, FROM_C + 16.0 * rate)
    control.aim(top_c, rate)
    wanted, seen = run((top_c - FROM_C) / rate)
    error = (wanted - seen)[18:]
    straight = seen[18:] - rate / 6.0 * np.arange(len(error))
    _, after = run(15)
    outside = np.flatnonzero(np.abs(after - top_c) > 0.05)
    falling_rms = math.nan
    if fall:
        control.aim(top_c - 12.0 * fall, fall)
        wanted, seen = run(11)
        falling_rms = rms(wanted[18:] - seen[18:])
    return Result(
        rms(error),
        float(np.max(np.abs(error))),
        float(np.std(straight)),
        float(np.max(after) - top_c),
        10.0 * (float(outside[-1]) + 1.0) if len(outside) else 0.0,
        falling_rms,
    )


def rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(values**2)))


def one_bath(seed: int) -> tuple[Result, Result] | str:
    """Return the results under proofbath's control and under the plain loop, or the refusal."""
    rng = np.random.default_rng(seed)
    virtual, probe_lag_s, valve = draw(rng)
    try:
        model = tuned(virtual, probe_lag_s, valve, seed)
    except RecordError as error:
        return str(error)
    rate = rng.uniform(0.2, 0.8) * min(5.0, model.rise_k_per_min(HIGHEST_C))
    fall = 0.8 * min(1.0, model.fall_k_per_min(HIGHEST_C - 10.0)) if not valve else 1.0
    if valve:
        taken_w = model.cooling_w(75.0) + model.loss_w(75.0)
        fall = min(1.0, 0.8 * 60 * taken_w / model.capacity_j_per_k(75.0))
    ours = trial(Rig(virtual, FROM_C, seed), BathController(model), rate, fall)
    plain = trial(Rig(virtual, FROM_C, seed), Plain(model), rate, fall)
    return ours, plain


def show(name: str, results: list[Result]) -> None:
    columns = np.array(results)
    print(f"\n{name}")
    for field, values in zip(Result._fields, columns.T, strict=True):
        good = values[np.isfinite(values)]
        median, high, worst = np.percentile(good, [50, 95, 100])
        print(f"  {field:<15} median {median:8.4f}   95 % {high:8.4f}   worst {worst:8.4f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--baths", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    seeds = range(1000 * options.seed, 1000 * options.seed + options.baths)
    with ProcessPoolExecutor(options.processes) as pool:
        results = list(pool.map(one_bath, seeds))
    refused = [text for text in results if isinstance(text, str)]
    pairs = [pair for pair in results if not isinstance(pair, str)]
    print(f"{len(pairs)} baths of {options.baths}; heating test refused: {len(refused)}")
    for text in refused[:5]:
        print(f"  {text}")
    show("feed-forward and PI by the identified model (goal: rms 0.03, overshoot 0.10)",
         [ours for ours, _ in pairs])  # fmt: skip
    show("plain PID, Ziegler-Nichols, no feed-forward", [plain for _, plain in pairs])


if __name__ == "__main__":
    main()

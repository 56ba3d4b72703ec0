"""Pictures and findings of the troubleshooting page, from faults on the virtual bench.

python rig_docs/make/troubleshooting.py           run the nights, write pictures and page
python rig_docs/make/troubleshooting.py --check   write nothing; name what would be another

What the page says of each fault (codes, sentences, alarms) is taken from these runs.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np
from book import with_blocks
from troubleshooting_nights import DEPTHS_MM, HEALTHY, Night, night
from troubleshooting_plot import Floats, Line, Plot, svg

from proofbath.curve.batch_trust import batch_findings
from proofbath.curve.features import CycleFeatures
from proofbath.curve.picture import cycles_drawn
from proofbath.curve.result import Warned
from proofbath.curve.samples import Samples
from proofbath.curve.zero import Zero

DOCS = Path(__file__).resolve().parents[1]
PAGE = DOCS / "troubleshooting.md"
BATH, LIFT = "bath °C", "lift mm"
THRESHOLD_MM = 0.1


class Case(NamedTuple):
    """A fault of the page: the night and station it was at, and its picture."""

    night: str
    station: int
    """0 where it is one of the whole bench."""
    plot: Callable[[], Plot]


def cycles(night_name: str, station: int) -> list[CycleFeatures]:
    """Return a unit's cycles as the analysis cut them."""
    return cycles_drawn(night(night_name).reports[station].record, THRESHOLD_MM)


def rising(night_name: str, station: int, cycle: int, name: str) -> Line:
    """Return a rising branch, its zero taken off."""
    features = cycles(night_name, station)[cycle]
    return _line(name, features.rising, features.zero)


def loop(night_name: str, station: int, name: str) -> Line:
    """Return the first cycle's both branches as one line."""
    features = cycles(night_name, station)[0]
    up = _line(name, features.rising, features.zero)
    down = _line(name, features.falling, features.zero)
    return Line(name, np.concatenate([up.x, down.x]), np.concatenate([up.y, down.y]))


def _line(name: str, branch: Samples, zero: Zero | None) -> Line:
    shut = zero.reading_mm(branch.bath_c) if zero else 0.0
    return Line(name, branch.bath_c, branch.lift_mm - shut)


def _fast() -> Plot:
    lines = (
        rising("fast", HEALTHY, 0, "bath rises at 2.2 K/min"),
        rising("good", HEALTHY, 0, "same unit at 1 K/min"),
    )
    return Plot("Ramp too fast: it seems to open late", BATH, LIFT, lines, (78, 90), (-0.2, 4))


def _bubbles() -> Plot:
    lines = (
        rising("units", 1, 0, "bubbles under the plate"),
        rising("units", HEALTHY, 0, "neighbour"),
    )
    title = "Bubbles: short lifts that come and go"
    return Plot(title, BATH, LIFT, lines, (74, 86), (-0.2, 2))


def _air() -> Plot:
    lines = (
        loop("units", 4, "air round the element"),
        loop("units", HEALTHY, "neighbour"),
    )
    title = "Air round the element: late both ways"
    return Plot(title, BATH, LIFT, lines, (72, 96), (-0.5, 10))


def _gauge_sticking() -> Plot:
    lines = (
        rising("units", 2, 0, "gauge sticks"),
        rising("units", HEALTHY, 0, "neighbour"),
    )
    return Plot("Gauge sticking: a staircase", BATH, LIFT, lines, (80, 88), (-0.2, 3))


def _stuck() -> Plot:
    lines = (loop("units", 3, "valve sticks"), loop("units", HEALTHY, "neighbour"))
    title = "Valve or pin sticking: nothing, then a jump"
    return Plot(title, BATH, LIFT, lines, (72, 96), (-0.5, 10))


def _vent_pin() -> Plot:
    lines = (
        rising("units", 5, 0, "loose vent pin"),
        rising("units", HEALTHY, 0, "neighbour"),
    )
    return Plot("Loose vent pin: noise", BATH, LIFT, lines, (76, 86), (-0.2, 2))


def _by_cycle(station: int, title: str, right_c: float) -> Plot:
    lines = [rising("changing", station, n, f"cycle {n + 1}") for n in range(3)]
    return Plot(title, BATH, LIFT, lines, (78, right_c), (-0.5, 9))


def _leak() -> Plot:
    return _by_cycle(1, "Wax leak: later and less, run by run", 96)


def _overheated() -> Plot:
    return _by_cycle(3, "Overheated behind the first cycle: shifted for good", 96)


def _spring() -> Plot:
    lines = (loop("changing", 2, "weak spring"), loop("changing", HEALTHY, "neighbour"))
    title = "Weak spring: opens as usual, closes late"
    return Plot(title, BATH, LIFT, lines, (72, 96), (-0.5, 10))


def _over_stroke() -> Plot:
    lines = (
        rising("over", 1, 0, "over its stroke"),
        rising("over", HEALTHY, 0, "neighbour; the rise was ended for all"),
    )
    return Plot("Lift beyond the stroke", BATH, LIFT, lines, (72, 96), (-0.5, 16))


def shifts_k(night_name: str) -> dict[str, float]:
    """Return how far each unit's start lies from that of the good night, by name."""
    before, now = (_starts(name) for name in ("good", night_name))
    return {name: now[name] - before[name] for name in before if name in now}


def _starts(night_name: str) -> dict[str, float]:
    found = {}
    for report in night(night_name).reports.values():
        value = report.result.start_to_open_c.value
        if value is not None:
            found[report.result.name] = value
    return found


def _stratified() -> Plot:
    shifts = list(shifts_k("stratified").values())
    order = np.argsort(DEPTHS_MM, kind="stable")
    depths, moved = np.array(DEPTHS_MM)[order], np.array(shifts)[order]
    line = Line("start-to-open against the good night", depths, moved)
    title = "Stratified bath: the shift goes with the depth"
    return Plot(title, "depth of the element mm", "shift K", (line,), (25, 95), (-1, 1.5))


def _probe() -> Plot:
    shifts = np.array(list(shifts_k("probe").values()))
    line = Line("start-to-open against the good night", np.arange(1.0, len(shifts) + 1), shifts)
    title = "Probe reads 0.6 K high: all units shift together"
    return Plot(title, "station", "shift K", (line,), (0.5, 6.5), (-1, 1.5))


LIFTS_MM = np.array([0.5, 1.0, 2.0, 4.0, 6.0])


def _hysteresis() -> Plot:
    lines = [
        Line(f"as read at {rate} K/min", LIFTS_MM, _read_hysteresis_k(features))
        for rate, features in zip(("1", "0.5 up, 1 down"), cycles("units", HEALTHY), strict=True)
    ]
    series = night("units").reports[HEALTHY].result.series["hysteresis_at_k"]
    stated = [(q.at["lift_mm"], q.value) for q in series if q.value is not None]
    x, y = np.array(stated).T
    lines.append(Line("for zero rate, as proofbath states it", x, y))
    title = "Hysteresis depends on lift and rate"
    return Plot(title, LIFT, "hysteresis K", lines, (0, 7), (0, 8))


def _read_hysteresis_k(features: CycleFeatures) -> Floats:
    up = _line("", features.rising, features.zero)
    down = _line("", features.falling, features.zero)
    passes = [up.x[np.argmax(up.y > lift)] - down.x[np.argmax(down.y < lift)] for lift in LIFTS_MM]
    return np.array(passes)


def _supply() -> Plot:
    lines = []
    for station, name in (
        (1, "supply of 8 V instead of 18 V"),
        (2, "current read 20 % low"),
        (HEALTHY, "neighbour"),
    ):
        record = night("powered").reports[station].record
        assert record.element_a is not None
        assert record.element_v is not None
        first = (record.t_s < record.t_s[0] + 2400.0) & (np.abs(record.bath_c - 90.0) < 0.5)
        top = int(np.argmax(record.element_a[first]))
        power_w = (record.element_a * record.element_v)[first]
        lift_mm = record.lift_mm[first]
        shown = slice(0, int(np.argmax(power_w)) if station > 1 else top + 3000)
        lines.append(Line(name, power_w[shown], lift_mm[shown] - lift_mm[0]))
    title = "Wrong supply or channel: lift over power at 90 °C"
    return Plot(title, "power as read W", LIFT, lines, (0, 13), (-0.5, 7))


CASES: dict[str, Case] = {
    "ramp_too_fast": Case("fast", HEALTHY, _fast),
    "bubbles": Case("units", 1, _bubbles),
    "air": Case("units", 4, _air),
    "gauge_sticking": Case("units", 2, _gauge_sticking),
    "stuck": Case("units", 3, _stuck),
    "wax_leak": Case("changing", 1, _leak),
    "weak_spring": Case("changing", 2, _spring),
    "vent_pin": Case("units", 5, _vent_pin),
    "stratified": Case("stratified", 0, _stratified),
    "probe": Case("probe", 0, _probe),
    "hysteresis": Case("units", HEALTHY, _hysteresis),
    "overheated": Case("changing", 3, _overheated),
    "over_stroke": Case("over", 1, _over_stroke),
    "supply": Case("powered", 1, _supply),
    "current_channel": Case("powered", 2, _supply),
    "power": Case("powered", 3, _supply),
}
"""By the name of its block on the page; all that the trade's list of faults holds."""


def said(name: str) -> list[Warned]:
    """Return what the analysis said of a case, in the run."""
    case = CASES[name]
    found = night(case.night)
    if case.station:
        return list(found.reports[case.station].result.warnings)
    results = [report.result for report in found.reports.values()]
    depth = dict(zip(_starts(case.night), DEPTHS_MM, strict=True))
    depths = depth if case.night == "stratified" else None
    return batch_findings(results, _starts("good"), depths)


def alarms(name: str) -> Sequence[str]:
    """Return what a person was told of a case while the run went on."""
    case = CASES[name]
    told: Night = night(case.night)
    mine = f"station {case.station}:"
    return [text for text in told.alarms if text.startswith(mine) or not case.station]


def block(name: str) -> str:
    """Return a case's part of the page: its picture and what proofbath said."""
    case = CASES[name]
    figure = _figure(case)
    lines = [f"![{case.plot().title}](figures/{figure}.svg)", "", "proofbath said in this run:", ""]
    lines += [f"- alarm while it ran: {text}" for text in alarms(name)]
    lines += [f"- `{warned.code}`: {warned.text}" for warned in said(name)]
    if case.station:
        lines.append(_start(case))
    return "\n".join(lines)


def _start(case: Case) -> str:
    quantities = night(case.night).reports[case.station].result.quantities
    name = "unpowered_start_to_open_c" if case.night == "powered" else "start_to_open_c"
    start = quantities[name]
    words = "unpowered start-to-open" if case.night == "powered" else "start-to-open"
    if start.value is None:
        code, _, rest = (start.reason or "").partition(": ")
        return f"- {words}: none, {f'because of `{code}`' if rest else code}"
    return f"- {words}: {start.value:.2f} ± {start.expanded_uncertainty:.2f} °C"


def _figure(case: Case) -> str:
    return case.plot.__name__.lstrip("_")


def wanted() -> dict[Path, str]:
    """Return every picture and the page as they should read."""
    files = {DOCS / "figures" / f"{_figure(case)}.svg": svg(case.plot()) for case in CASES.values()}
    text = PAGE.read_text(encoding="utf-8")
    blocks: dict[str, Callable[[], str]] = {name: partial(block, name) for name in CASES}
    return files | {PAGE: with_blocks(text, blocks, PAGE.name)}


def main() -> int:
    """Write, or with --check compare; returns 1 when a comparison fails."""
    check = "--check" in sys.argv
    stale = 0
    for path, text in wanted().items():
        if path.exists() and path.read_text(encoding="utf-8") == text:
            continue
        stale += 1
        if not check:
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8")
        print(f"{'differs' if check else 'wrote'}: {path.relative_to(DOCS.parent)}")
    return 1 if check and stale else 0


if __name__ == "__main__":
    sys.exit(main())

"""What a type's numbers say, in lines for a person to read."""

from __future__ import annotations

from proofbath.proof.compare import LEVEL, Trend, adjusted_p
from proofbath.proof.statistics import Capability
from proofbath.workshop.shop_statistics import DAYS, Factor, TypeStatistics


def type_lines(one: TypeStatistics) -> list[str]:
    """Return what a type's history says under one limit, a line each; details are indented."""
    unit = "K" if one.unit == "°C" else one.unit
    lines = [f"{one.form}: {one.units} units as left"]
    lines += [f"  {line}" for line in _capability_lines(one.capability, one.unit)]
    if one.trend:
        lines.append(f"  {trend_text(one.trend, unit, one.trend.p)}")
    for factor in one.factors:
        if len(factor.groups) > 1:
            lines.append(f"  {factor.words}")
            lines += [f"    {line}" for line in _group_trends(factor, unit)]
    alone = [factor.factor for factor in one.factors if len(factor.groups) == 1]
    return [*lines, f"  one group only, nothing to compare: {', '.join(alone)}"] if alone else lines


def _group_trends(factor: Factor, unit: str) -> list[str]:
    """Return the trends that stay clear when all groups of the factor are counted."""
    counted = adjusted_p({group: line.p for group, line in factor.trends.items()})
    return [
        f"{group}: {trend_text(line, unit, counted[group])}"
        for group, line in factor.trends.items()
        if counted[group] < LEVEL
    ]


def _capability_lines(found: Capability, unit: str) -> list[str]:
    if found.reason is not None:
        lines = [f"no capability: {found.reason}"]
    else:
        cp = f"Cp {found.cp:.2f} (at least {found.cp_lower:.2f}), " if found.cp else ""
        low, high = found.tolerance_interval or (None, None)
        ends = " to ".join("open" if end is None else f"{end:.2f}" for end in (low, high))
        lines = [
            f"{cp}Cpk {found.cpk:.2f} (at least {found.cpk_lower:.2f}), with 95 % confidence",
            f"tolerance interval {ends} {unit}: 95 % of units with 95 % confidence",
        ]
    if found.common_u is not None:
        lines.append(f"the bench's common standard uncertainty, not in it: {found.common_u:.3f}")
    return lines


def trend_text(found: Trend, unit: str, p: float) -> str:
    """Return a trend with its 95 % half width, and whether it is told from none."""
    clear = "" if p < LEVEL else ", not told from none"
    return (
        f"trend {found.slope:+.3f} ± {found.half_width:.3f} {unit} in {DAYS:g} days"
        f" (p {p:.2g}){clear}"
    )

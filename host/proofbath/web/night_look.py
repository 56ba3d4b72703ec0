"""A night as it was chosen on the page: planned, looked at before heat, its bench checked."""

from __future__ import annotations

import datetime as dt
import json
import subprocess
import sys
from typing import Any, NamedTuple, cast

from proofbath.bench.connect import simulated
from proofbath.bench.in_force import bench_in_force
from proofbath.bench.preflight import Check
from proofbath.description import parse_toml
from proofbath.errors import BenchFaultError, InputError
from proofbath.proof.verdict import RetestCause
from proofbath.run.plan import NightPlan, Spoilt, Stage
from proofbath.web.night_preview import day_seconds, preview
from proofbath.workshop.nights import certify_blocks
from proofbath.workshop.planning import Retest, loading_faults, plan_night, plan_text
from proofbath.workshop.shop import ShopView

CHECK_PATIENCE_S = 60.0


class Chosen(NamedTuple):
    """What a person chose of a night; empty where nothing was."""

    bench: str = ""
    batch: str = ""
    stage: Stage = "as-found"
    serials: tuple[str, ...] = ()
    profile: str = ""
    ready_by: str = ""
    cold_by: str = ""
    retest: tuple[str, str, str] = ("", "", "")
    """Serial, cause and record of a unit that is measured once more."""

    def retests(self) -> dict[str, Retest]:
        """Return the retest as planning wants it; raises InputError for an unknown cause."""
        serial, cause, record = (part.strip() for part in self.retest)
        if not serial:
            return {}
        known = {one.name.lower(): one for one in RetestCause}
        if cause not in known:
            raise InputError(f"retest of {serial}: its cause is one of {', '.join(known)}")
        return {serial: Retest(cast(Spoilt, cause), record)}


def planned(shop: ShopView, chosen: Chosen) -> NightPlan:
    """Return the plan that was chosen; raises InputError with every fault."""
    plan = plan_night(
        shop,
        chosen.batch,
        chosen.stage,
        chosen.bench,
        serials=chosen.serials or None,
        retests=chosen.retests(),
        profile=chosen.profile or None,
    )
    times = {"ready_by": chosen.ready_by or None, "cold_by": chosen.cold_by or None}
    return plan_in(plan_text(plan.model_copy(update=times)))


def look(shop: ShopView, plan: NightPlan, bench_name: str, at: str) -> dict[str, Any]:
    """Return what is known of a night before heat; raises InputError where it may not be."""
    faults = loading_faults(shop.records, plan)
    if faults:
        raise InputError(*faults)
    now = dt.datetime.fromisoformat(at)
    bench = bench_in_force(shop.records, shop.bench(bench_name), now.date())
    return {
        "seen": preview(plan, bench, day_seconds(now)),
        "blocks": certify_blocks(shop, plan, bench, now.date()),
        "simulated": simulated(bench),
    }


def bench_checks(shop: ShopView, bench: str, plan: NightPlan) -> list[Check]:
    """Return the pre-flight of a bench at rest, looked at by a process of its own.

    Raises BenchFaultError when it cannot be looked at.
    """
    files = shop.bench_files()
    if bench not in files:
        raise InputError(f"bench {bench!r}: not in the workshop's file; there are {[*files]}")
    stations = ",".join(str(place.station) for place in plan.station)
    command = [sys.executable, "-m", "proofbath", "check"]
    command += ["--bench", str(files[bench]), "--stations", stations, "--json"]
    try:
        done = subprocess.run(
            command, capture_output=True, stdin=subprocess.DEVNULL, timeout=CHECK_PATIENCE_S
        )
    except subprocess.TimeoutExpired as error:
        raise BenchFaultError(f"bench {bench}: not looked at within {error.timeout} s") from error
    try:
        return [Check(**check) for check in json.loads(done.stdout)["checks"]]
    except (ValueError, KeyError, TypeError):
        lines = done.stderr.decode(errors="replace").strip().splitlines()
        raise BenchFaultError(*(lines or [f"bench {bench}: cannot be looked at"])) from None


def plan_in(text: str) -> NightPlan:
    """Return the plan a text describes; raises InputError with every fault."""
    return parse_toml(text, NightPlan, "plan")

"""The Night page: a night planned from a batch or a plan file, looked at, checked and started."""

from __future__ import annotations

import datetime as dt
import json
import subprocess
import sys
from typing import Annotated, Any, NamedTuple
from urllib.parse import quote

from fastapi import APIRouter, File, Form, Query, UploadFile
from fastapi.responses import RedirectResponse
from starlette.requests import Request
from starlette.responses import Response

from proofbath.bench.cautions import NIGHT as CAUTIONS
from proofbath.bench.connect import simulated
from proofbath.bench.in_force import bench_in_force
from proofbath.bench.preflight import Check
from proofbath.description import parse_toml
from proofbath.errors import BenchFaultError, InputError, ProofbathError
from proofbath.proof.verdict import RetestCause
from proofbath.run.plan import NightPlan, Stage
from proofbath.run.profiles import PROFILES
from proofbath.store.kinds import Action, Batch
from proofbath.web.deps import CurrentShop, CurrentStamp, Operator, Viewer
from proofbath.web.frame import frame_of
from proofbath.web.launch import NightOrder, plan_text
from proofbath.web.live_hub import hub_of
from proofbath.web.night_preview import day_seconds, preview
from proofbath.web.sessions import Signed
from proofbath.web.templating import page
from proofbath.workshop.nights import certify_blocks
from proofbath.workshop.planning import (
    NO_RETESTS,
    Retest,
    Retests,
    due,
    loading_faults,
    plan_night,
)
from proofbath.workshop.shop import Shop
from proofbath.workshop.story import batch_story

router = APIRouter(include_in_schema=False)
STAGES: tuple[Stage, ...] = ("as-found", "as-left", "trial")
LARGEST_PLAN = 200_000
CHECK_PATIENCE_S = 60.0
Text = Annotated[str, Form(max_length=LARGEST_PLAN)]
Name = Annotated[str, Form(max_length=60)]
Word = Annotated[str, Form(max_length=200)]


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

    def retests(self) -> Retests:
        """Return the retest as planning wants it; raises InputError for an unknown cause."""
        serial, cause, record = (part.strip() for part in self.retest)
        if not serial:
            return {}
        known = {one.name.lower(): one for one in RetestCause}
        if cause not in known:
            raise InputError(f"retest of {serial}: its cause is one of {', '.join(known)}")
        return {serial: Retest(known[cause], record)}


@router.get("/night")
def night_page(
    request: Request,
    shop: CurrentShop,
    signed: Viewer,
    bench: str = "",
    batch: str = "",
    stage: Stage = "as-found",
    serial: Annotated[list[str] | None, Query()] = None,
    profile: str = "",
    ready_by: str = "",
    cold_by: str = "",
    retest: str = "",
    cause: str = "",
    record: str = "",
) -> Response:
    """Show the choice of a night, and what it would be once a batch is chosen."""
    bench = bench or next(iter(shop.bench_files()), "")
    serials, again = tuple(serial or ()), (retest, cause, record)
    chosen = Chosen(bench, batch, stage, serials, profile, ready_by, cold_by, again)
    if not batch:
        return _shown(request, signed, chosen)
    try:
        return _shown(request, signed, chosen, planned(shop, chosen))
    except ProofbathError as error:
        return _shown(request, signed, chosen, faults=error.faults)


@router.post("/night/plan")
def plan_file(
    request: Request,
    signed: Operator,
    stamp: CurrentStamp,
    bench: Name,
    file: Annotated[UploadFile, File()],
) -> Response:
    """Show the night of a plan file."""
    chosen = Chosen(bench)
    try:
        text = file.file.read(LARGEST_PLAN + 1)
        if len(text) > LARGEST_PLAN:
            raise InputError(f"plan: larger than {LARGEST_PLAN // 1000} kB; is it a plan?")
        return _shown(request, signed, chosen, _plan_in(text.decode("utf-8-sig")))
    except UnicodeDecodeError:
        return _shown(request, signed, chosen, faults=("plan: not UTF-8 text",))
    except ProofbathError as error:
        return _shown(request, signed, chosen, faults=error.faults)


@router.post("/night/check")
def check(
    request: Request,
    signed: Operator,
    stamp: CurrentStamp,
    bench: Name,
    plan: Text,
    retest: Word = "",
    cause: Word = "",
    record: Word = "",
) -> Response:
    """Look at the bench at rest for a planned night; nothing is heated."""
    chosen = Chosen(bench, retest=(retest, cause, record))
    try:
        night = _plan_in(plan)
    except ProofbathError as error:
        return _shown(request, signed, chosen, faults=error.faults)
    try:
        checks = bench_checks(frame_of(request).shop, bench, night)
    except ProofbathError as error:
        return _shown(request, signed, chosen, night, faults=error.faults)
    return _shown(request, signed, chosen, night, checks=checks)


@router.post("/night/start")
def start(
    request: Request,
    signed: Operator,
    stamp: CurrentStamp,
    bench: Name,
    plan: Text,
    cautions_read: Annotated[bool, Form()] = False,
    clear_trip: Annotated[bool, Form()] = False,
    attended: Annotated[bool, Form()] = False,
    loaded: Word = "",
    retest: Word = "",
    cause: Word = "",
    record: Word = "",
) -> Response:
    """Start a planned night as its own process, held by who starts it."""
    frame, hub = frame_of(request), hub_of(request)
    chosen = Chosen(bench, retest=(retest, cause, record))
    person, night = signed.person.entry.name, None
    try:
        night = _plan_in(plan)
        if not cautions_read:
            raise InputError("cautions: not acknowledged; read them and tick the box")
        look(frame.shop, night, bench, frame.utc(), chosen.retests())
        hub.holders.take(bench, person, frame.monotonic_s())
        word = " ".join(loaded.split())
        order = NightOrder(night, bench, person, clear_trip, attended, word, chosen.retest)
        folder = hub.launcher.start(order, stamp.at)
    except ProofbathError as error:
        return _shown(request, signed, chosen, night, faults=error.faults)
    what = f"start of a night on bench {bench}, cautions acknowledged"
    detail = f"batch {night.batch}, {night.stage}, files in {folder.name}"
    frame.shop.records.add(Action(what=what[:200], detail=detail), stamp)
    return RedirectResponse(f"/bench?name={quote(bench, safe='')}", 303)


def planned(shop: Shop, chosen: Chosen) -> NightPlan:
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
    return _plan_in(plan_text(plan.model_copy(update=times)))


def look(
    shop: Shop, plan: NightPlan, bench_name: str, at: str, retests: Retests = NO_RETESTS
) -> dict[str, Any]:
    """Return what is known of a night before heat; raises InputError where it may not be."""
    faults = loading_faults(shop.records, plan, retests)
    if faults:
        raise InputError(*faults)
    now = dt.datetime.fromisoformat(at)
    bench = bench_in_force(shop.records, shop.bench(bench_name), now.date())
    return {
        "seen": preview(plan, bench, day_seconds(now)),
        "blocks": certify_blocks(shop, plan, bench, now.date()),
        "simulated": simulated(bench),
    }


def bench_checks(shop: Shop, bench: str, plan: NightPlan) -> list[Check]:
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


def _plan_in(text: str) -> NightPlan:
    return parse_toml(text, NightPlan, "plan")


def _shown(
    request: Request,
    signed: Signed,
    chosen: Chosen,
    plan: NightPlan | None = None,
    faults: tuple[str, ...] = (),
    checks: list[Check] | None = None,
) -> Response:
    frame = frame_of(request)
    shop = frame.shop
    benches = [*shop.bench_files()]
    bench = chosen.bench if chosen.bench in benches else next(iter(benches), "")
    context: dict[str, Any] = {"seen": None, "blocks": [], "simulated": False}
    if plan is not None:
        try:
            context |= look(shop, plan, bench, frame.utc(), chosen.retests())
        except ProofbathError as error:
            faults += tuple(line for line in error.faults if line not in faults)
    hold = hub_of(request).holders.of(bench)
    context |= {
        "bench": bench,
        "benches": benches,
        "batches": [kept.entry.name for kept in reversed(shop.records.current(Batch))],
        "stages": STAGES,
        "profiles": PROFILES,
        "causes": {cause.name.lower(): cause.value for cause in RetestCause},
        "chosen": chosen,
        "due": _due(shop, chosen),
        "plan": plan,
        "plan_toml": plan_text(plan) if plan else "",
        "checks": checks,
        "cautions": CAUTIONS,
        "may_heat": "operator" in signed.rights,
        "held_by": hold.person if hold and hold.person != signed.person.entry.name else "",
    }
    return page(request, "night.html", 422 if faults else 200, faults=faults, **context)


def _due(shop: Shop, chosen: Chosen) -> list[str]:
    if not shop.records.current(Batch, name=chosen.batch):
        return []
    return due(batch_story(shop.records, chosen.batch), chosen.stage)

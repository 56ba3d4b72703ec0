"""The Night page: a night planned from a batch or a plan file, looked at, checked and started."""

from __future__ import annotations

from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, File, Form, Query, UploadFile
from fastapi.responses import RedirectResponse
from starlette.requests import Request
from starlette.responses import Response

from proofbath.bench.cautions import NIGHT as CAUTIONS
from proofbath.bench.preflight import Check
from proofbath.errors import InputError, ProofbathError
from proofbath.proof.verdict import RetestCause
from proofbath.run.plan import NightPlan, Stage
from proofbath.run.profiles import PROFILES
from proofbath.store.kinds import Batch
from proofbath.web.deps import CurrentShop, CurrentStamp, Operator, Viewer
from proofbath.web.frame import frame_of
from proofbath.web.launch import NightOrder
from proofbath.web.live_hub import hub_of
from proofbath.web.night_look import Chosen, bench_checks, look, plan_in, planned
from proofbath.web.night_start import begin_night
from proofbath.web.sessions import Signed
from proofbath.web.templating import page
from proofbath.workshop.planning import due, plan_text
from proofbath.workshop.shop import Shop
from proofbath.workshop.story import batch_story

router = APIRouter(include_in_schema=False)
STAGES: tuple[Stage, ...] = ("as-found", "as-left", "trial")
LARGEST_PLAN = 200_000
Text = Annotated[str, Form(max_length=LARGEST_PLAN)]
Name = Annotated[str, Form(max_length=60)]
Word = Annotated[str, Form(max_length=200)]


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
    bench: Name,
    file: Annotated[UploadFile, File()],
) -> Response:
    """Show the night of a plan file."""
    chosen = Chosen(bench)
    try:
        text = file.file.read(LARGEST_PLAN + 1)
        if len(text) > LARGEST_PLAN:
            raise InputError(f"plan: larger than {LARGEST_PLAN // 1000} kB; is it a plan?")
        return _shown(request, signed, chosen, plan_in(text.decode("utf-8-sig")))
    except UnicodeDecodeError:
        return _shown(request, signed, chosen, faults=("plan: not UTF-8 text",))
    except ProofbathError as error:
        return _shown(request, signed, chosen, faults=error.faults)


@router.post("/night/check")
def check(
    request: Request,
    signed: Operator,
    bench: Name,
    plan: Text,
) -> Response:
    """Look at the bench at rest for a planned night; nothing is heated."""
    chosen = Chosen(bench)
    try:
        night = plan_in(plan)
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
) -> Response:
    """Start a planned night as its own process, held by who starts it."""
    chosen, night = Chosen(bench), None
    try:
        night = plan_in(plan)
        if not cautions_read:
            raise InputError("cautions: not acknowledged; read them and tick the box")
        word = " ".join(loaded.split())
        order = NightOrder(night, bench, signed.person.entry.name, clear_trip, attended, word)
        begin_night(request, order, stamp)
    except ProofbathError as error:
        return _shown(request, signed, chosen, night, faults=error.faults)
    return RedirectResponse(f"/bench?name={quote(bench, safe='')}", 303)


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
            context |= look(shop, plan, bench, frame.utc())
        except ProofbathError as error:
            faults += tuple(line for line in error.faults if line not in faults)
    hold = hub_of(request).holders.of(bench)
    context |= {
        "bench": bench,
        "benches": benches,
        "batches": [kept.entry.name for kept in reversed(shop.records.current(Batch))],
        "stages": STAGES,
        "profiles": PROFILES,
        "speed": frame.virtual_speed,
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

"""The Night page: a night planned from a batch or a plan file, looked at, checked and started."""

from __future__ import annotations

from typing import Annotated, Any, NamedTuple
from urllib.parse import quote

from fastapi import APIRouter, File, Form, Query, UploadFile
from fastapi.responses import RedirectResponse
from starlette.requests import Request
from starlette.responses import Response

from proofbath.bench.cautions import NIGHT as CAUTIONS
from proofbath.bench.night import LATCHED
from proofbath.bench.preflight import Check
from proofbath.errors import InputError, ProofbathError
from proofbath.files import read_toml
from proofbath.proof.verdict import RetestCause
from proofbath.run.plan import NightPlan, Stage
from proofbath.run.profiles import PROFILES
from proofbath.store.kinds import Batch
from proofbath.web.at_bench import NeedsPresence, at_bench
from proofbath.web.deps import CurrentShop, CurrentStamp, Operator, Viewer
from proofbath.web.frame import frame_of
from proofbath.web.launch import PLAN, NightOrder, reasons
from proofbath.web.live_hub import hub_of
from proofbath.web.night_look import Chosen, bench_checks, look, plan_in, planned
from proofbath.web.night_start import StartRefusedError, begin_night
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


class Before(NamedTuple):
    """What a person said before heat, to stand again in a form that was refused."""

    cautions_read: bool = False
    clear_trip: bool = False
    attended: bool = False
    loaded: str = ""


class Refused(NamedTuple):
    """Why a bench was not heated; `trip` names a latched trip that may be cleared in place."""

    faults: tuple[str, ...]
    trip: str | None


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
    again: bool = False,
) -> Response:
    """Show the choice of a night, and what it would be once a batch is chosen.

    `again`: the night of the bench's last start, which was refused.
    """
    if again:
        return _again(request, signed, bench)
    bench = bench or next(iter(shop.bench_files()), "")
    serials, retested = tuple(serial or ()), (retest, cause, record)
    chosen = Chosen(bench, batch, stage, serials, profile, ready_by, cold_by, retested)
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
    presence: NeedsPresence,
    bench: Name,
    plan: Text,
    cautions_read: Annotated[bool, Form()] = False,
    clear_trip: Annotated[bool, Form()] = False,
    attended: Annotated[bool, Form()] = False,
    loaded: Word = "",
    code: Annotated[str, Form(max_length=20)] = "",
) -> Response:
    """Start a planned night as its own process, held by who starts it.

    What comes of it is waited for: a bench that does not pass answers with its reason.
    """
    chosen, night, word = Chosen(bench), None, " ".join(loaded.split())
    said = Before(cautions_read, clear_trip, attended, word)
    try:
        night = plan_in(plan)
        if not cautions_read:
            raise InputError("cautions: not acknowledged; read them and tick the box")
        order = NightOrder(night, bench, signed.person.entry.name, clear_trip, attended, word)
        begin_night(request, order, stamp, presence, code)
    except StartRefusedError as error:
        refused = Refused(error.faults, error.trip)
        return _shown(request, signed, chosen, night, said=said, refused=refused)
    except ProofbathError as error:
        return _shown(request, signed, chosen, night, faults=error.faults, said=said)
    return RedirectResponse(f"/bench?name={quote(bench, safe='')}", 303)


def _again(request: Request, signed: Signed, bench: str) -> Response:
    """Show the plan of a bench's last start once more, with the reason why it came to nothing."""
    last = hub_of(request).launcher.last(bench)
    if last is None or last.state != "failed":
        return RedirectResponse(f"/bench?name={quote(bench, safe='')}", 303)
    plan = read_toml(last.folder / PLAN, NightPlan)
    said = Before(attended=last.attended, loaded=last.loaded)
    refused = Refused(reasons(last), last.trip)
    return _shown(request, signed, Chosen(bench), plan, said=said, refused=refused)


def _shown(
    request: Request,
    signed: Signed,
    chosen: Chosen,
    plan: NightPlan | None = None,
    faults: tuple[str, ...] = (),
    checks: list[Check] | None = None,
    said: Before | None = None,
    refused: Refused | None = None,
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
    hold = hub_of(request).holders.of(bench, frame.monotonic_s())
    latched = any(check.what == LATCHED and not check.ok for check in checks or ())
    context |= {
        "said": said or Before(),
        "refused": refused,
        "latched": latched or (said is not None and said.clear_trip),
        "needs_code": bool(bench) and at_bench(request).needed(bench),
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
    return page(request, "night.html", 422 if faults or refused else 200, faults=faults, **context)


def _due(shop: Shop, chosen: Chosen) -> list[str]:
    if not shop.records.current(Batch, name=chosen.batch):
        return []
    return due(batch_story(shop.records, chosen.batch), chosen.stage)

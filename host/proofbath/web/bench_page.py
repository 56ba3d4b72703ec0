"""The Bench page: what is true at a bench now, who holds it, and the acts that reach its run."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Annotated, Any
from urllib.parse import quote

from fastapi import APIRouter, Depends, Form
from fastapi.responses import RedirectResponse
from starlette.requests import Request
from starlette.responses import Response

from proofbath.bench.connect import control_path
from proofbath.bench.control_socket import NobodyThereError, command
from proofbath.errors import BenchFaultError, InputError, ProofbathError
from proofbath.store.kinds import Action, Person
from proofbath.store.records import Stamp
from proofbath.web.deps import CurrentShop, CurrentStamp, Operator, Viewer, need
from proofbath.web.frame import Frame, frame_of
from proofbath.web.holder import Holders
from proofbath.web.live_hub import hub_of
from proofbath.web.live_source import Window
from proofbath.web.sessions import Signed
from proofbath.web.templating import page
from proofbath.workshop.shop import Shop

router = APIRouter(include_in_schema=False)
BenchName = Annotated[str, Form(max_length=60)]
Taker = Annotated[Signed, Depends(need("operator", "administrator"))]

SAID = {
    "stop": "Stopped: heat and element currents go off. The bath stays hot and cools by itself.",
    "none": "No run was under way, so there was nothing to stop.",
    "pause": "Paused: the bath is kept where it is, currents are off. The run ends after an hour.",
    "resume": "The run goes on.",
    "finish": "What is left to record is left out; the bath cools down now.",
    "take": "You hold this bench now.",
    "leave": "Nobody holds this bench now.",
    "hand-over": "The bench is handed over.",
    "forget": "",
}
"""What a page says after an act, by its word in the address."""


@router.get("/bench")
def bench_page(request: Request, shop: CurrentShop, signed: Viewer, name: str = "") -> Response:
    """Show one bench, the first where none is named."""
    return _shown(request, signed, name, request.query_params.get("said", ""))


@router.post("/bench/stop")
def stop(
    request: Request, shop: CurrentShop, signed: Viewer, stamp: CurrentStamp, bench: BenchName = ""
) -> Response:
    """Stop the run of a bench, of every bench where none is named."""
    names = [bench] if bench else [*shop.bench_files()]
    stopped, faults = stop_runs(shop, names, signed.person.entry.name)
    for name in stopped:
        shop.records.add(Action(what=f"stop of bench {name}"[:200]), stamp)
    if faults:
        return _shown(request, signed, bench, faults=tuple(faults))
    return _back(bench, "stop" if stopped else "none")


def stop_runs(shop: Shop, names: list[str], by: str) -> tuple[list[str], list[str]]:
    """Ask the runs of benches to stop; return which were, and what went wrong."""
    stopped, faults = [], []
    for name in names:
        try:
            command(control_path(shop.bench(name)), f"stop by {by} from the page"[:200])
            stopped.append(name)
        except NobodyThereError:
            continue
        except BenchFaultError as error:
            faults.append(f"{name}: {error}. Press the emergency-stop button at the bench.")
    return stopped, faults


@router.post("/bench/{act}")
def act(
    request: Request, signed: Operator, stamp: CurrentStamp, act: str, bench: BenchName
) -> Response:
    """Pause a run, go on with it, or finish it early: for who holds the bench."""
    frame, hub = frame_of(request), hub_of(request)
    person = signed.person.entry.name

    def asked() -> str:
        if act not in ("pause", "resume", "finish"):
            raise InputError(f"{act}: no such act; there are pause, resume, finish")
        hub.holders.check(bench, person, frame.monotonic_s())
        command(control_path(frame.shop.bench(bench)), act)
        return f"{act} of the run on bench {bench}"

    return _done(request, signed, stamp, bench, act, asked)


@router.post("/bench/holder/take")
def take(request: Request, signed: Taker, stamp: CurrentStamp, bench: BenchName) -> Response:
    """Hold a bench that is free, idle, or that an administrator takes."""
    rights, person = signed.rights, signed.person.entry.name

    def taken() -> str:
        frame_of(request).shop.bench(bench)
        return _holders(request).take(
            bench, person, _now_s(request), administrator="administrator" in rights
        )

    return _done(request, signed, stamp, bench, "take", taken)


@router.post("/bench/holder/leave")
def leave(request: Request, signed: Taker, stamp: CurrentStamp, bench: BenchName) -> Response:
    """Leave a bench to whoever comes."""
    person = signed.person.entry.name

    def left() -> str:
        return _holders(request).let_go(bench, person, _now_s(request))

    return _done(request, signed, stamp, bench, "leave", left)


@router.post("/bench/holder/hand-over")
def hand_over(
    request: Request,
    signed: Taker,
    stamp: CurrentStamp,
    bench: BenchName,
    to: Annotated[str, Form(max_length=200)],
) -> Response:
    """Give the bench one holds to another operator."""
    person = signed.person.entry.name

    def given() -> str:
        if to not in operators(frame_of(request).shop):
            raise InputError(f"{to}: is no active operator; name one who may heat")
        return _holders(request).hand_over(bench, person, to, _now_s(request))

    return _done(request, signed, stamp, bench, "hand-over", given)


@router.post("/bench/start/forget")
def forget(request: Request, signed: Operator, bench: BenchName) -> Response:
    """Say no more of a start that was refused."""
    hub_of(request).launcher.forget(bench)
    return _back(bench, "forget")


def operators(shop: Shop) -> list[str]:
    """Return the names of the people who may heat."""
    people = [kept.entry for kept in shop.records.current(Person)]
    return sorted(p.name for p in people if p.active and "operator" in p.rights)


def _done(
    request: Request,
    signed: Signed,
    stamp: Stamp,
    bench: str,
    word: str,
    act: Callable[[], str],
) -> Response:
    """Carry out an act, put what happened on record, and show the bench with what came of it."""
    try:
        happened = act()
    except ProofbathError as error:
        return _shown(request, signed, bench, faults=error.faults)
    if happened:
        frame_of(request).shop.records.add(Action(what=happened[:200], detail=bench), stamp)
    return _back(bench, word)


def _back(bench: str, word: str) -> Response:
    where = f"name={quote(bench, safe='')}&" if bench else ""
    return RedirectResponse(f"/bench?{where}said={word}", 303)


def _shown(
    request: Request, signed: Signed, name: str, said: str = "", faults: tuple[str, ...] = ()
) -> Response:
    frame: Frame = frame_of(request)
    names = [*frame.shop.bench_files()]
    name = name if name in names else next(iter(names), "")
    context: dict[str, Any] = {
        "benches": names,
        "bench": name,
        "speed": frame.virtual_speed or 1.0,
        "state": None,
        "operators": operators(frame.shop),
        "may_heat": "operator" in signed.rights,
        "may_take": bool({"operator", "administrator"} & {*signed.rights}),
        "done": SAID.get(said, ""),
    }
    if name:
        try:
            state = hub_of(request).source(name).begin(Window(1.0, 10))["state"]
            shown = state["standing"] in ("running", "stale", "lost", "ended")
            trip = state["run"]["trip"] if shown else None
            context |= {"state": state, "trip": trip, "made": _clock(frame.utc())}
        except ProofbathError as error:
            faults += error.faults
    return page(request, "bench.html", 422 if faults else 200, faults=faults, **context)


def _clock(at: str) -> str:
    """Return a time, ISO 8601, by the clock of this computer."""
    return dt.datetime.fromisoformat(at).astimezone().strftime("%H:%M:%S")


def _holders(request: Request) -> Holders:
    return hub_of(request).holders


def _now_s(request: Request) -> float:
    return frame_of(request).monotonic_s()

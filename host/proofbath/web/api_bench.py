"""The API of benches: how one stands, who holds it, and the acts that reach its run."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, HTTPException, Query
from pydantic import Field
from starlette.requests import Request

from proofbath.bench.connect import control_path
from proofbath.bench.control_socket import command
from proofbath.description import Described
from proofbath.errors import InputError
from proofbath.store.kinds import Action
from proofbath.web.api_shapes import Shape
from proofbath.web.bench_page import Taker, operators, stop_runs
from proofbath.web.deps import (
    CurrentFrame,
    CurrentShop,
    CurrentStamp,
    Operator,
    Viewer,
    need,
)
from proofbath.web.live_hub import hub_of
from proofbath.web.live_source import Window
from proofbath.web.start_view import StartState, start_state
from proofbath.workshop.shop import Shop

router = APIRouter(prefix="/api", tags=["bench"], dependencies=[Depends(need("viewer"))])
BenchName = Annotated[str, Query(alias="name", max_length=60, description="The bench's name")]


class Stopped(Shape):
    """The benches whose runs were stopped, and what went wrong at others."""

    stopped: tuple[str, ...]
    faults: tuple[str, ...]


class StopOf(Described):
    """Which bench to stop; every bench of the workshop where none is named."""

    bench: Annotated[str, Field(max_length=60)] | None = None


class Act(Described):
    """What a run should do: pause (outputs hold the bath), resume, finish early."""

    act: Literal["pause", "resume", "finish"]


class Holder(Described):
    """What becomes of the holding of a bench; `to` names the operator it is handed over to."""

    act: Literal["take", "leave", "hand over"]
    to: Annotated[str, Field(max_length=200)] = ""


class Said(Shape):
    """What happened, in words."""

    happened: str


@router.get("/start")
def show_start(request: Request, shop: CurrentShop) -> StartState:
    """Return what the start page shows: each bench, tonight's list, last night's units."""
    return start_state(request, shop)


@router.get("/bench")
def show_bench(request: Request, shop: CurrentShop, name: BenchName) -> dict[str, Any]:
    """Return how a bench stands now, and its record thinned to 500 moments (°C, mm, A)."""
    known_bench(shop, name)
    begun = hub_of(request).source(name).begin(Window())
    return {"state": begun["state"], "history": begun["history"]}


@router.post("/bench/stop")
def stop(shop: CurrentShop, signed: Viewer, stamp: CurrentStamp, which: StopOf) -> Stopped:
    """Stop the run of a bench: heat and currents go off.

    It does not replace the emergency-stop button at the bench.
    """
    if which.bench is not None:
        known_bench(shop, which.bench)
    names = [*shop.bench_files()] if which.bench is None else [which.bench]
    stopped, faults = stop_runs(shop, names, signed.person.entry.name)
    for name in stopped:
        shop.records.add(Action(what=f"stop of bench {name}"[:200]), stamp)
    return Stopped(stopped=tuple(stopped), faults=tuple(faults))


@router.post("/bench/act")
def act(
    request: Request,
    frame: CurrentFrame,
    signed: Operator,
    stamp: CurrentStamp,
    name: BenchName,
    asked: Act,
) -> Said:
    """Pause a run, go on with it, or finish it early: for who holds the bench."""
    known_bench(frame.shop, name)
    hub_of(request).holders.check(name, signed.person.entry.name, frame.monotonic_s())
    command(control_path(frame.shop.bench(name)), asked.act)
    happened = f"{asked.act} of the run on bench {name}"
    frame.shop.records.add(Action(what=happened[:200], detail=name), stamp)
    return Said(happened=happened)


@router.post("/bench/holder")
def hold(
    request: Request,
    frame: CurrentFrame,
    signed: Taker,
    stamp: CurrentStamp,
    name: BenchName,
    asked: Holder,
) -> Said:
    """Take a bench, leave it, or hand it over to another operator."""
    known_bench(frame.shop, name)
    holders, person, now_s = hub_of(request).holders, signed.person.entry.name, frame.monotonic_s()
    if asked.act == "take":
        above = "administrator" in signed.rights
        happened = holders.take(name, person, now_s, administrator=above)
    elif asked.act == "leave":
        happened = holders.let_go(name, person, now_s)
    else:
        if asked.to not in operators(frame.shop):
            raise InputError(f"{asked.to}: is no active operator; name one who may heat")
        happened = holders.hand_over(name, person, asked.to, now_s)
    if happened:
        frame.shop.records.add(Action(what=happened[:200], detail=name), stamp)
    return Said(happened=happened)


def known_bench(shop: Shop, name: str) -> str:
    """Return the name of one of the workshop's benches; 404 for any other."""
    if name not in shop.bench_files():
        raise HTTPException(404, f"bench {name[:60]!r}: not in the workshop's file")
    return name

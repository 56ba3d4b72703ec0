"""A night started over the web: the one way from page and API to heat."""

from __future__ import annotations

from starlette.requests import Request

from proofbath.store.kinds import Action
from proofbath.store.records import Stamp
from proofbath.web.frame import frame_of
from proofbath.web.launch import NightOrder
from proofbath.web.live_hub import hub_of
from proofbath.web.night_look import look


def begin_night(request: Request, order: NightOrder, stamp: Stamp) -> str:
    """Start a night whose cautions were acknowledged as its own process; return what was done.

    Who starts it holds the bench.  Raises InputError for a plan that may not run, a bench that
    somebody else holds, or one that is in use.
    """
    frame, hub = frame_of(request), hub_of(request)
    plan, bench = order.plan, order.bench
    look(frame.shop, plan, bench, frame.utc())
    hub.holders.take(bench, order.by, frame.monotonic_s())
    folder = hub.launcher.start(order, stamp.at)
    what = f"start of a night on bench {bench}, cautions acknowledged"
    detail = f"batch {plan.batch}, {plan.stage}, files in {folder.name}"
    frame.shop.records.add(Action(what=what[:200], detail=detail), stamp)
    return what

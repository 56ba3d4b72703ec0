"""A night started over the web: the one way from page and API to heat."""

from __future__ import annotations

from starlette.requests import Request

from proofbath.errors import InputError
from proofbath.store.kinds import Action
from proofbath.store.records import Stamp
from proofbath.web.at_bench import AtBench
from proofbath.web.frame import frame_of
from proofbath.web.launch import NightOrder, reasons
from proofbath.web.live_hub import hub_of
from proofbath.web.night_look import look


class StartRefusedError(InputError):
    """The bench was looked at and is not heated; `trip` names a latched trip that is why."""

    def __init__(self, faults: tuple[str, ...], trip: str | None) -> None:
        super().__init__(*faults)
        self.trip = trip


def begin_night(
    request: Request, order: NightOrder, stamp: Stamp, presence: AtBench, code: str
) -> str:
    """Start a night whose cautions were acknowledged as its own process; return what was done.

    Who starts it holds the bench, and has read its code there.  Raises InputError for a plan that
    may not run, a bench that somebody else holds, a wrong code, a bench that is in use, and
    StartRefusedError for one that is seen not to pass while it is waited for.
    """
    frame, hub = frame_of(request), hub_of(request)
    plan, bench = order.plan, order.bench
    look(frame.shop, plan, bench, frame.utc())
    hub.holders.may_take(bench, order.by, frame.monotonic_s())
    presence.prove(bench, code)
    hub.holders.take(bench, order.by, frame.monotonic_s())
    folder = hub.launcher.start(order, stamp.at)
    came = hub.launcher.verdict(bench)
    refused = came is not None and came.state == "failed"
    what = f"start of a night on bench {bench}, cautions acknowledged"
    what += ", trip cleared" if order.clear_trip else ""
    what += ", refused" if refused else ""
    detail = f"batch {plan.batch}, {plan.stage}, files in {folder.name}"
    frame.shop.records.add(Action(what=what[:200], detail=detail), stamp)
    if came is not None and came.state == "failed":
        raise StartRefusedError(reasons(came), came.trip)
    presence.spend(bench)
    return what

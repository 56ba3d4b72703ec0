"""Nights on several benches at a time, as a workshop has them: each in a process of its own."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor, Future
from pathlib import Path

from proofbath.bench.night import Progressed
from proofbath.bench.ready import Ready
from proofbath.errors import BenchFaultError
from proofbath.run.plan import NightPlan
from proofbath.scenario.workshop import OPERATOR
from proofbath.workshop.nights import NightDone, shop_night
from proofbath.workshop.shop import open_shop

Tell = Callable[[Progressed], None]


def side_by_side(
    pool: Executor,
    shop: Path,
    nights: Sequence[tuple[str, NightPlan]],
    at: str,
    locks: Path,
    tell: Tell,
) -> list[NightDone]:
    """Run a night on each bench named, all but the first in `pool`; `tell` hears of the first.

    The others begin when the first one has, so that runs are numbered in their order.  Raises
    BenchFaultError for a night that does not end as planned.
    """
    (bench, plan), *others = nights
    waiting = list[Future[NightDone]]()

    def begin_others(_: Ready) -> None:
        waiting.extend(pool.submit(_night, shop, *other, at, locks) for other in others)

    first = _night(shop, bench, plan, at, locks, begin_others, tell)
    return [first, *(each.result() for each in waiting)]


def _night(
    path: Path,
    bench: str,
    plan: NightPlan,
    at: str,
    locks: Path,
    on_ready: Callable[[Ready], None] = lambda _: None,
    tell: Tell = lambda _: None,
) -> NightDone:
    with open_shop(path) as shop:
        done = shop_night(
            shop,
            plan,
            bench,
            OPERATOR,
            at,
            clear=True,
            on_ready=on_ready,
            on_progress=tell,
            folder=locks,
        )
    if done.outcome.status != "done":
        raise BenchFaultError(f"night {plan.stage} on {bench}: {done.outcome.reason}")
    return done

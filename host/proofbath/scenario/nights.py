"""Work on two benches at a time, as a workshop has it: the second in a process of its own."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor, Future
from pathlib import Path

from proofbath.bench.description import BenchFile
from proofbath.bench.night import Progressed
from proofbath.bench.ready import Ready
from proofbath.errors import BenchFaultError
from proofbath.run.plan import NightPlan
from proofbath.scenario.workshop import OPERATOR, calibrate_all, calibrate_elements
from proofbath.store.records import Stamp
from proofbath.workshop.nights import NightDone, shop_night
from proofbath.workshop.shop import Shop, open_shop

Tell = Callable[[Progressed], None]


def calibrate_both(
    pool: Executor, shop: Shop, benches: tuple[BenchFile, BenchFile], stamp: Stamp, locks: Path
) -> float:
    """Calibrate two virtual benches, the second with its element channels; return the hours."""
    first, second = benches
    waiting = list[Future[float]]()

    def begin(_: Ready) -> None:
        waiting.append(pool.submit(_calibrate_heated, shop.path, second, stamp, locks))

    hours = calibrate_all(shop, first, stamp, locks, begin)
    return hours + sum(each.result() for each in waiting)


def _calibrate_heated(path: Path, bench: BenchFile, stamp: Stamp, locks: Path) -> float:
    with open_shop(path) as shop:
        calibrate_elements(shop, bench, stamp)
        return calibrate_all(shop, bench, stamp, locks)


def night_on_both(
    pool: Executor,
    shop: Shop,
    nights: tuple[tuple[str, NightPlan], tuple[str, NightPlan]],
    at: str,
    locks: Path,
    tell: Tell,
) -> tuple[NightDone, NightDone]:
    """Run a night on each of two benches; `tell` hears of the first one's.

    The second begins when the first one has, so that runs are numbered in their order.  Raises
    BenchFaultError for a night that does not end as planned.
    """
    first, second = nights
    waiting = list[Future[NightDone]]()

    def begin(_: Ready) -> None:
        waiting.append(pool.submit(_night_at, shop.path, *second, at, locks))

    done = one_night(shop, *first, at, locks, begin, tell)
    return done, waiting[0].result()


def _night_at(path: Path, bench: str, plan: NightPlan, at: str, locks: Path) -> NightDone:
    with open_shop(path) as shop:
        return one_night(shop, bench, plan, at, locks)


def one_night(
    shop: Shop,
    bench: str,
    plan: NightPlan,
    at: str,
    locks: Path,
    on_ready: Callable[[Ready], None] = lambda _: None,
    tell: Tell = lambda _: None,
) -> NightDone:
    """Run a night on a bench; raises BenchFaultError where it does not end as planned."""
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

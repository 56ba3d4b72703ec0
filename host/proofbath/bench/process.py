"""The bench process: one night with the bench locked, commands taken, and a clean end."""

from __future__ import annotations

import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from types import FrameType

from proofbath.bench.clock import Clock, monotonic_s, seconds_of_day, utc_text
from proofbath.bench.connect import connected, control_path
from proofbath.bench.control_socket import ControlSocket
from proofbath.bench.description import BenchFile
from proofbath.bench.link import Link
from proofbath.bench.loop import Outcome
from proofbath.bench.night import Progressed, Remarks, Watch, check_night, run_night
from proofbath.bench.notices import Notices, keep_failures
from proofbath.bench.notify import Notifier
from proofbath.bench.ready import Ready
from proofbath.bench.record import times_ms
from proofbath.bench.resume import resume_night
from proofbath.bench.status import Status
from proofbath.bench.tune import Tuning, check_heating_test, read_tuning, run_heating_test
from proofbath.run.acts import Act, Stop
from proofbath.run.plan import NightPlan
from proofbath.store.journal import OPEN, Journal, RunLine
from proofbath.store.tables import Place, place_key

KILLED = "killed"
_SIGNALS = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)
)


def bench_night(
    plan: NightPlan,
    bench: BenchFile,
    place: Place,
    *,
    clear: bool = False,
    on_ready: Callable[[Ready], None] = lambda _: None,
    on_progress: Callable[[Progressed], None] = lambda _: None,
    remarks: Remarks = (),
    folder: Path | None = None,
    wall_s: Clock = monotonic_s,
    started: Callable[[], str] = utc_text,
) -> Outcome:
    """Run a night on the bench a file describes and return how it ended.

    The plan is checked before the bench is touched; `started` gives the run's time.  Signals to
    end the process stop the run and give everything back.  Raises what `connected` and
    `run_night` raise.
    """
    check_night(plan, bench, seconds_of_day())

    def run(link: Link, journal: Journal, watch: Watch) -> Outcome:
        return run_night(
            link,
            plan,
            bench,
            journal,
            clear=clear,
            watch=watch,
            remarks=remarks,
            started=started,
        )

    watch = Watch(on_ready, on_progress, deque(), wall_s)
    return _told(bench, place, watch, folder, run)


def bench_tune(
    bench: BenchFile,
    place: Place,
    *,
    clear: bool = False,
    on_ready: Callable[[Ready], None] = lambda _: None,
    on_progress: Callable[[Progressed], None] = lambda _: None,
    folder: Path | None = None,
    wall_s: Clock = monotonic_s,
) -> Tuning:
    """Run a heating test as the bench's own process and return what it found.

    The bench is given back before the record is read.  Raises what `run_heating_test` and
    `read_tuning` raise.
    """
    check_heating_test(bench)

    def run(link: Link, journal: Journal, watch: Watch) -> Outcome:
        return run_heating_test(link, bench, journal, clear=clear, watch=watch)

    watch = Watch(on_ready, on_progress, deque(), wall_s)
    outcome = _told(bench, place, watch, folder, run)
    with closing(Journal(place)) as journal:
        return read_tuning(journal, outcome.run_id)


def bench_resume(
    bench: BenchFile,
    place: Place,
    run_id: int | None = None,
    *,
    clear: bool = False,
    on_ready: Callable[[Ready], None] = lambda _: None,
    on_progress: Callable[[Progressed], None] = lambda _: None,
    folder: Path | None = None,
    wall_s: Clock = monotonic_s,
) -> Outcome:
    """Go on with a run as `resume_night` does, as the bench's own process."""

    def run(link: Link, journal: Journal, watch: Watch) -> Outcome:
        return resume_night(link, bench, journal, run_id, clear=clear, watch=watch)

    watch = Watch(on_ready, on_progress, deque(), wall_s)
    return _told(bench, place, watch, folder, run)


def _told(
    bench: BenchFile,
    place: Place,
    watch: Watch,
    folder: Path | None,
    run: Callable[[Link, Journal, Watch], Outcome],
) -> Outcome:
    """Carry a run as the bench's process, and tell people what they want to be told of it.

    The last notices go out when the bench has been given back and the run is closed.
    """
    if bench.notify.mail is not None:
        bench.notify.mail.check()
    begun: list[Ready] = []

    def ready(now: Ready) -> None:
        begun.append(now)
        watch.on_ready(now)

    with Notifier(bench.notify) as notifier:
        notices = Notices(notifier, bench.bench.name)
        told = watch._replace(on_ready=ready, on_note=notices.note)
        try:
            with _process(bench, place, told, folder) as (link, journal, attended):
                outcome = run(link, journal, attended)
        except BaseException as error:
            if begun:  # before, the person who started it is still there
                notices.failed(error)
            raise
        notices.ended(outcome)
    keep_failures(place, outcome, notifier.failures())
    return outcome


@contextmanager
def _process(
    bench: BenchFile, place: Place, watch: Watch, folder: Path | None
) -> Iterator[tuple[Link, Journal, Watch]]:
    status = Status(place_key(place))

    def tell(now: Progressed) -> None:
        status.take(now)
        watch.on_progress(now)

    with (
        connected(bench, folder) as link,
        closing(Journal(place)) as journal,
        closing(ControlSocket(control_path(bench, folder), watch.acts, status.text)),
        _stopped_by_signals(watch.acts),
    ):
        close_killed(journal, bench.bench.name)
        yield link, journal, watch._replace(on_progress=tell)


def close_killed(journal: Journal, bench_name: str) -> list[RunLine]:
    """Close the runs of a bench whose process was killed, and return them.

    Only for the holder of the bench's lock: to it, an open run cannot be a running one.
    """
    killed = [r for r in journal.runs() if r.status == OPEN and r.head.bench == bench_name]
    for run in killed:
        rows = journal.samples(run.run_id)
        t_s = float(times_ms(rows)[-1]) / 1000 if len(rows) else 0.0
        reason = "its process ended without a word; the controller's lease switched it off"
        journal.reopen(run.run_id).close(t_s, KILLED, reason)
    return killed


@contextmanager
def _stopped_by_signals(acts: deque[Act]) -> Iterator[None]:
    """Turn the first signal to end into a stop; the second one interrupts at once."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def stop(number: int, _: FrameType | None) -> None:
        if acts and isinstance(acts[-1], Stop):
            raise KeyboardInterrupt
        acts.append(Stop(f"stopped by {signal.Signals(number).name}"))

    before = {number: signal.signal(number, stop) for number in _SIGNALS}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)

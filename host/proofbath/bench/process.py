"""The bench process: one night with the bench locked, commands taken, and a clean end."""

from __future__ import annotations

import signal
import threading
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from types import FrameType

from proofbath.bench.after_trip import ENDED_EARLY, SIMULATED, Bounds, CoolingWatch
from proofbath.bench.clock import Clock, monotonic_s, seconds_of_day, utc_text
from proofbath.bench.connect import connected, control_path, simulated
from proofbath.bench.control_socket import ControlSocket, Standing
from proofbath.bench.convert import Converter
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
from proofbath.errors import HeatOnError
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
    on_alarm: Callable[[str], None] = lambda _: None,
    remarks: Remarks = (),
    folder: Path | None = None,
    wall_s: Clock = monotonic_s,
    started: Callable[[], str] = utc_text,
) -> Outcome:
    """Run a night on the bench a file describes and return how it ended.

    The plan is checked before the bench is touched; `started` gives the run's time.  Signals to
    end the process stop the run and give everything back.  Behind a run that ended early the
    bench is watched until it is cool; `on_alarm` is told of heat that goes on.  Raises what
    `connected` and `run_night` raise.
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

    watch = Watch(on_ready, on_progress, deque(), wall_s, on_alarm=on_alarm)
    return _told(bench, place, watch, folder, run)


def bench_tune(
    bench: BenchFile,
    place: Place,
    *,
    clear: bool = False,
    on_ready: Callable[[Ready], None] = lambda _: None,
    on_progress: Callable[[Progressed], None] = lambda _: None,
    on_alarm: Callable[[str], None] = lambda _: None,
    folder: Path | None = None,
    wall_s: Clock = monotonic_s,
) -> Tuning:
    """Run a heating test as the bench's own process and return what it found.

    The bench is given back before the record is read.  Raises what `run_heating_test` and
    `read_tuning` raise, HeatOnError where something still heated behind the test.
    """
    check_heating_test(bench)

    def run(link: Link, journal: Journal, watch: Watch) -> Outcome:
        return run_heating_test(link, bench, journal, clear=clear, watch=watch)

    watch = Watch(on_ready, on_progress, deque(), wall_s, on_alarm=on_alarm)
    outcome = _told(bench, place, watch, folder, run)
    if outcome.heated:
        raise HeatOnError(*outcome.heated)
    with closing(Journal(place)) as journal:
        return read_tuning(journal, outcome.run_id)


def bench_resume(
    bench: BenchFile,
    place: Place,
    run_id: int | None = None,
    *,
    clear: bool = False,
    attended: bool = False,
    on_ready: Callable[[Ready], None] = lambda _: None,
    on_progress: Callable[[Progressed], None] = lambda _: None,
    on_alarm: Callable[[str], None] = lambda _: None,
    folder: Path | None = None,
    wall_s: Clock = monotonic_s,
) -> Outcome:
    """Go on with a run as `resume_night` does, as the bench's own process."""

    def run(link: Link, journal: Journal, watch: Watch) -> Outcome:
        return resume_night(
            link, bench, journal, run_id, clear=clear, watch=watch, attended=attended
        )

    watch = Watch(on_ready, on_progress, deque(), wall_s, on_alarm=on_alarm)
    return _told(bench, place, watch, folder, run)


def _told(
    bench: BenchFile,
    place: Place,
    watch: Watch,
    folder: Path | None,
    run: Callable[[Link, Journal, Watch], Outcome],
) -> Outcome:
    """Carry a run as the bench's process, and tell people what they want to be told of it.

    How it ended is told when the bench has been given back and the run is closed; then the bench
    of a run that ended early is watched.
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
            with _process(bench, place, told, folder) as held:
                outcome = run(held.link, held.journal, held.watch)
                notices.ended(outcome)
                outcome = outcome._replace(heated=held.stay(outcome))
        except BaseException as error:
            if begun:  # before, the person who started it is still there
                notices.failed(error)
            raise
    keep_failures(place, outcome, notifier.failures())
    return outcome


class _Held:
    """A bench held by this process: for a run, then to watch it."""

    def __init__(
        self, bench: BenchFile, link: Link, journal: Journal, watch: Watch, status: Status
    ) -> None:
        self.link = link
        self.journal = journal
        self.watch = watch._replace(on_progress=self._tell)
        self.status = status
        self._bench = bench
        self._on_progress = watch.on_progress
        self._cooling: CoolingWatch | None = None

    def standing(self) -> Standing:
        """What this process does with the bench now; may be asked from another thread."""
        cooling = self._cooling
        if cooling is None:
            return Standing.RUN
        return Standing.HEATING if cooling.heats else Standing.COOLING

    def stay(self, outcome: Outcome) -> tuple[str, ...]:
        """Watch the bench behind a run that ended early; return what still heated."""
        if outcome.status not in ENDED_EARLY:
            return ()
        cooling = self._cooling = CoolingWatch(
            self.link,
            self.journal.behind(outcome.run_id),
            Converter(self._bench.calibration),
            self.watch,
            SIMULATED if simulated(self._bench) else Bounds(),
            outcome.status,
        )
        return cooling.run()

    def _tell(self, now: Progressed) -> None:
        self.status.take(now)
        self._on_progress(now)


@contextmanager
def _process(bench: BenchFile, place: Place, watch: Watch, folder: Path | None) -> Iterator[_Held]:
    with connected(bench, folder) as link, closing(Journal(place)) as journal:
        held = _Held(bench, link, journal, watch, Status(place_key(place)))
        path = control_path(bench, folder)
        with (
            closing(ControlSocket(path, watch.acts, held.status.text, held.standing)),
            _stopped_by_signals(watch.acts),
        ):
            close_killed(journal, bench.bench.name)
            yield held


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
        acts.append(Stop(f"stopped by {signal.Signals(number).name}", by_signal=True))

    before = {number: signal.signal(number, stop) for number in _SIGNALS}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)

"""The host stays with a bench whose run ended early, until the bath is cool or a person leaves.

It sends no demand: it only reads, journals, and says what still heats.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from proofbath.bench.convert import Converter
from proofbath.bench.link import Link
from proofbath.bench.loop import COMMIT_S, gap_text
from proofbath.bench.night import Progressed, Watch
from proofbath.bench.notes import note_text
from proofbath.bench.port import PortLostError
from proofbath.errors import BenchFaultError
from proofbath.run.acts import Act, Leave, Stop
from proofbath.run.after_trip import AfterTrip, StillOn
from proofbath.run.note import Note
from proofbath.run.profiles import OPEN_C
from proofbath.run.progress import Progress
from proofbath.run.reading import Reading
from proofbath.run.states import Phase
from proofbath.store.journal import RunWriter
from proofbath.wire.session import Event, Sampled
from proofbath.wire.table import State

WATCHED = "watched"
"""Kind of the event that says how long a bench was watched behind its run, and why no longer."""
ENDED_EARLY = frozenset(p.value for p in (Phase.TRIPPED, Phase.STOPPED, Phase.LOST))
SILENCE_S = 10.0
LABEL = f"run over, watched until below {OPEN_C:.0f} °C (Ctrl-C leaves)"


class Bounds(NamedTuple):
    """How long is watched at most, of the bench's own time."""

    most_s: float = 24 * 3600.0
    heating_s: float = math.inf
    """The same from when something was said to heat."""


SIMULATED = Bounds(3600.0, 600.0)
"""A virtual bath scalds nobody, and nobody can pull its isolator."""


class CoolingWatch:
    """One watch; `run` returns what still heated."""

    def __init__(
        self,
        link: Link,
        writer: RunWriter,
        converter: Converter,
        watch: Watch,
        bounds: Bounds,
        ended: str = Phase.TRIPPED.value,
    ) -> None:
        """`ended` says how the run ended."""
        self._link = link
        self._writer = writer
        self._converter = converter
        self._watch = watch
        self._bounds = bounds
        self._ended = ended
        self._after = AfterTrip()
        self._first_s = self._t_s = self._alarm_s = math.nan
        self._heard_s = link.port.now_s()
        self._committed_s = watch.wall_s()
        self._reading: Reading | None = None
        self._heated: list[str] = []
        self._heats = False

    @property
    def heats(self) -> bool:
        """Whether something still heats now."""
        return self._heats

    def run(self) -> tuple[str, ...]:
        """Watch until the end; an interrupt at the keyboard is one."""
        why = ""
        try:
            while not why:
                why = self._turn()
        except PortLostError as error:
            why = f"the controller is gone ({error}); look at the bench"
        except KeyboardInterrupt:
            why = "left at the keyboard"
        watched_s = self._t_s - self._first_s
        bath_c = self._after.bath_c
        if not math.isnan(watched_s):
            at = "no reading" if math.isnan(bath_c) else f"{bath_c:.1f} °C"
            text = f"{why}; watched for {watched_s / 60:.0f} min, bath at {at}"
            self._writer.note(self._t_s, WATCHED, text)
        self._commit()
        return tuple(self._heated)

    def _turn(self) -> str:
        """Read once; return why the watch is over, or nothing."""
        acts = self._watch.acts
        while acts:
            if leaves(acts.popleft()):
                return "a person took over"
        for event in self._link.poll():
            self._take(event)
        now_s = self._link.port.now_s()
        if now_s - self._heard_s >= SILENCE_S:
            return f"no sample for {SILENCE_S:.0f} s; look at the bench"
        if self._watch.wall_s() - self._committed_s >= COMMIT_S:
            self._commit()
        return self._over()

    def _over(self) -> str:
        if self._after.is_cool(self._t_s):
            return f"the bath is below {OPEN_C:.0f} °C and nothing heats it"
        if self._t_s - self._first_s >= self._bounds.most_s:
            return f"not watched for longer than {self._bounds.most_s / 3600:.0f} h"
        if self._t_s - self._alarm_s >= self._bounds.heating_s:
            return "the heat is on and was said to be; nobody pulls a virtual isolator"
        return ""

    def _take(self, event: Event) -> None:
        if not isinstance(event, Sampled):
            return
        self._t_s = event.time_ms / 1000
        self._heard_s = self._link.port.now_s()
        if math.isnan(self._first_s):
            self._first_s = self._t_s
        if event.missing:
            self._writer.note(self._t_s, "gap", gap_text(event))
        self._writer.append(event.sample)
        reading = self._reading = self._converter.reading(event)
        if reading.state is State.LIVE:
            return  # the lease of the run that ended runs out
        for still_on in self._after.take(reading):
            self._alarm(still_on)
        if self._heats and not self._after.heats:
            self._say("warning", f"what still heated is off; bath at {self._after.bath_c:.1f} °C")
        self._heats = self._after.heats

    def _alarm(self, still_on: StillOn) -> None:
        self._alarm_s = self._t_s if math.isnan(self._alarm_s) else self._alarm_s
        text = f"{still_on.headline}. {still_on.text}"
        self._heated.append(text)
        self._say("alarm", text)
        self._watch.on_alarm(text)

    def _say(self, code: str, text: str) -> None:
        """Told at once: people must not wait for a journal that may be the fault itself."""
        note = Note(self._t_s, code, text, bath_c=self._after.bath_c)
        self._writer.note(self._t_s, code, note_text(note))
        self._watch.on_note(self._writer.run_id, note)

    def _commit(self) -> None:
        self._committed_s = self._watch.wall_s()
        try:
            self._writer.commit()
        except BenchFaultError:
            return  # tried again with the next; the run itself is closed
        if self._reading is not None:
            progress = Progress(1.0, 0.0, -1, LABEL)
            alarm = self._heated[-1] if self._heats and self._heated else ""
            now = Progressed(
                self._reading, LABEL, progress, self._writer.run_id, self._ended, alarm=alarm
            )
            self._watch.on_progress(now)


def leaves(act: Act) -> bool:
    """Whether a person who asks for this ends the watch: a STOP on a page asks for less heat."""
    return isinstance(act, Leave) or (isinstance(act, Stop) and act.by_signal)

"""The loop: port, session, journal, calibration, sequencer and back, one turn a read.

A sample is answered at once; it is shown to nobody before its chunk is committed.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from math import inf
from typing import NamedTuple

from proofbath.bench.clock import Clock
from proofbath.bench.convert import Converter, release
from proofbath.bench.link import Link
from proofbath.bench.notes import note_text
from proofbath.bench.port import PortLostError
from proofbath.bench.refusals import refusal_text
from proofbath.bench.supply_feed import SupplyFeed
from proofbath.errors import BenchFaultError, InputError
from proofbath.run.acts import Act, Stop
from proofbath.run.elements import GuardInForce
from proofbath.run.note import Note
from proofbath.run.reading import RELEASE, Demand, Reading
from proofbath.run.sequencer import Sequencer
from proofbath.run.states import Phase
from proofbath.store.journal import RunWriter
from proofbath.wire import session
from proofbath.wire.session import Disconnected, Garbled, LinkSilent, Rebooted, Sampled
from proofbath.wire.table import (
    Input,
    Limits,
    LimitsInForce,
    Refused,
    Sample,
    State,
    Trip,
    TripReason,
)

SILENCE_S = 1.0
COMMIT_S = 1.0
"""Most wall time between two commits."""
JOURNAL_PATIENCE_S = 10.0
"""How long a journal that cannot be written is tried again before the run is ended."""
RELEASE_PATIENCE_S = 4.0
GUARD_EVERY_S = 1.0
"""Limits that are not answered are written again after this."""


class Outcome(NamedTuple):
    """How a run ended."""

    run_id: int
    status: str
    reason: str
    heated: tuple[str, ...] = ()
    """What still heated, or may have, behind a run that ended early."""


def gap_text(event: Sampled) -> str:
    """Return what a sample says of those lost before it."""
    text = f"{event.missing} samples lost before {event.sample.sequence}"
    if event.slip_ms:
        text += f", controller's clock slipped by {event.slip_ms / 1000:+.1f} s"
    return text


class Loop:
    """One run on one link; `committed` is the newest reading that is safe in the journal."""

    def __init__(
        self,
        link: Link,
        sequencer: Sequencer,
        writer: RunWriter,
        converter: Converter,
        limits: Limits,
        wall_s: Clock,
        on_commit: Callable[[Reading], None] = lambda _: None,
        acts: deque[Act] | None = None,
        source: SupplyFeed | None = None,
        on_note: Callable[[Note], None] = lambda _: None,
    ) -> None:
        self.committed: Reading | None = None
        self.acts: deque[Act] = deque() if acts is None else acts
        """What persons ask for; taken within a turn, may be filled by another thread."""
        self._link = link
        self._sequencer = sequencer
        self._writer = writer
        self._converter = converter
        self._limits = limits
        self._wall_s = wall_s
        self._on_commit = on_commit
        self._source = source
        self._on_note = on_note
        self._untold: list[Note] = []
        self._committed_s = self._tried_s = wall_s()
        self._heard_s = link.port.now_s()
        self._reading: Reading | None = None
        self._t_s = 0.0
        self._oddities: dict[str, tuple[int, str]] = {}
        self._guard_sent_s = -inf
        self._ended_by: tuple[str, ...] = ()
        """What the source said when it ended the run; it is part of the run's reason."""

    def run(self) -> Outcome:
        """Carry the run to its end, give all outputs back and close it in the journal.

        Raises BenchFaultError when the journal cannot be written, after the outputs are back.
        """
        status, reason = "failed", "ended by a fault of the program"
        try:
            while not self._sequencer.ended:
                self._turn()
            status, reason = self._sequencer.phase.value, self._sequencer.reason
        except KeyboardInterrupt:
            status, reason = "stopped", "interrupted at the keyboard"
        except Exception as error:
            reason = str(error)
            raise
        finally:
            try:
                if self._source is not None:
                    self._source.off(self._t_s)
                self._give_back()
            finally:
                status, reason = self._end_source(status, reason)
                self._note_oddities()
                self._writer.close(self._t_s, status, reason)
                self._show()
        return Outcome(self._writer.run_id, status, reason)

    def _turn(self) -> None:
        while self.acts:
            self._sequencer.step(self.acts.popleft())
        try:
            for event in self._link.poll():
                self._take(event)
        except PortLostError as error:
            self._sequencer.step(Disconnected(str(error)))
        if self._link.port.now_s() - self._heard_s >= SILENCE_S:
            self._heard_s = self._link.port.now_s()
            self._writer.note(self._t_s, "silent", f"no valid sample for {SILENCE_S:.0f} s")
            self._sequencer.step(LinkSilent())
        for note in self._sequencer.take_notes():
            self._writer.note(self._t_s, note.code, note_text(note))
            self._untold.append(note)
        now_s = self._wall_s()
        if now_s - self._tried_s >= COMMIT_S:
            self._tried_s = now_s
            self._commit(now_s)

    def _take(self, event: session.Event) -> None:
        if isinstance(event, Sampled):
            self._sampled(event)
        elif isinstance(event, Rebooted):
            self._writer.note(self._t_s, "rebooted", f"controller started anew, {event.boot_id}")
            self._sequencer.step(event)
        elif isinstance(event, Garbled):
            self._odd("garbled", event.reason)
        elif isinstance(event, Refused):
            self._odd("refused", refusal_text(event.reason))
        elif isinstance(event, LimitsInForce):
            self._limits_in_force(event)
        elif isinstance(event, Trip):
            reason = TripReason(event.reason).name.lower()
            text = f"{event.trip_number} {reason}, value {event.value}, limit {event.limit}"
            self._writer.note(self._t_s, "trip", text)

    def _sampled(self, event: Sampled) -> None:
        sample = event.sample
        self._keep(event)
        reading = self._reading = self._converter.reading(event)
        asked = self._sequencer.step(reading)
        if self._source is not None and asked is not None:
            asked = self._sourced(self._source, reading, asked)
        per_k = self._sequencer.guard_to_set
        if per_k is not None and sample.state != State.LIVE:
            self._set_guard(sample, per_k)
        elif asked is RELEASE:
            self._link.send(release(sample))
        elif asked is not None:
            self._link.send(self._converter.demand(asked, sample, self._limits))

    def _set_guard(self, sample: Sample, per_k: tuple[int, ...]) -> None:
        """Write the limits anew with what the elements are guarded by; nothing else changes."""
        at_rest = not sample.outputs and bool(sample.inputs & Input.CONTACTOR_OPEN)
        if at_rest and self._t_s - self._guard_sent_s >= GUARD_EVERY_S:
            self._guard_sent_s = self._t_s
            self._limits = self._limits._replace(element_per_k=per_k)
            self._link.send(self._limits)

    def _limits_in_force(self, event: LimitsInForce) -> None:
        if event.valid and event[1:] == tuple(self._limits):
            self._sequencer.step(GuardInForce(self._limits.element_per_k))
            text = "elements guarded by {} (1e-5/K)".format(
                ", ".join(map(str, self._limits.element_per_k))
            )
            self._writer.note(self._t_s, "limits", text)
        else:
            self._odd("limits", "limits in force differ from those that were written")

    def _sourced(self, source: SupplyFeed, reading: Reading, asked: Demand) -> Demand:
        try:
            return source.demand(reading, asked)
        except (BenchFaultError, InputError) as error:
            if not self._sequencer.ended:
                self._ended_by = error.faults
            return self._sequencer.step(Stop(str(error))) or RELEASE

    def _end_source(self, status: str, reason: str) -> tuple[str, str]:
        """Close the source and return how the run ended, with what it may have left on."""
        if self._source is None:
            return status, reason
        try:
            self._source.close()
        except (BenchFaultError, InputError) as error:
            self._writer.note(self._t_s, "supply", str(error))
            news = [fault for fault in error.faults if fault not in self._ended_by]
            ended = "failed" if status == Phase.DONE.value else status
            return ended, "; ".join([*filter(None, [reason]), *news])
        return status, reason

    def _keep(self, event: Sampled) -> None:
        self._t_s = event.time_ms / 1000
        self._heard_s = self._link.port.now_s()
        if event.missing:
            self._writer.note(self._t_s, "gap", gap_text(event))
        self._writer.append(event.sample)

    def _odd(self, kind: str, text: str) -> None:
        count, _ = self._oddities.get(kind, (0, ""))
        self._oddities[kind] = (count + 1, text)

    def _note_oddities(self) -> None:
        for kind, (count, text) in self._oddities.items():
            self._writer.note(self._t_s, kind, f"{count} lines, last: {text}")
        self._oddities.clear()

    def _commit(self, now_s: float) -> None:
        self._note_oddities()
        try:
            self._writer.commit()
        except BenchFaultError:
            if now_s - self._committed_s >= JOURNAL_PATIENCE_S:
                raise
            return
        self._committed_s = now_s
        self._show()

    def _show(self) -> None:
        untold, self._untold = self._untold, []
        for note in untold:
            self._on_note(note)
        if self._reading is not None and self._reading is not self.committed:
            self.committed = self._reading
            self._on_commit(self._reading)

    def _give_back(self) -> None:
        """Answer samples with a lease of 0 until the controller is no longer LIVE."""

        def answers(event: session.Event) -> bool:
            if not isinstance(event, Sampled):
                return False
            self._keep(event)
            live = event.sample.state == State.LIVE
            if live:
                self._link.send(release(event.sample))
            return not live

        try:
            if self._link.ask(None, answers, RELEASE_PATIENCE_S) is None:
                self._writer.note(self._t_s, "unreleased", "controller not seen to switch off")
        except PortLostError as error:
            self._writer.note(self._t_s, "unreleased", f"left to its lease: {error}")

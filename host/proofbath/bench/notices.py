"""What a run has to tell people: its trip, its end, its delay, its alarms, as notices."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing

from proofbath.bench.clock import utc_text
from proofbath.bench.loop import Outcome
from proofbath.bench.notify import Kind, Notice, Notifier
from proofbath.run.note import Note
from proofbath.run.states import Phase
from proofbath.store.journal import Journal
from proofbath.store.tables import Place

UNSENT = "unsent"
"""Kind of the event that says which notice did not reach its people."""
_KINDS: dict[str, Kind] = {"alarm": "alarm", "late": "delay"}


class Notices:
    """Turns a run's story and end into notices; nothing here waits or raises."""

    def __init__(self, notifier: Notifier, bench: str, at: Callable[[], str] = utc_text) -> None:
        self._notifier = notifier
        self._bench = bench
        self._at = at

    def note(self, run_id: int, note: Note) -> None:
        """Tell of a note that is worth a person's while."""
        kind = _KINDS.get(note.code)
        if kind is not None:
            self._post(kind, run_id, f"{note.text} (bath at {note.bath_c:.1f} °C)")

    def ended(self, outcome: Outcome) -> None:
        """Tell how a run ended."""
        kind: Kind = "trip" if outcome.status == Phase.TRIPPED.value else "end"
        reason = f": {outcome.reason}" if outcome.reason else ""
        self._post(kind, outcome.run_id, f"{outcome.status}{reason}")

    def failed(self, error: BaseException) -> None:
        """Tell of a run that was ended by a fault instead of ending."""
        self._post("end", 0, f"failed: {error or type(error).__name__}")

    def _post(self, kind: Kind, run_id: int, text: str) -> None:
        run = f"run {run_id}" if run_id else "run under way"
        self._notifier.post(Notice(kind, self._at(), self._bench, run, text))


def keep_failures(place: Place, outcome: Outcome, failures: tuple[str, ...]) -> None:
    """Note in a closed run which notices were not delivered, and close it again as it was."""
    if not failures:
        return
    with closing(Journal(place)) as journal:
        t_s = journal.events(outcome.run_id)[-1].t_s
        writer = journal.reopen(outcome.run_id)
        for text in failures:
            writer.note(t_s, UNSENT, text)
        writer.close(t_s, outcome.status, outcome.reason)

"""One run followed from its journal: its record so far, and how it stands."""

from __future__ import annotations

import json
import math
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError

from proofbath.bench.calibration import Calibration
from proofbath.bench.description import BenchFile
from proofbath.bench.night import CYCLES, HEATING_TEST, check_night
from proofbath.bench.notes import NOTE_CODES, note_in
from proofbath.bench.passes import MEASURED
from proofbath.errors import InputError, RecordError
from proofbath.run.note import Note
from proofbath.run.plan import NightPlan
from proofbath.run.profile import Leg
from proofbath.store.journal import EventLine, RunHead
from proofbath.web.history import BATH, SETPOINT, Calibrator, Floats, History, Track
from proofbath.web.live_chunks import News, RunState
from proofbath.web.live_setpoint import SetpointReplay
from proofbath.web.live_words import outputs_in_words
from proofbath.web.present import Sampled, speed_of
from proofbath.wire.table import DUTY_FULL, STATIONS, State, StationFlag, TripReason
from proofbath.wire.trip_words import TRIP_WORDS, flag_names

EVENTS_SHOWN = 12
_TOLD = frozenset({"warning", "alarm", "late", "cycle_spoiled", "run_end"})
_TOLD_PLAIN = frozenset({"gap", "silent", "rebooted", "unreleased", "supply", "resumed"})
_STATES = {State.TRIPPED: "tripped", State.READY: "ready, outputs off", State.LIVE: "live"}


class LiveRun:
    """A run that grows; `take` what was committed, in order."""

    def __init__(self, state: RunState, head: RunHead) -> None:
        """Begin to follow a run; raises RecordError when its texts cannot be read."""
        try:
            self._bench = BenchFile.model_validate_json(head.bench_text)
            calibration = Calibration.model_validate_json(head.calibration_text)
            heating_test = head.plan_text == HEATING_TEST
            plan = None if heating_test else NightPlan.model_validate_json(head.plan_text)
        except ValidationError as error:
            raise RecordError(f"run {state.run_id}: its description cannot be read") from error
        self.state = state
        self.head = head
        self.plan: NightPlan | None = plan
        self.history = History()
        self._calibrator = Calibrator(calibration)
        self._setpoint: SetpointReplay | None = None
        self._last: NDArray[Any] | None = None
        self._notes: list[Note] = []
        self._told: list[dict[str, Any]] = []
        self._over = False
        self._ended_s = math.inf
        """Controller's clock when the run ended; behind it a run asks for nothing."""
        self.alarm = ""
        """What stands since the run ended, such as heat that goes on."""

    def take(self, state: RunState, news: News) -> Track | None:
        """Take what was committed; return the new moments, None when there are none."""
        self.state = state
        notes = [note_in(event) for event in news.events if event.kind in NOTE_CODES]
        self._notes += [note for note in notes if note.code == "step_begin"]
        for event in news.events:
            self._tell(event)
            if event.kind == CYCLES:
                self._setpoint = self._replay(json.loads(event.text))
        if not len(news.rows):
            return None
        track = self._calibrator.track(news.rows)
        count = int(np.searchsorted(track.t_s, self._ended_s, side="right"))
        if self._setpoint is not None and count:
            asked = Track(track.t_s[:count], track.values[:count])
            asked.values[:, SETPOINT] = self._follow(
                self._setpoint, asked, news.rows[:count], notes
            )
        self._last = news.rows[-1]
        self.history.add(track)
        return track

    @property
    def newest_s(self) -> float:
        """The controller's clock at the newest moment; NaN before the first."""
        return float(self.history.track().t_s[-1]) if self.history.count else math.nan

    def newest(self) -> dict[str, Any]:
        """Return the newest moment's numbers as `Track.to_json` gives columns."""
        track = self.history.track()
        columns = Track(track.t_s[-1:], track.values[-1:]).to_json()
        return {
            "bath_c": _only(columns["bath_c"]),
            "setpoint_c": _only(columns["setpoint_c"]),
            "lift_mm": [_only(column) for column in columns["lift_mm"]],
            "element_a": [_only(column) for column in columns["element_a"]],
        }

    def sampled(self, not_before_s: float | None) -> Sampled | None:
        """Return when the newest sample was taken, None before the first.

        `not_before_s` is a look at which it was not there yet, None where it was at the first.
        """
        if not self.history.count:
            return None
        passed_s = self.newest_s - float(self.history.track().t_s[0])
        return Sampled(self.head.started, passed_s, speed_of(self._bench), not_before_s)

    def describe(self) -> dict[str, Any]:
        """Return how the run stands, ready for JSON."""
        return {
            "run_id": self.state.run_id,
            "status": self.state.status,
            "reason": self.state.reason,
            "started": self.head.started,
            "batch": self.plan.batch if self.plan else "heating test",
            "stage": self.plan.stage if self.plan else "",
            "step": self._step(),
            "events": self._told[-EVENTS_SHOWN:],
            **self._now(),
        }

    def _replay(self, cycles: list[int]) -> SetpointReplay | None:
        if self.plan is None:
            return None
        try:
            legs: tuple[Leg, ...] = check_night(self.plan, self._bench).legs
        except InputError:  # planned by rules that have changed since
            return None
        kept = tuple(
            leg for leg in legs if leg.step.purpose not in MEASURED or leg.step.cycle in cycles
        )
        return SetpointReplay(kept, self._bench.bath, self._bench.gains())

    def _follow(
        self, replay: SetpointReplay, track: Track, rows: NDArray[Any], notes: list[Note]
    ) -> Floats:
        """Return the set-point; from the first over-stroke on the run goes no hotter."""
        bath_c = track.values[:, BATH]
        over = rows["station_flags"] & StationFlag.OVER_STROKE
        before = 0 if self._last is None else self._last["station_flags"] & StationFlag.OVER_STROKE
        new = (over > before).any(axis=1)
        at = int(new.argmax()) if new.any() else len(rows)
        calm = replay.follow(track.t_s[:at], bath_c[:at], notes)
        if at == len(rows):
            return calm
        replay.over_stroke(float(bath_c[at]))
        return np.concatenate([calm, replay.follow(track.t_s[at:], bath_c[at:], ())])

    def _tell(self, event: EventLine) -> None:
        self._over, self.alarm = standing_alarm(event, self._over, self.alarm)
        if event.kind in ("run_end", "resumed"):
            self._ended_s = event.t_s if self._over else math.inf
        if event.kind in _TOLD:
            text, kind = note_in(event).text, event.kind
        elif event.kind in _TOLD_PLAIN:
            text, kind = event.text, event.kind
        else:
            return
        told = {"kind": kind.replace("_", " "), "text": text.replace("_", " ")}
        self._told.append({"t_s": event.t_s, **told})

    def _step(self) -> str:
        return self._notes[-1].text if self._notes else ""

    def _now(self) -> dict[str, Any]:
        row = self._last
        if row is None:
            return {"begun_s": 0.0, "t_s": None, "trip": None, "stations": self._stations(None)}
        t_s = self.history.track().t_s
        return {
            "begun_s": float(t_s[0]),
            "t_s": round(float(t_s[-1]), 1),
            "controller": _STATES[State(int(row["state"]))],
            "duty": int(row["duty"]) / DUTY_FULL,
            "shown": outputs_in_words(int(row["inputs"]), int(row["outputs"])),
            "trip": _trip(row),
            "stations": self._stations(row),
        }

    def _stations(self, row: NDArray[Any] | None) -> list[dict[str, Any]]:
        places = {place.station: place for place in self.plan.station} if self.plan else {}
        return [
            {
                "station": n,
                "serial": places[n].serial if n in places else "",
                "role": places[n].role if n in places else "empty",
                "flags": flag_names(int(row["station_flags"][n - 1])) if row is not None else [],
            }
            for n in range(1, STATIONS + 1)
        ]


def standing_alarm(event: EventLine, over: bool, alarm: str) -> tuple[bool, str]:
    """Return whether a run is over after an event, and what stands since then.

    Behind the end an alarm says what still heats, a warning that it heats no more.
    """
    if event.kind in ("run_end", "resumed"):
        return event.kind == "run_end", ""
    if over and event.kind == "alarm":
        return over, note_in(event).text
    return over, "" if event.kind == "warning" else alarm


def _only(column: list[float | None]) -> float | None:
    return column[0] if column else None


def _trip(row: NDArray[Any]) -> dict[str, str] | None:
    reason = TripReason(int(row["trip_reason"]))
    if State(int(row["state"])) is not State.TRIPPED or reason is TripReason.NONE:
        return None
    saying = TRIP_WORDS[reason]
    return {"reason": reason.name.lower(), "what": saying.what, "remedy": saying.remedy}

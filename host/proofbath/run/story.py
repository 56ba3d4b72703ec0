"""The story of a run: its phase by the transition table, why it ended, notes for the journal."""

from __future__ import annotations

import math

from proofbath.run.note import UNFED, Branch, FedBy, Note, Turn
from proofbath.run.profile import AnyStep
from proofbath.run.states import END, Kind, Phase, next_phase
from proofbath.wire.watches import Said


class Story:
    """What is told of a run; whoever carries it out keeps clock, bath and step up to date."""

    def __init__(self, leg: int) -> None:
        self.phase = Phase.WAITING
        self.reason = ""
        self.leg = leg
        self.step: AnyStep | None = None
        self.branch = Branch.LEVEL
        self.t_s = math.nan
        self.bath_c = math.nan
        self._notes: list[Note] = []

    @property
    def ended(self) -> bool:
        """Whether the run is over."""
        return self.phase in END

    def happen(self, kind: Kind, reason: str = "") -> None:
        """Follow the table; the first reason to end is kept and noted."""
        before, self.phase = self.phase, next_phase(self.phase, kind)
        if before not in END and self.phase in END:
            self.reason = reason
            self.say("run_end", f"{self.phase.value}: {reason}" if reason else self.phase.value)

    def say(
        self,
        code: str,
        text: str,
        rate_k_per_min: float = math.nan,
        turn: Turn | None = None,
        fed: FedBy = UNFED,
    ) -> None:
        """Add a note."""
        step = self.step
        cycle, purpose = (step.cycle, step.purpose) if step else (0, "")
        branch = self.branch.value if step else ""
        self._notes.append(
            Note(
                t_s=self.t_s,
                code=code,
                text=text,
                leg=self.leg,
                cycle=cycle,
                purpose=purpose,
                branch=branch,
                bath_c=self.bath_c,
                rate_k_per_min=rate_k_per_min,
                turn=turn,
                set_a=fed.set_a,
                set_v=fed.set_v,
            )
        )

    def tell(self, code: str, said: Said) -> None:
        """Add a note of an alarm, of its station where it is of one."""
        self.say(code, said.text)
        self._notes[-1] = self._notes[-1]._replace(
            station=said.station, watch=said.code, of_unit=said.of_unit
        )

    def take_notes(self) -> list[Note]:
        """Return the notes since the last call and forget them."""
        notes, self._notes = self._notes, []
        return notes

"""What the host watches while a run goes on and behind it: each alarm's words, defined once.

Whoever sees the sign says it by `Watch.NAME.say(...)`; the book lists the same words.
"""

from __future__ import annotations

import re
from enum import Enum, StrEnum
from typing import NamedTuple

SUFFERED_C = 150.0
"""A core beyond this may have harmed wax and sleeve (common practice, no source)."""


class Telling(NamedTuple):
    """An alarm's words with places for figures, and what a person does about it."""

    words: str
    remedy: str
    ends: bool = False
    """Whether the run ends, everything off."""


_FLAG_ROW = "the flag's row in [trips](trips.md#a-stations-own-faults)"
_AFTER = "**pull Q1 now**; keep away from the bath; a licensed electrician finds the contact"


class Watch(Enum):
    """One alarm of the host."""

    STATION_FLAGGED = Telling(
        "station {station}: {flags}; it is fed no more, the others go on", _FLAG_ROW
    )
    ZERO_MOVED = Telling(
        "station {station}: zero moved by {moved_mm:+.3f} mm since the first cycle, limit"
        " {limit_mm:.2f} mm",
        "gauge sticks or slipped; a valve that no longer closes",
    )
    GAUGE_STANDS_STILL = Telling(
        "station {station}: gauge stands at {lift_mm:.2f} mm where its unit must move; does gauge"
        " or valve hang?",
        "look at gauge, pin and valve in the morning; no value from it. Told where the unit's own"
        " curve of this night says that it moves, or where it is still shut at its type's"
        " full-open",
    )
    PROBES_CHANGED = Telling(
        "bath minus guard probe changed by {change_k:+.2f} K since the start, limit {limit_k:.2f}"
        " K; check both probes at the ice point",
        "stratified, or a probe drifts: `calibrate probe --check` before you certify. The limit is"
        " 0.3 K on a steady bath; while the bath moves, 40 s times its rate is added, because"
        " probes of unlike lag differ by that",
    )
    CAPACITY_CHANGED = Telling(
        "heat capacity changed by {change_percent:+.0f} % since the first rise, limit"
        " {limit_percent:.0f} %; look at the level of the bath",
        "level; lid",
    )
    RUN_LATE = Telling(
        "the run takes much longer than planned; cooling or heat has changed",
        "cooling water, lid, heater; `proofbath tune` anew",
    )
    ELEMENT_DRY = Telling(
        "station {station}: element is dry or its wax is gone: {why}; it is not fed in this run,"
        " the others go on; take it out and look",
        "air round it, a bubble, a wax that leaked: cold bath first, then vent, reseat, look;"
        " measure it again in another run",
    )
    ELEMENT_ALONE = Telling(
        "station {station}: {why}; it is not fed while nobody stays, the others go on; measure it"
        " on an attended run",
        "nothing would see it run hot: resistance that hardly grows with heat, a bath that was warm"
        " already, bad leads; stay for it, or begin cold",
    )
    ELEMENT_ATTENDED = Telling(
        "station {station}: {why}; stay with it while its element is fed",
        "the same on a night somebody stays with: keep looking at its current and lift",
    )
    ELEMENT_SUFFERED = Telling(
        "station {station}: its element was at about {core_c:.0f} °C; over {limit_c:.0f} °C wax and"
        " sleeve may have suffered; note it on the unit, and do not send it out without a new"
        " measurement",
        "as it says (common practice, no source)",
    )
    RISE_ENDED = Telling("a unit is over its stroke: the rise ends here", _FLAG_ROW)

    TRIPPED = Telling("controller tripped: {reason}", "[trips](trips.md)", ends=True)
    HEAT_MISSING = Telling(
        "heat does not reach the bath: rose {rose_k:.1f} K in {window_min:.0f} min where"
        " {expected_k:.1f} K belong to the heat given; look for a dead heater, an open lid, a"
        " boiling bath, or tune the bath anew",
        "as it says; never top up a hot bath by pouring",
        ends=True,
    )
    HEAT_UNSEEN = Telling(
        "heat does not reach the probes: lid open, boiling, or probes stuck; look at lid, level and"
        " both probes before any heat",
        "the controller stopped by itself and latched nothing: lid on, level, both probes in the"
        " liquid and moving; then `proofbath resume`",
        ends=True,
    )
    GUARD_NOT_TAKEN = Telling(
        "controller does not take the elements' limits within {patience_s:.0f} s; start again, and"
        " replace the controller if it happens again",
        "as it says",
        ends=True,
    )
    BATH_BEYOND_PLAN = Telling(
        "bath at {bath_c:.1f} °C is heated beyond {most_c:.1f} °C, the most the plan allows; look"
        " for heat that does not come from the bench",
        "something else heats: **isolate**",
        ends=True,
    )
    CONTROLLER_DOES_NOT_TRIP = Telling(
        "{wrong} and the controller does not trip; isolate the bench, replace the controller",
        "**isolate**: its guard fails",
        ends=True,
    )
    STEP_NOT_OVER = Telling(
        "step {step} is not over after {limit_min:.0f} min, bath at {bath_c:.1f} °C; check heater,"
        " lid and bath model",
        "heater, lid; `proofbath tune`",
        ends=True,
    )
    STIRRER_STANDS = Telling(
        "stirrer does not turn after {patience_s:.0f} s; check its drive",
        "drive, coupling, rotation sensor",
        ends=True,
    )
    DEMANDS_NOT_TAKEN = Telling(
        "controller takes no demand for {limit_s:.0f} s; check its refusals",
        "versions of host and firmware; the journal says what was refused",
        ends=True,
    )
    NO_SAMPLES = Telling(
        "no sample for {limit_s} s; check the cable", "cable, controller's supply", ends=True
    )
    LINK_LOST = Telling("link lost: {why}", "the same; then `proofbath resume`", ends=True)
    CONTROLLER_RESTARTED = Telling(
        "controller restarted; look at the bench before any heat",
        "its supply; then look, then `--clear-trip`",
        ends=True,
    )
    SUPPLY_STUCK = Telling(
        "supply: still {current_a:.3f} A at station {station} {patience_s:g} s after 0 A was"
        " asked, limit {limit_a:g} A; give back the bench and switch the supply off by hand",
        "**by hand, now**",
        ends=True,
    )

    HEATER_STILL_LIVE = Telling("the heater takes current with its relay off", _AFTER)
    CONTACTOR_STILL_CLOSED = Telling(
        "K1 was told to open and stays closed (its mirror contact is open); K2 alone may keep the"
        " heat off",
        _AFTER,
    )
    ELEMENT_STILL_FED = Telling(
        "the element at station {station} takes {current_a:.2f} A with the feed off",
        "**pull Q1 and unplug the element supply now**",
    )
    OUTPUTS_STILL_ON = Telling(
        "the controller still switches {outputs} on, and nobody asks it to",
        "**pull Q1 now**; replace the controller",
    )
    BATH_STILL_CLIMBS = Telling(
        "the bath climbed by {climb_k:.1f} K to {bath_c:.1f} °C with everything off, limit"
        " {limit_k:.1f} K",
        _AFTER,
    )

    def say(self, **figures: object) -> str:
        """Return the words with their figures put in."""
        return self.value.words.format(**figures)

    @property
    def pattern(self) -> str:
        """The words with "…" in the place of each figure, as the book lists them."""
        return re.sub(r"\{[^}]*\}", "…", self.value.words)

    @property
    def behind_the_run(self) -> bool:
        """Whether it is watched for behind the end of a run."""
        return self in BEHIND


BEHIND = (
    Watch.HEATER_STILL_LIVE,
    Watch.CONTACTOR_STILL_CLOSED,
    Watch.ELEMENT_STILL_FED,
    Watch.OUTPUTS_STILL_ON,
    Watch.BATH_STILL_CLIMBS,
)


class Before(StrEnum):
    """What the host asks for before anything is heated; without it the start is refused."""

    PLAN = "plan checked"
    FILL = "fill checked"
    AT_REST = "bench checked at rest"
    FLOAT = "level switch proven since the filling"
    PROOF = "proof checked"
    WORD = "person's word asked"
    GUIDE = "loading guide"
    REFERENCE = "reference resistors compared"

"""The person at the keyboard who measures by hand: types readings, is asked for instruments."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TypeVar

import click

from proofbath.bench.hand_typed import answered, ask_number, ask_yes
from proofbath.cli.hand_options import Instruments
from proofbath.cli.person import KeyboardPerson
from proofbath.curve.hand_instruments import (
    LIFT_TOOLS,
    MOST_U_K,
    MOST_U_MM,
    THERMOMETERS,
    Usual,
)
from proofbath.curve.hand_record import MOST_V

K = TypeVar("K", bound=str)


class HandKeyboard(KeyboardPerson):
    """Reads thermometer and caliper, and types."""

    def line(self, prompt: str) -> str:
        """Return a typed line."""
        return str(click.prompt(prompt, default="", show_default=False, err=True))

    def wait(self, text: str) -> None:
        """Show a line and wait for Enter."""
        answered(self.line(f"{text}  [Enter]"))

    def agrees(self, question: str) -> bool:
        """Ask for yes or no; no unless yes is typed."""
        return ask_yes(self.line, self.tell, question)

    def volts(self) -> float:
        """Return the voltage that a supply set by hand shows; NaN where it shows none."""
        prompt = "Volts it shows (Enter if none)"
        return ask_number(self.line, self.tell, prompt, MOST_V, math.nan)

    def ask_instruments(self, said: Instruments) -> Instruments:
        """Ask for what the options left open, each with what is usual for its kind."""
        thermometer = said.thermometer or self._kind("thermometer", THERMOMETERS, "K")
        thermometer_u_k = said.thermometer_u_k or self._expanded_u(
            "thermometer, K", THERMOMETERS[thermometer], MOST_U_K
        )
        tool = said.lift_tool or self._kind("lift tool", LIFT_TOOLS, "mm")
        lift_u_mm = said.lift_u_mm or self._expanded_u(
            "lift reading, mm", LIFT_TOOLS[tool], MOST_U_MM
        )
        stirred, heater = said.stirred, said.heater
        if stirred is None:
            stirred = self.agrees("Will the water be stirred all the time?")
        if heater is None:
            heater = said.element_ohm is not None or self.agrees(
                "Will the heater in the element be used?"
            )
        return said._replace(
            thermometer=thermometer,
            lift_tool=tool,
            thermometer_u_k=thermometer_u_k,
            lift_u_mm=lift_u_mm,
            stirred=stirred,
            heater=heater,
        )

    def _kind(self, what: str, kinds: Mapping[K, Usual], unit: str) -> K:
        for kind, usual in kinds.items():
            self.tell(f"  {kind}: {usual.words}; usually within {usual.expanded_u:g} {unit}")
        while True:
            chosen = answered(self.line(f"Kind of {what} ({', '.join(kinds)})")).lower()
            for kind in kinds:
                if kind == chosen:
                    return kind
            self.tell(f"{chosen[:40]!r} is no kind of {what}; type one of them, or end")

    def _expanded_u(self, what: str, usual: Usual, most: float) -> float:
        text = f"Expanded uncertainty of the {what}; by its certificate, or Enter for the usual"
        prompt = f"{text} {usual.expanded_u:g}"
        return ask_number(self.line, self.tell, prompt, most, usual.expanded_u)

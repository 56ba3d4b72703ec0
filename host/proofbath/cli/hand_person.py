"""The person at the keyboard who measures by hand: types readings, is asked for instruments."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeVar

import click

from proofbath.cli.hand_options import Instruments
from proofbath.cli.person import KeyboardPerson
from proofbath.curve.hand_instruments import LIFT_TOOLS, THERMOMETERS, Usual

K = TypeVar("K", bound=str)


class HandKeyboard(KeyboardPerson):
    """Reads thermometer and caliper, and types."""

    def line(self, prompt: str) -> str:
        """Return a typed line."""
        return str(click.prompt(prompt, default="", show_default=False, err=True))

    def volts(self) -> float:
        """Return the voltage that a supply set by hand shows; NaN where it shows none."""
        return float(click.prompt("Volts it shows (nan if none)", type=float, err=True))

    def ask_instruments(self, said: Instruments) -> Instruments:
        """Ask for what the options left open, each with what is usual for its kind."""
        thermometer = said.thermometer or self._kind("thermometer", THERMOMETERS, "K")
        thermometer_u_k = said.thermometer_u_k or self._expanded_u(
            "thermometer, K", THERMOMETERS[thermometer]
        )
        tool = said.lift_tool or self._kind("lift tool", LIFT_TOOLS, "mm")
        lift_u_mm = said.lift_u_mm or self._expanded_u("lift reading, mm", LIFT_TOOLS[tool])
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
        chosen = click.prompt(f"Kind of {what}", type=click.Choice(list(kinds)), err=True)
        return next(kind for kind in kinds if kind == chosen)

    def _expanded_u(self, what: str, usual: Usual) -> float:
        positive = click.FloatRange(min=0, min_open=True)
        text = f"Expanded uncertainty of the {what}; by its certificate, or usual for the kind"
        return float(click.prompt(text, type=positive, default=usual.expanded_u, err=True))

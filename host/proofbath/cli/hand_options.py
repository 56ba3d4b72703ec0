"""Options of a hand measurement: with what it is made, and the supply that feeds the element."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any, NamedTuple, TypeVar

import click
from pydantic import ValidationError

from proofbath.bench.hand_heater import HandSupply
from proofbath.control.boiling import pressure_kpa, saturation_c
from proofbath.curve.hand_instruments import (
    LIFT_TOOLS,
    THERMOMETERS,
    HandSetup,
    Heater,
    LiftKind,
    LiftTool,
    Thermometer,
    ThermometerKind,
    usual_lift_tool,
    usual_thermometer,
)
from proofbath.errors import InputError

F = TypeVar("F", bound=Callable[..., Any])


class Instruments(NamedTuple):
    """What the options say of instruments; None is not said."""

    thermometer: ThermometerKind | None
    thermometer_name: str
    thermometer_u_k: float | None
    lift_tool: LiftKind | None
    lift_tool_name: str
    lift_u_mm: float | None
    stirred: bool | None
    threshold_mm: float | None
    heater: bool | None
    element_ohm: float | None
    lead_ohm: float | None
    altitude_m: float | None
    pressure_kpa: float | None

    def setup(self) -> HandSetup:
        """Return the whole setup; raises InputError for what is missing or impossible."""
        if self.thermometer is None or self.lift_tool is None:
            raise InputError("say with what it was read: --thermometer KIND and --lift-tool KIND")
        heater = Heater() if self.heater or self.element_ohm else None
        return self.over(
            HandSetup(
                thermometer=usual_thermometer(self.thermometer),
                lift_tool=usual_lift_tool(self.lift_tool),
                heater=heater,
            )
        )

    def over(self, kept: HandSetup) -> HandSetup:
        """Return a setup with what the options say put over it; raises InputError.

        Whether there is a heater stays as it is kept: the file's columns hang on it.
        """
        if self.element_ohm and kept.heater is None:
            raise InputError("--element-ohm: it was begun without a heater; begin another file")
        try:
            return HandSetup(
                thermometer=self._thermometer(kept),
                lift_tool=self._lift_tool(kept),
                stirred=kept.stirred if self.stirred is None else self.stirred,
                threshold_mm=self.threshold_mm or kept.threshold_mm,
                heater=None if kept.heater is None else self._heater(kept.heater),
                boiling_c=self._boiling_c() or kept.boiling_c,
            )
        except ValidationError as error:
            raise InputError(*_faults(error)) from error

    def _thermometer(self, kept: HandSetup) -> Thermometer:
        base = usual_thermometer(self.thermometer) if self.thermometer else kept.thermometer
        return usual_thermometer(
            base.kind, self.thermometer_u_k or base.expanded_u_k, self.thermometer_name or base.name
        )

    def _lift_tool(self, kept: HandSetup) -> LiftTool:
        base = usual_lift_tool(self.lift_tool) if self.lift_tool else kept.lift_tool
        return usual_lift_tool(
            base.kind, self.lift_u_mm or base.expanded_u_mm, self.lift_tool_name or base.name
        )

    def _heater(self, kept: Heater) -> Heater:
        return Heater(
            element_ohm=self.element_ohm or kept.element_ohm,
            lead_ohm=kept.lead_ohm if self.lead_ohm is None else self.lead_ohm,
            lead_expanded_u_ohm=kept.lead_expanded_u_ohm,
            meter_expanded_u_percent=kept.meter_expanded_u_percent,
        )

    def _boiling_c(self) -> float | None:
        """Return where water boils here, None where neither altitude nor pressure is given."""
        if self.altitude_m is not None and self.pressure_kpa is not None:
            raise InputError(
                "give --pressure-kpa or --altitude-m, not both; the day's pressure is better"
            )
        if self.pressure_kpa is not None:
            return round(saturation_c(self.pressure_kpa), 2)
        if self.altitude_m is not None:
            return round(saturation_c(pressure_kpa(self.altitude_m)), 2)
        return None


class Supply(NamedTuple):
    """The supply of the options; no address is no supply."""

    supply_url: str | None
    supply_baud: int
    supply_max_a: float
    supply_max_v: float

    def settings(self) -> HandSupply | None:
        """Return the supply's settings, None without one; raises InputError."""
        if self.supply_url is None:
            return None
        try:
            return HandSupply(
                url=self.supply_url,
                baud=self.supply_baud,
                max_current_a=self.supply_max_a,
                max_voltage_v=self.supply_max_v,
            )
        except ValidationError as error:
            raise InputError(*_faults(error)) from error


def _faults(error: ValidationError) -> list[str]:
    return [
        f"{'.'.join(map(str, e['loc']))}: {e['msg'].lower()}, given {e['input']!r}"
        for e in error.errors(include_url=False)
    ]


def instrument_options(function: F) -> F:
    """Add the options of the instruments, handed over as `instruments`."""
    return _gathered(function, "instruments", Instruments, _INSTRUMENTS)


def supply_options(function: F) -> F:
    """Add the options of the supply, handed over as `supply`."""
    return _gathered(function, "supply", Supply, _SUPPLY)


def _gathered(function: F, name: str, kind: type[Any], options: tuple[Any, ...]) -> F:
    @wraps(function)
    def gathered(**given: Any) -> Any:
        mine = kind(**{field: given.pop(field) for field in kind._fields})
        return function(**{name: mine}, **given)

    for option in reversed(options):
        gathered = option(gathered)
    return gathered  # type: ignore[return-value]


_INSTRUMENTS = (
    click.option(
        "--thermometer", type=click.Choice(list(THERMOMETERS)), help="Kind; asked for otherwise."
    ),
    click.option("--thermometer-name", default="", help="Its number or name."),
    click.option(
        "--thermometer-u-k",
        type=click.FloatRange(min=0, min_open=True),
        help="Its expanded uncertainty (k = 2) in K; usual for the kind otherwise.",
    ),
    click.option(
        "--lift-tool",
        type=click.Choice(list(LIFT_TOOLS)),
        help="What the lift is read with; asked for otherwise.",
    ),
    click.option("--lift-tool-name", default="", help="Its number or name."),
    click.option(
        "--lift-u-mm",
        type=click.FloatRange(min=0, min_open=True),
        help="Its expanded uncertainty (k = 2) in mm; usual for the kind otherwise.",
    ),
    click.option("--stirred/--not-stirred", default=None, help="Stirred all the time?"),
    click.option(
        "--threshold-mm",
        type=click.FloatRange(min=0, max=1, min_open=True),
        help="Lift that defines start-to-open; 0.1 otherwise.",
    ),
    click.option(
        "--heater/--no-heater", default=None, help="Has the element a heater that is used?"
    ),
    click.option(
        "--element-ohm",
        type=click.FloatRange(min=0, min_open=True),
        help="Resistance of the element's heater, where no voltage is read.",
    ),
    click.option(
        "--lead-ohm",
        type=click.FloatRange(min=0),
        help="Resistance of the leads between supply and element; 0.2 otherwise.",
    ),
    click.option(
        "--altitude-m",
        type=click.FloatRange(-500, 6000),
        help="Height of the place: where water boils, typed as  boil  (weather moves it by 0.5 K).",
    ),
    click.option(
        "--pressure-kpa",
        type=click.FloatRange(45, 110),
        help="The day's pressure at the place, not reduced to sea level: better than the altitude.",
    ),
)
_SUPPLY = (
    click.option(
        "--supply",
        "supply_url",
        help="A supply that speaks SCPI: device path or socket://HOST:PORT; set by hand otherwise.",
    ),
    click.option("--supply-baud", type=int, default=9600, show_default=True, help="Its speed."),
    click.option(
        "--supply-max-a", type=float, default=1.0, show_default=True, help="No more A than this."
    ),
    click.option(
        "--supply-max-v", type=float, default=13.5, show_default=True, help="No more V than this."
    ),
)

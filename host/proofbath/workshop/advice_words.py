"""Rework advice in the terms of the workshop: what to do, what comes of it, what to mind."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from proofbath.proof.lift_curve import START_MM, Interval
from proofbath.proof.rework_act import ReworkAct
from proofbath.proof.rework_kind import Refillable, Setting
from proofbath.proof.trim_act import Act
from proofbath.proof.trim_advice import Cause, Forecast, TrimAction, TrimAdvice
from proofbath.proof.trim_policy import Target
from proofbath.workshop.rework_words import signed, source_in_words

REGULATES_MM = (1.0, 4.0)
MOLTEN = "hold molten wax until no bubbles rise, and fill it warm (common practice)"
INSULATION = "measure the heater's insulation again after closing, before it is heated"


class Told(NamedTuple):
    """What the words of one unit's advice are made of."""

    advice: TrimAdvice
    target: Target
    now_c: Interval
    to_do: ReworkAct | None
    kind: Refillable | Setting
    heated: bool
    give_up_min: float
    unmeasured: tuple[str, ...]
    """Donor types of which no unit was measured."""
    engine_offset_k: tuple[float, float] | None
    """How much warmer engines of the type run than the start on the bench, with u."""


def target_in_words(target: Target) -> str:
    """Return where a unit is to come to, guard band taken off."""
    return (
        f"{target.lift_mm:g} mm at {target.wanted_c:.1f} °C, accepted"
        f" {target.lower_c:.2f} to {target.upper_c:.2f}"
    )


def lines_of(told: Told) -> Iterator[str]:
    """Yield the advice line by line, what to do first."""
    advice, target = told.advice, told.target
    at = f"{target.lift_mm:g} mm at {told.now_c.mean:.1f} °C"
    accepted = f"{target.lower_c:.1f} to {target.upper_c:.1f} °C"
    if advice.action is TrimAction.LEAVE:
        yield f"leave it: {at} lies inside {accepted}"
        return
    if advice.action is TrimAction.GIVE_UP:
        yield f"give up, fail it and give it back: {_cause(told)}"
    if advice.act is not None and told.to_do is not None:
        yield _to_do(advice.act, told)
        yield from _beside(advice, told)
    for name in told.unmeasured:
        yield f"no unit of {name} was measured as made: measure one, then its wax can be advised"


def act_in_words(act: Act, to_do: ReworkAct, kind: Refillable | Setting) -> str:
    """Return what is to be done in one round."""
    return ", ".join((*_parts(act, to_do, kind), "measure again"))


def _to_do(act: Act, told: Told) -> str:
    assert told.to_do is not None
    done = act_in_words(act, told.to_do, told.kind)
    forecast = told.advice.forecast
    if forecast is None:
        return done
    found = forecast.at_target_c
    return (
        f"{done}; expected {told.target.lift_mm:g} mm at {found.mean:.1f} °C, 95 %"
        f" {found.low:.1f} to {found.high:.1f}"
    )


def _parts(act: Act, to_do: ReworkAct, kind: Refillable | Setting) -> Iterator[str]:
    if act.opened:
        yield "open it"
    if act.mass_out_mg:
        yield f"{act.mass_out_mg:g} mg out"
    if act.mass_in_mg:
        about = "about " if act.pin_stick_out_mm is not None else ""
        yield f"{about}{act.mass_in_mg:g} mg of {source_in_words(to_do)} in"
    if act.pin_stick_out_mm is not None:
        yield _pin(act.pin_stick_out_mm, to_do)
    if act.shim_mm:
        called = "set it" if isinstance(kind, Setting) else "shims"
        yield f"{called} {signed(act.shim_mm)} mm"
    if act.opened:
        yield _closing(act, to_do)


def _pin(stands_mm: float, to_do: ReworkAct) -> str:
    if to_do.pin_after_mm is not None:
        return f"fill until the cold pin stands {to_do.pin_after_mm:.2f} mm"
    if abs(stands_mm) < 0.005:
        return "fill until the cold pin stands as it did before it was opened"
    way = "further out" if stands_mm > 0 else "less far out"
    return f"fill until the cold pin stands {abs(stands_mm):.2f} mm {way} than before"


def _closing(act: Act, to_do: ReworkAct) -> str:
    if to_do.closing_after_mm is not None:
        return f"close to {to_do.closing_after_mm:.2f} mm"
    if act.closing_mm:
        way = "deeper" if act.closing_mm > 0 else "less deep"
        return f"close it {abs(act.closing_mm):.2f} mm {way} than before"
    return "close as it was"


def _beside(advice: TrimAdvice, told: Told) -> Iterator[str]:
    if advice.forecast is not None:
        yield _whole_curve(advice.forecast)
        yield _engine(advice.forecast, told.engine_offset_k)
    chance = advice.chance_inside
    if chance is not None:
        yield (
            f"chance to land inside {chance:.0%}; about {advice.expected_min:.0f} minutes of work"
            " to its end"
        )
    if len(advice.rounds) > 1:
        rounds = "; then ".join(", ".join(_short(act)) for act in advice.rounds)
        yield f"foreseen rounds, each advised anew after measuring: {rounds}"
    act = advice.act
    if act is not None and act.mass_in_mg:
        yield MOLTEN
    if act is not None and act.opened and told.heated:
        yield INSULATION


def _short(act: Act) -> Iterator[str]:
    if act.mass_out_mg:
        yield f"{act.mass_out_mg:g} mg out"
    if act.mass_in_mg:
        yield f"{act.mass_in_mg:g} mg in"
    if act.shim_mm:
        yield f"{signed(act.shim_mm)} mm"
    if act.closing_mm:
        yield f"closed {signed(act.closing_mm)} mm deeper"


def _whole_curve(found: Forecast) -> str:
    rows = [
        f"{mm:g} mm at {_with_interval(at)} °C" if at else f"{mm:g} mm is beyond its stop"
        for mm, at in found.temperature_c
    ]
    rows.append(f"closes at {_with_interval(found.closing_c)} °C")
    rows.append(f"hysteresis {_with_interval(found.hysteresis_k)} K")
    if found.full_lift_mm is not None:
        rows.append(f"full lift {_with_interval(found.full_lift_mm)} mm")
    cold = found.cold_mm
    rows.append(
        f"at 20 °C shut by {-cold.mean:.1f} mm ({-cold.high:.1f} to {-cold.low:.1f})"
        if cold.high < 0
        else f"at 20 °C perhaps open ({cold.low:+.1f} to {cold.high:+.1f} mm)"
    )
    return f"then {', '.join(rows)}"


def _engine(found: Forecast, offset_k: tuple[float, float] | None) -> str:
    """Return where the engine will regulate: by the type's logs, else by the usual lifts."""
    if offset_k is not None:
        start = next(at for mm, at in found.temperature_c if mm == START_MM)
        assert start is not None
        mean_k, u_k = offset_k
        half_k = ((start.high - start.low) ** 2 / 4 + (1.96 * u_k) ** 2) ** 0.5
        mean_c = start.mean + mean_k
        return (
            f"the engine then regulates at {mean_c:.1f} °C, 95 % {mean_c - half_k:.1f} to"
            f" {mean_c + half_k:.1f} (by engine logs of the type)"
        )
    known = [at for mm, at in found.temperature_c if mm in (2.0, 4.0) and at is not None]
    span = f"{known[0].mean:.0f} to {known[-1].mean:.0f} °C on the bench" if known else "there"
    return (
        f"an engine regulates at 1 to 4 mm of lift (common practice, no source): 2 to 4 mm are"
        f" then at {span}"
    )


def _with_interval(found: Interval) -> str:
    return f"{found.mean:.1f} ({found.low:.1f} to {found.high:.1f})"


def _cause(told: Told) -> str:
    """Return why a unit is given up, with the figure that decides it."""
    advice, target = told.advice, told.target
    figure = advice.figure or 0.0
    lift = max(target.lower_lift_mm or 0.0, target.lift_mm)
    match advice.cause:
        case Cause.LIFT_LIMIT:
            return (
                f"brought to {target.wanted_c:.1f} °C it would lift {figure:.1f} mm, at least"
                f" {lift:.1f} mm are wanted"
            )
        case Cause.MECHANICAL_STOP:
            return (
                f"a stop holds it at {figure:.1f} mm, {lift:.1f} mm are wanted; no wax changes"
                " that: look for what is in its way"
            )
        case Cause.WRONG_WAX:
            return (
                f"no means at hand comes nearer than {figure:.1f} K to its limits; it needs a wax"
                " that melts elsewhere ([rework] donors of its type)"
            )
        case Cause.NO_OPENING_LEFT:
            return "no opening is left: its closure may not be opened again"
        case Cause.SEALED:
            return "nothing of it can be changed"
        case _:
            return (
                f"its cheapest way would take about {figure:.0f} minutes, a unit that is not"
                f" delivered counts {told.give_up_min:.0f} ([effort] of the workshop's file)"
            )

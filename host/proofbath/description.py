"""What every described thing shares: a strict model, and TOML text that becomes one."""

from __future__ import annotations

import difflib
import tomllib
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from proofbath.errors import InputError


class Described(BaseModel):
    """A description read from TOML: unknown keys are refused, values never change."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, validate_default=True, allow_inf_nan=False
    )


_D = TypeVar("_D", bound=Described)


def parse_toml(text: str, model: type[_D], name: str) -> _D:
    """Return the model that TOML `text` describes; raises InputError listing every fault.

    `name` is what the operator calls the text, usually its file name.
    """
    try:
        return model.model_validate(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{name}: not TOML: {error}") from error
    except ValidationError as error:
        faults = [f"{name}: {_fault(model, dict(e))}" for e in error.errors(include_url=False)]
        raise InputError(*faults) from error


def _fault(model: type[BaseModel], error: dict[str, Any]) -> str:
    place = ""
    for part in error["loc"]:
        place += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if place else str(part)
    if error["type"] == "extra_forbidden":
        return f"{place}: unknown key{_hint(model, error['loc'])}"
    message = error["msg"].removeprefix("Value error, ")
    given = error["input"]
    shown = f", given {given!r}" if isinstance(given, (int, float, str)) else ""
    return f"{place or 'file'}: {message[0].lower()}{message[1:]}{shown}"


def _hint(model: type[BaseModel], place: tuple[int | str, ...]) -> str:
    known = _keys_at(model, place[:-1])
    close = difflib.get_close_matches(str(place[-1]), known, 1)
    if close:
        return f"; did you mean {close[0]!r}?"
    return f"; known keys: {', '.join(known)}" if known else ""


def _keys_at(model: Any, place: tuple[int | str, ...]) -> list[str]:
    """Names a table may hold; walks through lists, optionals and tagged unions."""
    for part in place:
        if isinstance(part, str):
            models = [m for m in _models(model) if part in m.model_fields]
            if models:
                model = models[0].model_fields[part].annotation
            else:  # the tag of a union: keep only the member that carries it
                tagged = [m for m in _models(model) if part in _tags(m)]
                model = tagged[0] if tagged else model
    return sorted({key for m in _models(model) for key in m.model_fields})


def _tags(model: type[BaseModel]) -> list[str]:
    return [str(f.default) for f in model.model_fields.values()]


def _models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [m for a in getattr(annotation, "__args__", ()) for m in _models(a)]

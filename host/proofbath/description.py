"""What every described thing shares: a strict model, and TOML text that becomes one."""

from __future__ import annotations

import difflib
import tomllib
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, ValidationError

from proofbath.errors import InputError


class Described(BaseModel):
    """A description read from TOML: unknown keys are refused, values never change."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, validate_default=True, allow_inf_nan=False
    )

    def read_from(self, path: Path) -> None:
        """Take note of the file it was read from; most descriptions need not know."""


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
        errors = [dict(e) for e in error.errors(include_url=False)]
        faults = [f"{name}: {_fault(model, e)}" for e in errors if not _follows(e, errors)]
        raise InputError(*faults) from error


def _follows(error: dict[str, Any], others: list[dict[str, Any]]) -> bool:
    """Whether a list counts as too short only because its items are at fault, which is told."""
    place = error["loc"]
    return error["type"] == "too_short" and any(
        len(other["loc"]) > len(place) and other["loc"][: len(place)] == place for other in others
    )


def _fault(model: type[BaseModel], error: dict[str, Any]) -> str:
    place, known = _place(model, error["loc"])
    if error["type"] == "extra_forbidden":
        return f"{place}: unknown key{_hint(str(error['loc'][-1]), known)}"
    message = error["msg"].removeprefix("Value error, ")
    given = error["input"]
    shown = f", given {given!r}" if isinstance(given, (int, float, str)) else ""
    return f"{place or 'file'}: {message[0].lower()}{message[1:]}{shown}"


def _hint(key: str, known: list[str]) -> str:
    close = difflib.get_close_matches(key, known, 1)
    if close:
        return f"; did you mean {close[0]!r}?"
    return f"; known keys: {', '.join(known)}"


def _place(model: type[BaseModel], location: tuple[int | str, ...]) -> tuple[str, list[str]]:
    """Return a location as a person counts (from 1), and the keys known beside its last part."""
    place, models, known = "", [model], list[str]()
    for part in location:
        if isinstance(part, int):
            place += f"[{part + 1}]"
            continue
        known = sorted({key for m in models for key in m.model_fields})
        tagged = [m for m in models if part in _literals(m)]
        if part not in known and tagged:  # the tag of a union narrows it and is no key
            models = tagged
            continue
        place += f".{part}" if place else part
        models = [
            inner
            for m in models
            if part in m.model_fields
            for inner in _models(m.model_fields[part].annotation)
        ]
    return place, known


def _literals(model: type[BaseModel]) -> list[Any]:
    return [a for f in model.model_fields.values() for a in getattr(f.annotation, "__args__", ())]


def _models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [m for a in getattr(annotation, "__args__", ()) for m in _models(a)]

"""The JSON shapes in which programs are told of measured values, by the API and by --json."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from proofbath.description import Described
from proofbath.quantity.quantity import Quantity

Rate = Literal["zero"] | float | None


class Value(Described):
    """A measured quantity; value and U (about 95 %) are in `unit`, the rate in K/min."""

    quantity: str
    words: str
    value: float | None
    expanded_uncertainty: float | None
    unit: str
    rate: Rate
    threshold_mm: float | None


class HandValue(Described):
    """A quantity measured by hand, null with a reason."""

    value: float | None = None
    expanded_uncertainty: float | None = None
    reason: str | None = None
    rate: Rate = None


def _value(stated: Quantity) -> Value:
    return Value(
        quantity=stated.name,
        words=stated.words,
        value=stated.value,
        expanded_uncertainty=stated.expanded_uncertainty,
        unit=stated.unit,
        rate=stated.rate,
        threshold_mm=stated.threshold_mm,
    )


def _hand_value(stated: Quantity) -> HandValue:
    return HandValue(
        value=stated.value,
        expanded_uncertainty=stated.expanded_uncertainty,
        reason=stated.reason,
        rate=stated.rate,
    )


@dataclass(frozen=True)
class _ToldAs:
    """Marks a quantity that programs are told of in a JSON shape."""

    shape: type[Described]
    make: Callable[[Quantity], Described]

    def __get_pydantic_core_schema__(
        self, _source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.json_or_python_schema(
            handler.generate_schema(self.shape),
            core_schema.is_instance_schema(Quantity),
            serialization=core_schema.plain_serializer_function_ser_schema(self.make),
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        assert schema["type"] == "json-or-python"
        return handler(schema["json_schema"])


Stated = Annotated[Quantity, _ToldAs(Value, _value)]
"""A quantity that programs are told of as a `Value`."""
StatedByHand = Annotated[Quantity, _ToldAs(HandValue, _hand_value)]
"""A quantity that programs are told of as a `HandValue`."""

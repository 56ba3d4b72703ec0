"""`[tuned]` of the bench file: what a heating test found, when, and with which controller."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from proofbath.control.gains import Gains
from proofbath.description import Described
from proofbath.wire.table import U32, Identity

Text = Annotated[str, Field(min_length=1, max_length=60)]
Figure = Annotated[float, Field(ge=0.0)]


class Tuned(Described):
    """Written by `proofbath tune` together with the figures of `[bath]`, and not by hand."""

    at: Text
    """UTC, ISO 8601: when the heating test began."""
    bench: Text
    controller: Annotated[int, Field(ge=0, le=U32)]
    """Serial number of the controller; 0 has never been given one."""
    firmware: Annotated[int, Field(ge=0)]
    """Major * 100 + minor."""
    kp_per_k: Annotated[float, Field(gt=0.0)]
    ki_per_k_s: Figure
    """Gains in heater duty per kelvin, and per kelvin and second."""
    rms_k: Figure
    worst_k: Figure
    """How far the record was off the model."""
    standard_uncertainty: dict[str, Figure]
    """Of the figures of `[bath]` that were found, in their units."""

    def gains(self) -> Gains:
        """Return the gains of the loop."""
        return Gains(self.kp_per_k, self.ki_per_k_s)


def tuning_doubts(tuned: Tuned | None, bench: str, identity: Identity) -> list[str]:
    """Return why a bench may not follow its ramps; nothing when it was tuned as it stands."""
    if tuned is None:
        return [
            "bench was never tuned: it follows ramps by the figures in its file; "
            "run proofbath tune once"
        ]
    doubts = []
    if tuned.bench != bench:
        doubts.append(f"[tuned] is of bench {tuned.bench}, this is {bench}; run proofbath tune")
    if tuned.controller != identity.serial_number:
        doubts.append(
            f"bench was tuned on {tuned.at[:10]} with controller {tuned.controller}, "
            f"this is {identity.serial_number}; run proofbath tune"
        )
    return doubts

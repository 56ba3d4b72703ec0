"""What a shop's rework takes, in minutes: what the advice weighs against each other."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from proofbath.description import Described

Minutes = Annotated[float, Field(ge=0.0, le=10_000.0)]


class Effort(Described):
    """Prices in minutes; parts count as the minutes they are worth to the shop."""

    opening_min: Minutes = 30.0
    """Opening an element and closing it again."""
    exchange_min: Minutes = 20.0
    """Melting wax out and other wax in, besides."""
    shim_min: Minutes = 10.0
    """Changing shims or a setting."""
    measuring_min: Minutes = 30.0
    """A person's time for a run, not the run's."""
    part_min: Minutes = 10.0
    """Seal and lip of an opening."""
    give_up_min: Minutes = 480.0
    """A unit that is not delivered."""
    most_rounds: Annotated[int, Field(ge=1, le=10)] = 4
    """A unit that was reworked so often in a batch is given up."""

"""Cautions that go with another opening temperature and with work on units, one text for all."""

from __future__ import annotations

RETARGETING = (
    "Another opening temperature changes what the engine was approved and its emissions were"
    " measured with, and may end warranty and insurance; too cold means wear, oil dilution and no"
    " cabin heat, too hot less margin to boiling: ask the authority, the class society or the"
    " engine's maker first."
)
"""Stands wherever a target is chosen, a unit changed, a type put on record or a result stated."""

REWORK = (
    "Let units cool below 45 °C first: hot wax and oil burn. Springs are under load. After every"
    " change measure before the next one."
)
COLD_ONLY = (
    "The cooling system is opened cold only: under pressure it scalds when it is opened hot."
)
"""Stands wherever a unit is fitted to an engine or taken out of it."""

"""What must be read before a bench heats: the same words at the keyboard and on the pages."""

from __future__ import annotations

NIGHT = (
    "Hot bath: water of 60 °C burns in seconds. Do not open the bath until it is below 45 °C.",
    "The hard-wired over-temperature cut-out, the level switch and the emergency stop are in"
    " order; software replaces none of them. The lid is on and its vent is free.",
    "Mains and water: the residual-current device works, the metal is earthed, drip loops hang"
    " below the sockets. A licensed electrician has seen the wiring.",
    "Glycol is poisonous: no food near it, no children or animals. Wax and oil burn when hot.",
    "Heat is left alone only where local rules allow it and every interlock is proven.",
)
"""One caution each; whoever starts a night says that they were read and are kept to."""

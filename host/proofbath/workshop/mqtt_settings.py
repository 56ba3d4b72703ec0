"""How the bench is told to the shop's broker: section `[mqtt]` of the workshop's file."""

from __future__ import annotations

from proofbath.description import Described


class MqttSettings(Described):
    """The broker and what it is told."""

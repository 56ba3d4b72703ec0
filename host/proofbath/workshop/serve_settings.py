"""How the pages are served: section `[serve]` of the workshop's file."""

from __future__ import annotations

from proofbath.description import Described


class ServeSettings(Described):
    """Where the pages listen."""

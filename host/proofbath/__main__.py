"""`python -m proofbath`: the command line."""

from __future__ import annotations

from proofbath.cli import main

main()

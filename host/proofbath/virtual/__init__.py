"""The virtual bench: real controller sources on a simulated plant, and its true answers."""

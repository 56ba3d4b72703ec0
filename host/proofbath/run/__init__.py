"""The run: unit types, profiles, the plan of a night and the sequencer that executes it."""

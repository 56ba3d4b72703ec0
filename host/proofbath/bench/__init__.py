"""The bench edge: ports, calibration, the start of a run and the loop that carries it."""
